"""What tells rain, faint boats and low land apart in wild scenes.

    python design/wild/evidence.py [--seed S] [--count N]

Plays wild scenes through the whole chain and holds the evidence of each told track against the truth, turn by turn,
for `moonless.reading.identify.past.drift`, `.calibration` and `moonless.echo.raised_ground`: how densely patches of a
drifting field lie about what is truly clutter and about vessels; how often vessels are told as clutter, with and
without the calibration of strength; and what is truly there where ground is raised and no chart tells of land.  Seeds
for telling are refused.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from collections import Counter
from pathlib import Path
from typing import Any

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT))

from bench.scenes.built_in import play  # noqa: E402
from bench.scenes.score import Score  # noqa: E402
from bench.scenes.stage import WildStage  # noqa: E402
from bench.scenes.wild import TELLING  # noqa: E402

from moonless.reading.identify import stage as identify  # noqa: E402
from moonless.reading.identify.explain import VESSEL_PER_M2  # noqa: E402
from moonless.reading.identify.past.calibration import StrengthCalibration  # noqa: E402
from moonless.scene.wild.player import WildPlayer  # noqa: E402
from moonless.scene.wild.recipe import wild_of  # noqa: E402

# Patches a square metre over vessels to be expected, the bands of the first table.
BANDS = ((0.0, 0.1), (0.1, 1.0), (1.0, 10.0), (10.0, float("inf")))


def rows_of(seed: int, *, is_calibrated: bool) -> list[tuple[str, str, float, bool, bool]]:
    """Return (truly, told, patches over vessels, raised, has a chart) of every told track of every turn."""
    wild, evidence, rows = wild_of(seed), dict[tuple[int, int], tuple[float, bool]](), list[Any]()
    explain, take_in, count = identify.IdentifyStage._explain, StrengthCalibration.take_in, Score._count_kind
    ids: dict[str, int] = {}

    def kept(self: Any, placed: Any) -> Any:
        found, explained = explain(self, placed)
        picture = placed.situation.picture
        raised = None if picture is None or picture.raised is None else picture.raised.plots()
        for k, track in enumerate(found.tracks):
            at = track.last_plot
            evidence[placed.situation.time_ns, track.id] = (
                float(found.field_density[k]) / VESSEL_PER_M2,
                raised is not None and at is not None and bool(raised[at]),
            )
        return found, explained

    def counted(self: Any, echo: Any, truly: str, of: str) -> bool:
        now = evidence.get((ids["now"], echo.id))
        if now is not None:
            rows.append((truly, echo.kind, *now, wild.has_chart))
        return count(self, echo, truly, of)

    def added(self: Any, turn: Any, reading: Any, laid: Any) -> Any:
        ids["now"] = reading.time_ns
        return echoes(self, turn, reading, laid)

    echoes = Score._echoes
    identify.IdentifyStage._explain, Score._count_kind, Score._echoes = kept, counted, added  # type: ignore[method-assign]
    if not is_calibrated:
        StrengthCalibration.take_in = lambda self, *_: None  # type: ignore[method-assign]
    try:
        with tempfile.TemporaryDirectory() as folder:
            play(WildStage(WildPlayer(wild, Path(folder))))
    finally:
        identify.IdentifyStage._explain, Score._count_kind = explain, count  # type: ignore[method-assign]
        Score._echoes, StrengthCalibration.take_in = echoes, take_in  # type: ignore[method-assign]
    return rows


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seed", type=int, default=100)
    parser.add_argument("--count", type=int, default=20)
    asked = parser.parse_args()
    seeds = range(asked.seed, asked.seed + asked.count)
    if set(seeds) & set(TELLING):
        parser.error(f"seeds {TELLING.start} to {TELLING.stop - 1} are for telling: they are not looked into")
    by = {True: list[Any](), False: list[Any]()}
    for seed in seeds:
        for is_calibrated, rows in by.items():
            rows += rows_of(seed, is_calibrated=is_calibrated)
        print(f"seed {seed}", file=sys.stderr, flush=True)
    rows = by[True]
    print("patches of a drifting field over vessels to be expected, turns: truly clutter, truly vessel")
    for low, high in BANDS:
        here = Counter(truly for truly, _, patches, _, _ in rows if low <= patches < high)
        print(f"  {low:5.1f} to {high:5.1f}  {here['clutter']:6d} {here['vessel']:6d}")
    print("turns of vessels and of still things told as clutter, of clutter told as vessel")
    for words, one in (("with calibration", by[True]), ("without", by[False])):
        pairs = Counter((truly, told) for truly, told, *_ in one)
        wrong = [pairs[pair] for pair in (("vessel", "clutter"), ("uncharted", "clutter"), ("clutter", "vessel"))]
        print(f"  {words:17s} {wrong[0]:6d} {wrong[1]:6d} {wrong[2]:6d}")
    for words, raised in (("raised", True), ("not raised", False)):
        there = Counter(truly for truly, _, _, is_raised, has_chart in rows if is_raised == raised and not has_chart)
        print(f"no chart, {words}: {dict(there.most_common(5))}")


if __name__ == "__main__":
    main()
