"""A sector in which the radar does not hear hides its water and slows the boat, as lost spokes do."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
from test_radar_hearing import _Run, _with_marks, _with_sea
from watch_made_run import N_SPOKE, PERIOD_S, seconds_of

from moonless.watch.instruments.radar.deaf_sectors import N_SECTOR, DeafSectors

# Sixty degrees about the bow.
AHEAD = np.isin(np.arange(N_SPOKE), np.arange(-(N_SPOKE // 12), N_SPOKE // 12) % N_SPOKE)


def test_a_sector_that_is_blank_beside_noise_is_not_received_until_it_hears() -> None:
    def cells(t: float, row: int, noise: Any) -> Any:
        return noise * 0 if 15.0 <= t < 30.0 and AHEAD[row] else _with_sea(_with_marks(noise, row, 4))

    turns = [t for t in _Run(cells, speed=3.0).play(45.0) if t.scan is not None]
    begun = 15.0 + 2.0 * PERIOD_S
    for turn in turns:
        assert turn.scan is not None
        at_s, received = seconds_of(turn), turn.scan.is_received
        if begun < at_s <= 30.0:
            assert not received[AHEAD].any(), at_s
            assert received[np.roll(AHEAD, N_SPOKE // 2)].all(), at_s
        elif at_s <= 15.0 or at_s > 30.0 + 2.0 * PERIOD_S:
            assert received.all(), at_s
    speed = [(seconds_of(t), t.reading.speed.advised_kn) for t in turns]
    before = [v for t, v in speed if 8.0 < t <= 15.0 and v is not None]
    during = [v for t, v in speed if begun < t <= 30.0 and v is not None]
    after = [v for t, v in speed if t > 36.0 and v is not None]
    assert before and during and after
    assert max(during) < 0.5 * min(before) and min(after) > 2.0 * max(during)


def test_what_is_deaf_is_taken_out_of_turn_and_picture_and_nothing_else() -> None:
    turns = _Run(lambda t, row, noise: _with_sea(_with_marks(noise, row, 4)), speed=0.0).play(8.0)
    scan, picture = turns[-1].scan, turns[-1].picture
    assert scan is not None and picture is not None
    sectors = DeafSectors()
    assert sectors.as_heard(scan, picture) == (scan, picture)
    sectors._deaf[3] = True  # of 36: 30 to 40 degrees
    heard, seen = sectors.as_heard(scan, picture)
    deaf = np.isin(np.arange(N_SPOKE) * 360 // N_SPOKE // 10, 3)
    assert np.array_equal(heard.is_received, scan.is_received & ~deaf)
    assert np.isnan(seen.clutter_db[deaf]).all() and np.isnan(seen.threshold[deaf]).all()
    assert np.array_equal(seen.clutter_db[~deaf], np.broadcast_to(picture.clutter_db, scan.echo.shape)[~deaf])


def taken(levels: list[list[float]], is_cut: bool = False) -> int:
    """Return how many sectors are deaf after turns of these returns (dB), the first sector's apart from the others'."""
    sectors = DeafSectors()
    echo = np.full((N_SECTOR, 60), 30, dtype=np.uint8)
    for first, others in levels:
        clutter = np.full((N_SECTOR, 60), others, dtype=np.float32)
        clutter[0] = first
        scan: Any = SimpleNamespace(
            echo=echo, n_spoke=N_SECTOR, n_cell=60, is_received=np.ones(N_SECTOR, dtype=np.bool_)
        )
        picture: Any = SimpleNamespace(clutter_db=clutter, is_cut=is_cut)
        sectors.take(scan, picture)
    return int(sectors._deaf.sum())


def test_to_both_sides_of_each_limit() -> None:
    # Ten decibels must go in one turn, to less than three, beside at least ten on the others.
    assert taken([[20.0, 20.0], [0.2, 20.0]]) == 1
    assert taken([[20.0, 20.0], [3.1, 20.0]]) == 0
    assert taken([[12.5, 20.0], [2.6, 20.0]]) == 0
    assert taken([[12.5, 20.0], [2.4, 20.0]]) == 1
    assert taken([[20.0, 20.0], [0.2, 9.9]]) == 0
    assert taken([[20.0, 20.0], [0.2, 20.0]], is_cut=True) == 0


def test_a_return_that_goes_little_by_little_is_water_that_grows_calm() -> None:
    assert taken([[20.0 - 5.0 * k, 20.0] for k in range(5)]) == 0


def test_it_stays_deaf_until_it_hears() -> None:
    assert taken([[20.0, 20.0], [0.2, 20.0], [2.0, 20.0], [0.2, 8.0]]) == 1
    assert taken([[20.0, 20.0], [0.2, 20.0], [3.5, 20.0]]) == 0
