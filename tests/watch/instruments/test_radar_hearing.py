"""A radar that does not hear, two under one name, and a picture that ends near by: none may look like open water."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from watch_made_run import CELL_M, N_CELL, N_SPOKE, PERIOD_S, T0, MadeRun, seconds_of

from moonless.boat.file import default_boat
from moonless.constants import TAU
from moonless.units import NS_PER_S, kn_to_mps
from moonless.watch.instruments.radar.hearing import RadarHearing
from moonless.watch.instruments.radar.spoke_order import SpokeOrder
from moonless.watch.pipeline.chain import Chain
from moonless.watch.types import Turn
from moonless.wire.cat240 import encode_video


class _Run(MadeRun):
    """A made run whose video is drawn by ``cells_at``: (seconds, row, noise) to counts."""

    def __init__(
        self, cells_at: Callable[[float, int, Any], Any], cell_m: float = CELL_M, sea: bool = True, **more: Any
    ) -> None:
        super().__init__(**more)
        self.cells_at, self.cell_m, self.sea = cells_at, cell_m, sea

    def events(self, seconds: float) -> Iterator[tuple[int, str, bytes]]:
        rng = np.random.default_rng(11)
        half, k = 0.5 * TAU / N_SPOKE, 0
        for now, kind, data in super().events(seconds):
            if kind == "radar":
                row = k % N_SPOKE
                noise = rng.integers(20, 60, N_CELL)
                cells = self.cells_at((now - T0) / NS_PER_S, row, noise).astype(np.uint8)
                azimuth = row * TAU / N_SPOKE
                data = encode_video(
                    cells, azimuth_start_rad=azimuth - half, azimuth_end_rad=azimuth + half, cell_m=self.cell_m,
                    start_cell=1, sequence=k, time_ns=now,
                )  # fmt: skip
                k += 1
            yield now, kind, data


def _with_marks(noise: Any, row: int, n: int) -> Any:
    """``n`` strong echoes on as many bearings, each as wide as a beam."""
    for k in range(n):
        if abs(row - (20 + 40 * k)) <= 2:
            noise[40 + 5 * k : 43 + 5 * k] = 220
    return noise


def _with_sea(noise: Any) -> Any:
    noise[:20] = noise[:20] + np.linspace(150, 0, 20).astype(np.int64)
    return noise


def _told(turns: list[Turn]) -> list[tuple[float, str]]:
    return [(seconds_of(t), f.state) for t in turns for f in t.reading.faults if f.what == "radar"]


def _seeing(turn: Turn) -> bool:
    return (
        bool(turn.reading.seeing) or turn.reading.seeing_line is not None or turn.reading.speed.advised_kn is not None
    )


@pytest.mark.parametrize("drawn", ["marks", "sea", "both"])
def test_a_radar_that_goes_deaf_is_told_within_two_turns_and_believed_when_it_hears(drawn: str) -> None:
    def cells(t: float, row: int, noise: Any) -> Any:
        if 15.0 <= t < 30.0:
            return noise
        noise = _with_marks(noise, row, 4) if drawn != "sea" else noise
        return _with_sea(noise) if drawn != "marks" else noise

    run = _Run(cells, speed=0.0)
    turns = run.play(45.0)
    told = _told(turns)
    assert told and {state for _, state in told} == {"deaf"}
    assert 15.0 < told[0][0] <= 15.0 + 2.0 * PERIOD_S
    assert told[-1][0] <= 30.0 + 2.0 * PERIOD_S
    deaf = [t for t in turns if told[0][0] <= seconds_of(t) <= 30.0]
    assert len(deaf) >= 5 and not [t for t in deaf if _seeing(t) or t.reading.echoes]
    assert _seeing(turns[-1])


def test_noise_from_the_first_turn_gives_no_speed_for_long() -> None:
    turns = _Run(lambda t, row, noise: noise, speed=0.0).play(20.0)
    assert not [t for t in turns if seconds_of(t) > 2.0 * PERIOD_S + 0.5 and _seeing(t)]
    assert turns[-1].reading.faults[0].state == "deaf"


def test_one_mark_on_an_empty_sea_is_proof_enough() -> None:
    turns = _Run(lambda t, row, noise: _with_marks(noise, row, 1), speed=0.0).play(30.0)
    assert not [t for t in turns[3:] if t.reading.faults]


@pytest.mark.parametrize("offset_rows", [30, 90, 150])
def test_two_radars_under_one_name_are_told(offset_rows: int) -> None:
    run = _Run(lambda t, row, noise: _with_marks(noise, row, 4), speed=0.0)
    turns: list[Turn] = []
    chain = Chain(default_boat())
    radar = [(n, d) for n, k, d in run.events(40.0) if k == "radar"]
    other = [d for _, d in radar][offset_rows:] + [d for _, d in radar][:offset_rows]
    at = 0
    for now, kind, data in run.events(40.0):
        if kind == "nmea":
            turns += chain.feed_nmea(data, now)
            continue
        turns += chain.feed_radar(data, now, is_datagram=True)
        if now >= T0 + 15 * NS_PER_S:
            turns += chain.feed_radar(other[at], now + 1, is_datagram=True)
        at += 1
    told = _told(turns)
    assert told and told[0][1] == "damaged" and told[0][0] <= 15.0 + 2.0 * PERIOD_S
    assert not [t for t in turns if seconds_of(t) > told[0][0] and _seeing(t)]


@pytest.mark.parametrize("lost", [0.0, 0.3, 0.6])
@pytest.mark.parametrize("way", [1, -1])
def test_one_antenna_that_loses_spokes_is_one_and_one_that_goes_the_wrong_way_round_is_told(
    lost: float, way: int
) -> None:
    told = []
    rng, order = np.random.default_rng(4), SpokeOrder()
    for k in range(3000):
        burst = lost > 0.5 and (k // 40) % 2 == 0  # a link that loses 40 spokes on end
        if rng.random() >= lost and not burst:
            place = k + int(rng.integers(-3, 4))  # datagrams overtake one another
            told.append(order.take(T0 + k * NS_PER_S // 400, [way * place * TAU / 1024]) is not None)
    # A marine radar's beam goes round clockwise, seen from above; 3000 spokes are seven seconds.
    assert sum(told) == 0 if way > 0 else sum(told) >= 5


def test_a_shorter_scale_never_lets_her_go_faster() -> None:
    """On the picture's edge a boat may come in at the hidden boat's speed; she must stop before they meet."""
    boat = default_boat()
    speeds = []
    for cell_m in (2.0, 4.0, 8.0, 20.0):
        run = _Run(lambda t, row, noise: _with_sea(_with_marks(noise, row, 4)), cell_m=cell_m, speed=2.0)
        reading = run.play(20.0, Chain(replace(boat, skipper=replace(boat.skipper, night_limit=None))))[-1].reading
        assert reading.speed.advised_kn is not None, reading.faults
        speeds.append(reading.speed.advised_kn)
        v = kn_to_mps(speeds[-1])
        # Even slowing at the assumed 0.25 m/s2: distance v^2 / 2a, time v / a (school mechanics).
        stops_m, stops_s = v * boat.skipper.react_s + v * v / 0.5, boat.skipper.react_s + v / 0.25
        assert boat.stopping or stops_m + boat.skipper.hidden_boat_speed * stops_s <= N_CELL * cell_m + 2 * cell_m
    assert speeds == sorted(speeds) and math.isfinite(speeds[0]) and speeds[0] < speeds[-1]


def _turn_of(range_m: np.ndarray, k: int) -> tuple[Any, Any]:
    """One turn of a set that cuts noise and sea away: echoes at these ranges, spread round the boat."""
    n = len(range_m)
    angle = np.arange(n) * 2.0 * np.pi / n
    scan = SimpleNamespace(
        time_ns=np.array([k * 10**9]), end_ns=(k + 1) * 10**9, n_cell=60, received_fraction=1.0, max_range_m=4000.0
    )
    nowhere = np.full(n, np.nan)
    plots = SimpleNamespace(
        range_m=range_m, azimuth_rel_rad=angle, heading_true_rad=np.zeros(n), own_lat_deg=nowhere, own_lon_deg=nowhere
    )
    return scan, SimpleNamespace(clutter_db=np.zeros((4, 60)), plots=plots, is_cut=True)


@pytest.mark.parametrize("is_told", [True, False])
def test_metres_put_right_make_no_radar_deaf(is_told: bool) -> None:
    hearing = RadarHearing()
    range_m = np.linspace(500.0, 1500.0, 12)
    for k in range(4):
        hearing.picture(*_turn_of(range_m, k))
    assert hearing.is_shown
    if is_told:
        hearing.measured_anew()
    hearing.picture(*_turn_of(2.0 * range_m, 5))
    # What was 500 to 1500 m off stands at 1000 to 3000 m now, and nothing stands where it stood.
    assert (hearing.deaf_since_ns is None) == is_told
    hearing.picture(*_turn_of(2.0 * range_m, 6))
    assert hearing.deaf_since_ns is None and hearing.is_shown


def test_strays_close_aboard_hide_no_ships_that_stand() -> None:
    """Chance lets each of a hundred strays within 40 m find another; of ten ships a mile off it lets none."""
    hearing, rng = RadarHearing(), np.random.default_rng(7)
    for k, n_stray in enumerate((0, 0, 40, 120, 110)):
        ships = np.linspace(900.0, 1700.0, 10)
        scan, picture = _turn_of(np.concatenate([ships, rng.uniform(5.0, 40.0, n_stray)]), k)
        angle = np.concatenate([np.arange(10) * TAU / 10, rng.uniform(0.0, TAU, n_stray)])
        picture.plots.azimuth_rel_rad = angle
        hearing.picture(scan, picture)
    assert hearing.deaf_since_ns is None and hearing.is_shown
    # The strays alone are what a deaf receiver may show too.
    hearing.picture(*_turn_of(rng.uniform(5.0, 40.0, 120), 5))
    assert hearing.deaf_since_ns is not None
