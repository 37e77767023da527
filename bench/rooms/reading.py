"""How long a reading takes over the real harbour cell, at the 99th percentile.

``reading``: from the last datagram of a turn to its reading, through detector, tracker and judge, by the chain's own
door.  ``reading.judge``: the judge alone, given 200 tracks.  First turns are left out: they compile and lay out charts.
"""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from bench.result import Result
from moonless.chart.library import Chart
from moonless.clock import steady_s
from moonless.reading.judge import Judge
from moonless.reading.situation import Situation
from moonless.scene.file import scene_from_dict
from moonless.scene.player import ScenePlayer
from moonless.scene.types import Scene
from moonless.track.types import Track
from moonless.watch.pipeline.chain import Chain
from moonless.watch.runtime.garbage import set_aside

NAMES = ("reading", "reading.judge")
TURNS = 90
WARM_UP = 12
N_TRACKS = 200
BUDGET_MS, JUDGE_BUDGET_MS = 250.0, 100.0


def _harbour() -> Path:
    return Path(os.environ.get("MOONLESS_DATA", "../shared/data")) / "enc" / "US5MA11M"


def _scene() -> Scene:
    """Return a quiet run down the middle of the harbour."""
    return scene_from_dict(
        {
            "scene": {
                "name": "harbour", "seed": 7, "start": _start(), "duration_s": TURNS * 2.6, "origin": [42.345, -71.018],
            },
            "chart": {"paths": [str(_harbour().resolve())]},
            "own": {"start_m": [0, 0], "heading_deg": 115, "speed_kn": 10},
        },
        Path("harbour.toml"),
    )  # fmt: skip


def _start() -> Any:
    from datetime import UTC, datetime

    return datetime(2028, 5, 2, 8, 30, tzinfo=UTC)


def _play(chain: Chain, player: ScenePlayer) -> tuple[list[float], list[Situation]]:
    """Return milliseconds from a turn's last datagram to its reading, and what the judge was given."""
    spent, given = [], []
    judge = chain._judge
    read = judge.read

    def listen(situation: Situation) -> Any:
        given.append(situation)
        return read(situation)

    judge.read = listen  # type: ignore[method-assign]
    for turn in player.turns():
        if turn.number >= TURNS:
            break
        events = [(time_ns, 0, data) for time_ns, data in turn.radar]
        events += [(line.time_ns, 1, line.tagged()) for line in turn.nmea]
        for time_ns, which, data in sorted(events, key=lambda e: (e[0], e[1])):
            start = steady_s()
            made = chain.feed_nmea(data, time_ns) if which else chain.feed_radar(data, time_ns)
            if made:
                spent.append((steady_s() - start) * 1e3)
    return spent, given


def _crowded(situation: Situation, rng: np.random.Generator) -> Situation:
    """Return the situation with tracks put in, at rest and moving, until there are `N_TRACKS`."""
    tracks = list(situation.tracks)[:N_TRACKS]
    own_e, own_n = situation.frame.to_plane(situation.own.lat_deg, situation.own.lon_deg)  # type: ignore[union-attr,arg-type]
    while len(tracks) < N_TRACKS:
        k = len(tracks)
        e, n = rng.uniform(-2500.0, 2500.0, 2)
        moves = k % 3 == 0
        ve, vn = rng.normal(0.0, 4.0, 2) if moves else (0.0, 0.0)
        tracks.append(
            Track(
                id=100_000 + k, state="confirmed", time_ns=situation.time_ns, east_m=float(own_e) + float(e),
                north_m=float(own_n) + float(n), velocity_east=float(ve), velocity_north=float(vn),
                covariance=np.diag([60.0, 60.0, 0.1, 0.1]), p_exists=0.99, p_moving=0.97 if moves else 0.03,
                turn_rate=None, length_m=None, beam_m=None, orientation_rad=None, strength_db=22.0,
                started_ns=situation.time_ns - 60_000_000_000, last_plot_ns=situation.time_ns, n_scans=24, n_hits=22,
                misses_in_a_row=0, last_plot=None,
            )
        )  # fmt: skip
    return replace(situation, tracks=tuple(tracks))


def run(names: Sequence[str]) -> Iterator[Result]:
    """Yield the 99th percentiles; the cell is looked for where MOONLESS_DATA says."""
    scene = _scene()
    chart = Chart.open([_harbour()])
    chain = Chain(scene.boat, chart, None)
    spent, given = _play(chain, ScenePlayer(scene))
    if "reading" in names:
        value = float(np.percentile(spent[WARM_UP:], 99))
        yield Result("reading", value, "ms, 99th percentile", "budget of 250 ms", BUDGET_MS, BUDGET_MS / value)
    if "reading.judge" in names:
        rng = np.random.default_rng(4)
        judge = Judge(scene.boat, chart)
        times = []
        for situation in given:
            crowded = _crowded(situation, rng)
            start = steady_s()
            judge.read(crowded)
            times.append((steady_s() - start) * 1e3)
            if len(times) == 1:
                # As the chain does once the chart is laid out.
                set_aside()
        value = float(np.percentile(times[WARM_UP:], 99))
        yield Result(
            "reading.judge", value, "ms, 99th percentile", "budget of 100 ms", JUDGE_BUDGET_MS, JUDGE_BUDGET_MS / value
        )
