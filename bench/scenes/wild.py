"""Random wide scenes through the whole chain: ``python -m bench wild --seed S --count N [--jobs 2] [--verbose]``.

Seeds 0 to 99 are for choosing, 1000 to 1299 for telling: those are run whole and never looked at one by one.  The
video is made by `moonless.scene.wild`, which knows nothing of the program's radar model; the rules of the score stand
in `bench.scenes.truth`.  Each figure is told as its mean over the seeds and over its own worst tenth of them.

``--plain`` measures a plain reader (`bench.scenes.plain_reader`) beside it, which shows what the video itself holds.
``--verbose`` (or MOONLESS_SCENES_VERBOSE=1) says on standard error what went wrong, seed by seed; ``--each FILE``
writes each seed's figures and ingredients as JSON lines, ``--pictures DIR`` draws what was told over the video.  All
three are refused for the telling seeds.
"""

from __future__ import annotations

import argparse
import json
import math
import multiprocessing
import os
import sys
import tempfile
import traceback
from collections import Counter
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from bench.result import Result
from bench.scenes.built_in import UNITS, play
from bench.scenes.figures import confusion_table, macro_f1
from bench.scenes.named_figures import figures_of
from bench.scenes.pictures import Pictures
from bench.scenes.score import Score
from bench.scenes.stage import WildStage
from moonless.scene.wild.player import WildPlayer
from moonless.scene.wild.recipe import wild_of

NAMES = ("wild",)
TAKES_REST = True
TELLING = range(1000, 1300)
# Of these the less, the better; of all others the more.
LESS = frozenset(
    {
        "false_vessels_per_turn",
        "doubled_per_turn",
        "remembered_vessels_per_turn",
        "false_tracks_per_scan",
        "id_switches",
        "id_switches_per_100",
        "withdrawn_turns",
        "slowest_turn_s",
        "turns_to_first",
        "turns_to_right",
        "position_error_m",
        "velocity_error_mps",
        "velocity_error_60s_mps",
        "cpa_error_m",
        "cpa_error_near_m",
        "cpa_error_middle_m",
        "cpa_error_far_m",
        "place_error_m",
        "call_after_s",
        "call_after_detectable_s",
        "false_calls_per_hour",
        "gospa_m",
        "missing_wrong",
        "hidden_boats_in_seen",
        "seen_told_behind_vessel",
        "heading_bias_error_deg",
        "fix_error_m",
        "calibration_error",
    }
)
COUNTS = ("missing_due", "missing_right", "missing_wrong", "hidden_boats_in_seen", "withdrawn_turns", "id_switches")
# What a reader without chart, AIS and calls can be asked.
PLAIN = frozenset(
    {
        "held", "held_objects", "held_fresh", "held_fresh_right", "false_vessels_per_turn", "doubled_per_turn",
        "false_tracks_per_scan", "id_switches_per_100", "position_error_m", "velocity_error_mps",
        "velocity_error_60s_mps", "gospa_m", "macro_f1", "macro_f1_weighed", "macro_f1_of_ten", "turns_to_first",
    }
)  # fmt: skip
# By ingredient, these are told.
BY = ("held", "macro_f1", "false_vessels_per_turn", "velocity_error_60s_mps", "position_error_m")


@dataclass(slots=True)
class Outcome:
    """One seed."""

    seed: int
    ingredients: tuple[str, ...]
    figures: dict[str, float] = field(default_factory=dict)
    confusion: Counter[tuple[str, str]] = field(default_factory=Counter)
    false_by: Counter[str] = field(default_factory=Counter)
    small: tuple[int, int] = (0, 0)
    wrong: dict[str, Any] = field(default_factory=dict)
    crash: str = ""
    plain: dict[str, float] = field(default_factory=dict)


def run_seed(seed: int, with_plain: bool = False, pictures: Path | None = None) -> Outcome:
    """Make the scene of a seed, play it through the chain and score it, and the plain reader beside it."""
    wild = wild_of(seed)
    out = Outcome(seed, wild.ingredients)
    with tempfile.TemporaryDirectory() as folder:
        try:
            stage = WildStage(WildPlayer(wild, Path(folder)))
            plain = Score(stage) if with_plain else None
            drawn = None if pictures is None else Pictures(stage, pictures, f"seed{seed}")
            score = play(stage, plain, drawn)
        except Exception:
            # A crash is a scene in which nothing was told; it is said, and counted as such.
            out.crash = traceback.format_exc()
            out.figures = {"held": 0.0, "held_fresh": 0.0, "macro_f1": 0.0}
            return out
    out.figures = figures_of(score)
    if plain is not None:
        out.plain = figures_of(plain)
    out.confusion, out.false_by = score.kinds.confusion, score.kinds.false_by
    out.small = (score.n.small_held, score.n.small_inside)
    radar, receiver, strays = wild.antenna, wild.receiver, score.kinds.strays
    out.wrong = {
        "seed": seed,
        "ingredients": wild.ingredients,
        "radar": f"{radar.range_m / 1852:.2f} NM, beam {math.degrees(radar.beam_rad):.1f} deg, "
        f"{60 / radar.turn_s:.0f} rpm, {radar.n_spoke} x {radar.n_cell}, pulse {radar.pulse_m:.0f} m, "
        f"gain {radar.gain_db:.0f} dB, antenna {radar.height_m:.0f} m",
        "receiver": f"{receiver.curve}, {receiver.levels} steps, zero {receiver.zero_db:.0f} dB, "
        f"span {receiver.span_db:.0f} dB",
        "sea": f"{wild.sea.kind}, {wild.sea.cnr_db:.0f} dB at 200 m",
        "own": f"{wild.scene.own.speed * 1.944:.0f} kn, heading {math.degrees(wild.scene.own.heading_rad) % 360:.0f}",
        "figures": {k: round(v, 3) for k, v in out.figures.items()},
        "not held": dict(score.kinds.unheld.most_common(12)),
        "called wrongly": dict(score.kinds.wrong.most_common(14)),
        "false vessels by": dict(score.kinds.false_by),
        "strays": [
            " ".join(f"{k}={v}" for k, v in s.items()) for s in strays[:: max(1, len(strays) // 10)][:10]
        ],
        "told missing": sorted(score.told_missing)[:12],
    }
    return out


def run(names: Sequence[str], rest: Sequence[str] = ()) -> Iterator[Result]:
    """Run seeds and tell the figures."""
    parser = argparse.ArgumentParser(prog="python -m bench wild", description=__doc__)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--count", type=int, default=20)
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--plain", action="store_true", help="measure a plain reader beside it")
    parser.add_argument("--pictures", type=Path, default=None, help="a folder for pictures of what was told")
    parser.add_argument("--verbose", action="store_true", default=bool(os.environ.get("MOONLESS_SCENES_VERBOSE")))
    parser.add_argument("--each", type=Path, default=None)
    asked = parser.parse_args(list(rest))
    seeds = range(asked.seed, asked.seed + asked.count)
    if (asked.verbose or asked.each or asked.pictures) and set(seeds) & set(TELLING):
        parser.error(f"seeds {TELLING.start} to {TELLING.stop - 1} are for telling: they are not looked at one by one")
    outcomes = []
    for one in _outcomes(seeds, asked.jobs, asked.plain, asked.pictures):
        outcomes.append(one)
        if one.crash:
            print(f"wild seed {one.seed} crashed:\n{one.crash}", file=sys.stderr, flush=True)
        if asked.verbose:
            print(json.dumps(one.wrong, indent=1), file=sys.stderr, flush=True)
        if asked.each:
            with asked.each.open("a", encoding="utf-8") as out:
                out.write(json.dumps({"seed": one.seed, "ingredients": one.ingredients, **one.figures}) + "\n")
    yield from whole(outcomes)
    if asked.verbose:
        print(confusion_table(sum((one.confusion for one in outcomes), Counter())), file=sys.stderr)


def _outcomes(seeds: Sequence[int], jobs: int, with_plain: bool, pictures: Path | None) -> Iterator[Outcome]:
    plain, folders = [with_plain] * len(seeds), [pictures] * len(seeds)
    if jobs <= 1:
        yield from map(run_seed, seeds, plain, folders)
        return
    with ProcessPoolExecutor(jobs, mp_context=multiprocessing.get_context("spawn")) as pool:
        yield from pool.map(run_seed, seeds, plain, folders)


def worst_tenth(name: str, values: Sequence[float]) -> float:
    """Return the mean over the worst tenth of the values, at least one."""
    ordered = sorted(values, reverse=name in LESS)
    return float(np.mean(ordered[: math.ceil(len(ordered) / 10)]))


def whole(outcomes: Sequence[Outcome]) -> Iterator[Result]:
    """Yield every figure over the seeds: mean, worst tenth; pooled ones; then by ingredient, the worst first."""
    yield Result("wild.seeds", float(len(outcomes)), "1")
    yield Result("wild.crashed", float(sum(bool(one.crash) for one in outcomes)), "1")
    names = sorted({name for one in outcomes for name in one.figures})
    for name in names:
        values = [one.figures[name] for one in outcomes if name in one.figures]
        unit = UNITS.get(name, "1")
        if name in COUNTS:
            yield Result(f"wild.{name}.sum", float(np.sum(values)), unit)
            continue
        beside = [one.plain[name] for one in outcomes if name in PLAIN and name in one.plain and name in one.figures]
        yield _beside(f"wild.{name}.mean", name, float(np.mean(values)), float(np.mean(beside)) if beside else None)
        worst = worst_tenth(name, beside) if beside else None
        yield _beside(f"wild.{name}.worst_tenth", name, worst_tenth(name, values), worst)
    pooled = sum((one.confusion for one in outcomes), Counter())
    f1 = macro_f1(pooled)
    if f1 is not None:
        yield Result("wild.macro_f1.pooled", f1, "1")
    inside = sum(one.small[1] for one in outcomes)
    if inside:
        yield Result("wild.small_held_in_seeing.pooled", sum(one.small[0] for one in outcomes) / inside, "1")
    for what, n in sum((one.false_by for one in outcomes), Counter()).most_common():
        yield Result(f"wild.false_vessels.truly_{what.replace(' ', '_')}", float(n), "1")
    due = sum(one.figures.get("missing_due", 0.0) for one in outcomes)
    if due:
        told = sum(one.figures.get("missing_recall", 0.0) * one.figures.get("missing_due", 0.0) for one in outcomes)
        yield Result("wild.missing_told_of_due", told / due, "1")
    yield from _by_ingredient(outcomes)


def _beside(told: str, name: str, value: float, plain: float | None) -> Result:
    """Return a figure with the plain reader's beside it; the ratio is above 1 where we are better."""
    unit = UNITS.get(name, "1")
    if plain is None:
        return Result(told, value, unit)
    top, bottom = (plain, value) if name in LESS else (value, plain)
    return Result(told, value, unit, "plain reader", plain, top / bottom if bottom > 0.0 else None)


def _by_ingredient(outcomes: Sequence[Outcome]) -> Iterator[Result]:
    """Yield the figures of the seeds that have each ingredient, and how many of the worst tenth by held have it."""
    count = Counter(name for one in outcomes for name in one.ingredients)
    worst = sorted(outcomes, key=lambda one: one.figures.get("held", 0.0))[: math.ceil(len(outcomes) / 10)]

    def mean(name: str, which: str) -> float | None:
        values = [one.figures[which] for one in outcomes if name in one.ingredients and which in one.figures]
        return float(np.mean(values)) if values else None

    for name in sorted((n for n, k in count.items() if k >= 2), key=lambda n: mean(n, "held") or 0.0):
        stem = f"wild.with.{name.replace(' ', '_')}"
        yield Result(f"{stem}.seeds", float(count[name]), "1")
        yield Result(f"{stem}.of_worst", sum(name in one.ingredients for one in worst) / len(worst), "1")
        for which in BY:
            value = mean(name, which)
            if value is not None:
                yield Result(f"{stem}.{which}", value, UNITS.get(which, "1"))
