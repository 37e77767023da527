"""Scenes through the whole chain, scored against their truth: ``python -m bench scenes [SCENE...]``.

A scene is a name from the built-in set, one made over a real chart (`harbour-cell`, `bay-cell`: they want
MOONLESS_DATA), or a TOML file.  One line for each figure of each scene, then the figures of the whole.
``MOONLESS_SCENES_VERBOSE=1`` says on standard error what was not held, called wrongly, or false,
and at the end how often each kind was told as which.
"""

from __future__ import annotations

import json
import os
import sys
import time
from collections import Counter
from collections.abc import Iterator, Sequence
from pathlib import Path

import numpy as np

from bench.result import Result
from bench.scenes.figures import calibration_error, confusion_table, macro_f1
from bench.scenes.named_figures import figures_of
from bench.scenes.pictures import Pictures
from bench.scenes.plain_reader import PlainReader
from bench.scenes.score import WARM_UP, Score
from bench.scenes.stage import BuiltIn, Stage
from moonless.scene.file import load_scene
from moonless.scene.player import ScenePlayer

NAMES = ("scenes",)
TAKES_REST = True
FOLDER = Path(__file__).parents[2] / "src" / "moonless" / "data" / "scenes"
# Clutter is the point of these; more false tracks are allowed in them.
CLUTTER_SCENES = frozenset({"sea-state-4", "rain", "squall", "ghosts", "interference"})
UNITS = {
    "turns_to_first": "turns",
    "turns_to_right": "turns",
    "position_error_m": "m",
    "velocity_error_60s_mps": "m/s",
    "cpa_error_m": "m",
    "cpa_error_near_m": "m",
    "cpa_error_middle_m": "m",
    "cpa_error_far_m": "m",
    "place_error_m": "m",
    "call_after_s": "s",
    "call_after_detectable_s": "s",
    "false_calls_per_hour": "an hour",
    "withdrawn_turns": "turns",
    "slowest_turn_s": "s",
    "false_vessels_per_turn": "a turn",
    "doubled_per_turn": "a turn",
    "remembered_vessels_per_turn": "a turn",
    "velocity_error_mps": "m/s",
    "gospa_m": "m",
    "heading_bias_error_deg": "deg",
    "fix_error_m": "m",
    "outage_own_error_m": "m",
    "scanner_loss_error_db": "dB",
    "false_tracks_per_scan": "a scan",
}


REAL = Path(__file__).parents[1] / "over_charts"


def scene_files(rest: Sequence[str]) -> list[Path]:
    """Return the files of the scenes asked for; all of the built-in set when none is."""
    os.environ.setdefault("MOONLESS_DATA", str(Path(__file__).parents[3] / "shared" / "data"))
    known_files = {p.stem: p for folder in (FOLDER, REAL) for p in sorted(folder.glob("*.toml"))}
    if not rest:
        return sorted(FOLDER.glob("*.toml"))
    out = []
    for name in rest:
        path = Path(name) if name.endswith(".toml") else known_files.get(name, FOLDER / f"{name}.toml")
        if not path.exists():
            known = ", ".join(sorted(known_files))
            raise SystemExit(f"no scene is called {name!r}; there are: {known}")
        out.append(path)
    return out


def run_scene(path: Path) -> Score:
    """Play one scene through the chain, by CAT240 bytes and NMEA lines, and return its score."""
    return play(BuiltIn(ScenePlayer(load_scene(path))))


def play(stage: Stage, plain: Score | None = None, pictures: Pictures | None = None) -> Score:
    """Play a scene through the chain and score what it says.

    ``plain`` is given what the plain reader says of it, ``pictures`` every turn as it was told.
    """
    from moonless.watch.pipeline.chain import Chain

    chain = Chain(stage.scene.boat, stage.chart, None)
    score = Score(stage)
    waiting, reader = None, PlainReader()
    for turn in stage.turns():
        # As they would come off two wires: in order of time, each whole.
        events = [(time_ns, 0, data) for time_ns, data in turn.radar]
        events += [(line.time_ns, 1, line.tagged()) for line in turn.nmea]
        events.sort(key=lambda event: (event[0], event[1]))
        said, began = [], time.process_time()
        for time_ns, which, data in events:
            said += chain.feed_nmea(data, time_ns) if which else chain.feed_radar(data, time_ns)
        said += chain.tick(turn.end_ns)
        if turn.number >= WARM_UP:
            score.slowest_s = max(score.slowest_s, time.process_time() - began)
        for one in said:
            # The reading of a turn comes with the first spokes of the next.
            about = waiting if one.reading.time_ns < turn.start_ns + 50_000_000 and waiting is not None else turn
            score.add(about, one.reading)
            if pictures is not None:
                pictures.take(about, one.scan, one.reading)
            if plain is not None and one.scan is not None:
                plain.add(about, reader.read(one.scan, one.reading.time_ns, stage.frame))
        waiting = turn
    return score


def run(names: Sequence[str], rest: Sequence[str] = ()) -> Iterator[Result]:
    """Score scenes; yields the figures of each, then of the whole."""
    whole: dict[str, list[float]] = {}
    confusion: Counter[tuple[str, str]] = Counter()
    calibration: list[tuple[float, bool]] = []
    totals: Counter[str] = Counter()
    paths = scene_files(rest)
    for path in paths:
        score = run_scene(path)
        figures = figures_of(score)
        for name, value in figures.items():
            whole.setdefault(name, []).append(value)
            yield Result(f"scenes.{path.stem}.{name}", value, UNITS.get(name, "1"))
        confusion += score.kinds.confusion
        calibration += score.kinds.calibration
        totals.update(
            pairs=score.n.pairs, held=score.n.held, told=score.n.told_mark, right=score.n.right_mark,
            inside=score.n.small_inside, inside_held=score.n.small_held, hidden=score.hidden.boats_in_seen,
            missing_right=int(figures.get("missing_right", 0)), missing_wrong=int(figures.get("missing_wrong", 0)),
        )  # fmt: skip
        if os.environ.get("MOONLESS_SCENES_VERBOSE"):
            _explain(path, score)
    if os.environ.get("MOONLESS_SCENES_VERBOSE"):
        print(confusion_table(confusion), file=sys.stderr)
    if len(paths) > 1:
        yield from _whole(whole, confusion, calibration, totals)


def _whole(
    whole: dict[str, list[float]],
    confusion: Counter[tuple[str, str]],
    calibration: list[tuple[float, bool]],
    totals: Counter[str],
) -> Iterator[Result]:
    if totals["pairs"]:
        yield Result("scenes.held", totals["held"] / totals["pairs"], "1")
    f1 = macro_f1(confusion)
    if f1 is not None:
        yield Result("scenes.macro_f1", f1, "1")
    if calibration:
        yield Result("scenes.calibration_error", calibration_error(calibration), "1")
    if totals["told"]:
        yield Result("scenes.right_mark", totals["right"] / totals["told"], "1")
    if totals["inside"]:
        yield Result("scenes.small_held_in_seeing", totals["inside_held"] / totals["inside"], "1")
        yield Result("scenes.hidden_boats_in_seen", float(totals["hidden"]), "1")
    told = totals["missing_right"] + totals["missing_wrong"]
    if told:
        yield Result("scenes.missing_precision", totals["missing_right"] / told, "1")
    if "small_held_in_seeing" in whole:
        yield Result("scenes.worst_small_held_in_seeing", min(whole["small_held_in_seeing"]), "1")
    for name in (
        "cpa_error_near_m", "cpa_error_middle_m", "cpa_error_far_m", "call_after_detectable_s", "false_calls_per_hour",
    ):  # fmt: skip
        if name in whole:
            yield Result(f"scenes.mean_{name}", float(np.mean(whole[name])), UNITS[name])
    for name in ("missing_recall", "hidden_iou", "heading_bias_error_deg", "fix_error_m", "gospa_m"):
        if name in whole:
            yield Result(f"scenes.mean_{name}", float(np.mean(whole[name])), UNITS.get(name, "1"))


def _explain(path: Path, score: Score) -> None:
    marks = score.stage.marks

    def readable(key: str) -> str:
        if key.startswith("mark "):
            index, _, rest = key[5:].partition(":")
            mark = marks[int(index)].charted
            return f"{mark.object} {mark.name or mark.feature}" + (":" + rest if rest else "")
        return key

    print(
        json.dumps(
            {
                "scene": path.stem,
                "scans": score.n.scans,
                "withdrawn": score.n.withdrawn,
                "not held": {readable(k): n for k, n in score.kinds.unheld.most_common(12)},
                "called wrongly": {readable(k): n for k, n in score.kinds.wrong.most_common(14)},
                "strays": [
                    " ".join(f"{k}={v}" for k, v in s.items())
                    for s in score.kinds.strays[:: max(1, len(score.kinds.strays) // 10)][:10]
                ],
                "told missing": sorted(score.told_missing)[:12],
            },
            indent=1,
        ),
        file=sys.stderr,
    )
