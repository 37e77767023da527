"""Is a range scale found that is told wrong, and is none made up?

    python design/range_scale.py real TURNS DIR...      DIR: real runs (radar.cat240, nmea.nmea, boat.toml, chart.gpkg)
    python design/range_scale.py wild TURNS SEED...     wild scenes with a chart

For each run: as it is, at rest (own motion not asked) and under way; told half and double; and turned about the boat
and shifted against the chart, where nothing is to be found but what own motion and a coast by chance agree on.
"""

from __future__ import annotations

import math
import sys
import tempfile
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np

from moonless.boat.file import read_boat
from moonless.chart.library import Chart
from moonless.reading.chart_around import Place, lay_out
from moonless.reading.own import OwnPlane
from moonless.reading.registration import stage
from moonless.reading.registration.matching import turned_back
from moonless.reading.registration.observations import Sightings
from moonless.reading.registration.range_scale import RangeScale
from moonless.scan.types import Scan
from moonless.scene.wild.player import WildPlayer
from moonless.scene.wild.recipe import wild_of
from moonless.watch.pipeline.chain import Chain
from moonless.watch.pipeline.replay import Replay, play

TURNED_DEG = (20, 45, 73, 120, 180, 240, 300)
SHIFTED_M = ((600, 0), (0, 600), (-1500, 0), (0, -1500), (1000, 1000))


@dataclass
class Recorded:
    """What the range scale is given, turn by turn."""

    turns: list[tuple[Scan, Sightings, OwnPlane]] = field(default_factory=list)
    chart: Any = None


class Enough(Exception):
    """As many turns as were asked for."""


def record(n: int, run: Callable[[], Any]) -> Recorded:
    """Let a run go through detection only and keep its first ``n`` turns."""
    out = Recorded()

    def keep(self: Any, situation: Any, seen: Sightings, own: OwnPlane) -> None:
        out.chart = self._chart
        out.turns.append((situation.scan, seen, own))
        if len(out.turns) >= n:
            raise Enough

    def only_agree(self: Any, situation: Any, _others: Any = ()) -> tuple[()]:
        if situation.picture is not None:
            self._judge.before_tracking(situation)
        return ()

    was = stage.RegistrationStage._look_at_range_scale, Chain._judged
    stage.RegistrationStage._look_at_range_scale = keep  # type: ignore[method-assign]
    Chain._judged = lambda self, situation: None  # type: ignore[method-assign, assignment, return-value]
    from moonless.watch.pipeline.tracking import Tracking

    before = Tracking.update
    Tracking.update = only_agree  # type: ignore[method-assign, assignment]
    try:
        run()
    except Enough:
        pass
    finally:
        stage.RegistrationStage._look_at_range_scale, Chain._judged = was  # type: ignore[method-assign]
        Tracking.update = before  # type: ignore[method-assign]
    return out


def real(folder: Path) -> None:
    """Play a real run."""
    chain = Chain(read_boat(folder / "boat.toml"), Chart.open([folder / "chart.gpkg"]))
    for _ in play(chain, Replay(radar=(folder / "radar.cat240",), nmea=(folder / "nmea.nmea",))):
        pass


def wild(seed: int) -> None:
    """Play a wild scene."""
    with tempfile.TemporaryDirectory() as folder:
        player = WildPlayer(wild_of(seed), Path(folder))
        chain = Chain(player.scene.boat, player.chart)
        for turn in player.turns():
            lines = [(line.time_ns, 1, line.tagged()) for line in turn.nmea]
            for time_ns, which, data in sorted([*lines, *((t, 0, d) for t, d in turn.radar)]):
                _ = chain.feed_nmea(data, time_ns) if which else chain.feed_radar(data, time_ns)


def ask(
    what: str, run: Recorded, told: float = 1.0, turned_deg: float = 0.0, shift: tuple[float, float] = (0.0, 0.0),
    *, is_under_way: bool = True,
) -> None:  # fmt: skip
    """Print what is found of a run with its cells told ``told`` times as long as they are told in it."""
    scale, end = RangeScale(), "no word"
    for k, (scan, seen, own) in enumerate(run.turns):
        told_scan = replace(scan, cell_m=told * scan.cell_m, first_cell_m=told * scan.first_cell_m)
        rel = turned_back(told * seen.shore_rel, math.radians(turned_deg))
        told_seen = replace(seen, shore_rel=rel, shore_own=seen.shore_own + np.array(shift))

        def around(reach_m: float, own: OwnPlane = own) -> Place | None:
            return lay_out(run.chart, own.frame, own.east_m + shift[0], own.north_m + shift[1], reach_m)

        scale.update(told_scan, told_seen, own, around)
        if not is_under_way and scale._told is not None:
            scale._told.begun = None
        if scale.found is not None:
            end = f"times {scale.found:g} at turn {k}"
            break
        if scale._told is not None and scale._told.borne_out:
            end = f"borne out at turn {k}"
            break
    shares = [] if scale._told is None else [round(share, 2) for share in scale._told.shares]
    print(f"{what}, told {told:g}, turned {turned_deg:g}, shifted {shift}, under way {is_under_way}: {end} {shares}")


def main(kind: str, n: int, names: list[str]) -> None:
    """Ask of each run all that is asked."""
    for name in names:
        run = record(n, lambda name=name: real(Path(name)) if kind == "real" else wild(int(name)))  # type: ignore[misc]
        if not run.turns:
            print(f"{name}: nothing to hold against a chart")
            continue
        for told in (1.0, 0.5, 2.0):
            for is_under_way in (True, False):
                ask(Path(name).name, run, told, is_under_way=is_under_way)
        if kind == "real":
            for turned_deg in TURNED_DEG:
                ask(Path(name).name, run, turned_deg=turned_deg, is_under_way=False)
            for shift in SHIFTED_M:
                ask(Path(name).name, run, shift=shift, is_under_way=False)


if __name__ == "__main__":
    if len(sys.argv) < 4 or sys.argv[1] not in ("real", "wild"):
        raise SystemExit(__doc__)
    main(sys.argv[1], int(sys.argv[2]), sys.argv[3:])
