"""``python -m bench real_variants DIR [tell] [RUN...] [VARIANT...]``: slices of the real runs, changed.

A reader tuned on two runs may fail on a third.  Each variant (`bench.at_sea.variants`) is the same water as another
set, another boat or a boat with something missing would have it; the plain tracker is run on the very same variant.
Of each run one slice is there to choose by and, with ``tell``, another to tell by; both begin in the middle of the
run, cold, so what is late in the beginning weighs more than in the whole run.  The inlet is read by its true metre
(docs/real-water.md), as the short one makes chance of its truth.  DIR, the scorer and the figures are those of
``bench real``.

    moving, still   share of the vessel-turns that the real video shows, in which an echo is told within the gate
    *.shown         those vessel-turns
    switches, open, told, short   as in ``bench real``
"""

from __future__ import annotations

import os
import sys
import tempfile
from collections.abc import Iterator, Sequence
from pathlib import Path
from types import ModuleType
from typing import Any

from bench.at_sea import variant_run
from bench.at_sea.real import PEER, open_water, read_run, scorer_of, short_lives, told_a_turn
from bench.at_sea.variants import VARIANTS
from bench.result import Result

NAMES = ("real_variants",)
TAKES_REST = True
# Turns of each run: (first, count) to choose by and to tell by.
SLICES = {"choose": {"01_001": (25, 45), "03_002": (30, 45)}, "tell": {"01_001": (95, 45), "03_002": (140, 45)}}
TRUE_METRE = ("03_002",)
MORE_IS_BETTER = ("moving", "still")


def figures(score: dict[str, Any], lines: Sequence[dict[str, Any]]) -> dict[str, float | None]:
    """Return the figures of one set of readings."""
    moving = score["moving"]
    return {
        "moving": moving["seen_of_shown"], "still": score["still"]["seen_of_shown"],
        "switches": moving["id_switches_per_100"], "open": open_water(score), "told": told_a_turn(score),
        "short": short_lives(lines),
    }  # fmt: skip


def best_score(scorer: ModuleType, folder: Path, readings: Path, expected: Sequence[float]) -> dict[str, Any]:
    """Return the score by that expected bearing bias by which most is held: a compass's error may be found, or not."""
    scores = [scorer.score(folder, readings, expect=one) for one in expected]
    return max(scores, key=lambda score: score["moving"]["seen"] or 0.0)


def _one(name: str, scorer: ModuleType, run: variant_run.RealRun, variant: str, keep: Path | None) -> Iterator[Result]:
    changed = VARIANTS[variant](run)
    expected = {one.truth["bearing_bias_deg"] + one.truth["bow_offset_deg"] for one in (run, changed)}
    with tempfile.TemporaryDirectory() as temporary:
        folder, plain = Path(temporary) / "reader", Path(temporary) / "plain"
        variant_run.written(changed, folder, plain)
        ours_path = (keep or Path(temporary)) / f"{name}.{variant}.jsonl"
        plain_path = (keep or Path(temporary)) / f"{name}.{variant}.plain.jsonl"
        ours_lines = read_run(folder, ours_path, "reader.gpkg")
        scorer.baseline(plain, plain_path)
        score = best_score(scorer, folder, ours_path, sorted(expected))
        ours = figures(score, ours_lines)
        theirs = figures(best_score(scorer, folder, plain_path, sorted(expected)), scorer.read_lines(plain_path))
    for what, mine in ours.items():
        its = theirs[what]
        if mine is None or its is None:
            continue
        over, under = (mine, its) if what in MORE_IS_BETTER else (its, mine)
        unit = "of shown" if what in MORE_IS_BETTER else "a turn" if what != "switches" else "per 100"
        yield Result(f"real_variants.{name}.{variant}.{what}", mine, unit, PEER, its, over / under if under else None)
    for group in MORE_IS_BETTER:
        shown = score[group]["shown_in_video"]
        if shown is not None:
            yield Result(f"real_variants.{name}.{variant}.{group}.shown", shown * score[group]["vessel_turns"], "turns")


def run(names: Sequence[str], rest: Sequence[str] = ()) -> Iterator[Result]:
    """Yield the figures of every variant asked for; with ``BENCH_KEEP`` set, readings stay in that folder."""
    slices = SLICES["tell" if "tell" in rest else "choose"]
    rest = [word for word in rest if word != "tell"]
    folder = Path(rest[0]) if rest else Path(os.environ.get("MOONLESS_DATA", "../shared/data")) / "real-radar"
    runs = [word for word in rest[1:] if word in slices] or list(slices)
    asked = [word for word in rest[1:] if word not in slices] or list(VARIANTS)
    if unknown := [one for one in asked if one not in VARIANTS]:
        print(f"no variant is called {unknown[0]!r}; there are {', '.join(VARIANTS)}", file=sys.stderr)
        return
    keep = Path(os.environ["BENCH_KEEP"]) if "BENCH_KEEP" in os.environ else None
    scorer = scorer_of(folder)
    for name in runs:
        first, count = slices[name]
        run_whole = variant_run.read(folder / name)
        if name in TRUE_METRE:
            run_whole = variant_run.with_cells_twice_as_long(run_whole)
        part = variant_run.cut(run_whole, first, count)
        del run_whole
        for variant in asked:
            yield from _one(name, scorer, part, variant, keep)
