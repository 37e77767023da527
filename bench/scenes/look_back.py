"""The debrief of the demo's story held against the story's truth: ``debrief.*``.

The story is played through the whole chain into a recording, the recording is looked back on as ``moonless debrief``
does, and every figure that the script of the scene knows is worked out from the script itself, in steps of a tenth of
a second.  Told: the greatest error of each, vessels met that were told and that were invented.
"""

from __future__ import annotations

import math
import sys
import tempfile
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from bench.many_runs.record import record
from bench.result import Result
from moonless.chart.library import Chart
from moonless.debrief.ledger import ledger_of
from moonless.debrief.meetings import MOVES_KN, TOLD_KEEP_OFFS, MeetingTold
from moonless.debrief.report import debrief
from moonless.debrief.types import Debrief
from moonless.frames import wrap_180
from moonless.passage.way.route import Waypoint
from moonless.scene.motion import ScriptedMotion
from moonless.scene.player import ScenePlayer
from moonless.scene.story import open_demo
from moonless.scene.types import Scene, SceneObject
from moonless.units import KNOT_MPS, NS_PER_S
from moonless.watch.afterwards.told import BesideRecording, PastRun

NAMES = (
    "debrief.met", "debrief.invented", "debrief.closest", "debrief.when", "debrief.bearing", "debrief.inside",
    "debrief.inside_all", "debrief.depth", "debrief.at_datum", "debrief.below_margin", "debrief.length",
    "debrief.waypoints", "debrief.not_passed", "debrief.marks",
)  # fmt: skip
STEP_S = 0.1
# As short as it may be for what is asked of it here: the debrief's figures, and not the picture's detail.
N_SPOKE, N_CELL = 512, 384
# A vessel told is one of the script's if she is nearest at a time so near to that of its closest approach.
SAME_S = 20.0

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Met:
    """One vessel's closest approach by the script."""

    name: str
    closest_m: float
    at_s: float
    bearing_deg: float  # true
    off_m: Floats  # (n,) distance, in steps of `STEP_S`


@dataclass(frozen=True, slots=True)
class ScriptTruth:
    """What the script knows of a run; arrays (n,), in steps of `STEP_S`."""

    time_s: Floats
    met: tuple[Met, ...]
    depth_m: Floats  # at chart datum; NaN where the chart has none
    length_m: float
    own: Floats  # (n, 2), metres east and north


def truth_of(player: ScenePlayer, until_s: float) -> ScriptTruth:
    """Return what the script of a scene knows of its first seconds."""
    scene = player.scene
    time_s = np.arange(0.0, until_s, STEP_S)
    state = ScriptedMotion(scene.own, scene.duration_s).at(time_s)
    own = np.column_stack([state.east_m, state.north_m])
    met = [_met(one, own, time_s) for one in scene.objects]
    # Asked every second, seven metres of way.
    asked = np.arange(0, len(own), round(1.0 / STEP_S))
    known = [player.ground.depth_at(*own[k].tolist()) for k in asked]
    depth = np.interp(time_s, time_s[asked], [math.nan if d is None else d for d in known])
    step = np.hypot(*np.diff(own, axis=0).T)
    return ScriptTruth(time_s, tuple(one for one in met if one is not None), depth, float(step.sum()), own)


def _met(one: SceneObject, own: Floats, time_s: Floats) -> Met | None:
    """Return the closest approach of what moves then; None of what lies still, or goes away from the beginning."""
    state = ScriptedMotion(one.script, float(time_s[-1])).at(time_s)
    off = np.column_stack([state.east_m, state.north_m]) - own
    distance = np.hypot(*off.T)
    k = int(np.argmin(distance))
    if k == 0 or math.hypot(state.velocity_east[k], state.velocity_north[k]) < MOVES_KN * KNOT_MPS:
        return None
    bearing = math.degrees(math.atan2(off[k, 0], off[k, 1])) % 360.0
    return Met(one.name, float(distance[k]), float(time_s[k]), bearing, distance)


def waypoints_of(scene: Scene) -> list[Waypoint]:
    """Return the places that the script steers for, as a route."""
    places = [leg.to_m for leg in scene.own.legs if leg.to_m is not None]
    return [Waypoint(f"{k}", *(float(v) for v in scene.frame.to_geographic(*place))) for k, place in enumerate(places)]


def held(found: Debrief, player: ScenePlayer) -> tuple[dict[str, float], list[str]]:
    """Return the figures by name, and in words what each was (in brackets what it is by the script)."""
    scene = player.scene
    truth = truth_of(player, (found.ends_ns - scene.start_ns) / NS_PER_S)
    # The first reading comes when the first turn is whole: what was before is not in it.
    begins_s = (found.begins_ns - scene.start_ns) / NS_PER_S
    met, met_said = _of_meetings(found, scene, truth)
    water, water_said = _of_water(found, scene, truth, begins_s)
    way, way_said = _of_way(found, scene, truth, begins_s)
    return {**met, **water, **way}, [*met_said, *water_said, *way_said]


def _of_meetings(found: Debrief, scene: Scene, truth: ScriptTruth) -> tuple[dict[str, float], list[str]]:
    there = [one for one in truth.met if one.closest_m <= TOLD_KEEP_OFFS * scene.boat.skipper.keep_off_m]
    pairs, invented = _paired(found.meetings, there, scene.start_ns)
    named = {one.name for _, one in pairs}
    said = [f"not told: {one.name}, {one.closest_m:.0f} m" for one in there if one.name not in named]
    said += [f"invented: {one.who}, {one.closest_m:.0f} m" for one in invented]
    inside_all = np.zeros(len(truth.time_s), dtype=np.bool_)
    errors: dict[str, list[float]] = {"closest": [0.0], "when": [0.0], "bearing": [0.0], "inside": [0.0]}
    for told, one in pairs:
        inside = one.off_m < told.keep_off_m
        inside_all |= inside
        true_s = STEP_S * float(inside.sum())
        at_s = (told.closest_ns - scene.start_ns) / NS_PER_S
        errors["closest"].append(abs(told.closest_m - one.closest_m))
        errors["when"].append(abs(at_s - one.at_s))
        errors["bearing"].append(abs(float(wrap_180(told.bearing_deg - one.bearing_deg))))
        errors["inside"].append(abs(told.inside_s - true_s))
        said.append(
            f"{one.name}: closest {told.closest_m:.0f} m ({one.closest_m:.0f}) at {at_s:.0f} s ({one.at_s:.0f}), "
            f"bearing {told.bearing_deg:.0f} ({one.bearing_deg:.0f}); inside {told.keep_off_m:.0f} m for "
            f"{told.inside_s:.0f} s ({true_s:.0f})"
        )
    true_all_s = STEP_S * float(inside_all.sum())
    said.append(f"inside a keep-off in all {found.keep_off_s:.0f} s ({true_all_s:.0f})")
    out = {name: max(values) for name, values in errors.items()}
    out["met"] = len(pairs) / len(there) if there else 1.0
    out["invented"] = float(len(invented))
    out["inside_all"] = abs(found.keep_off_s - true_all_s)
    return out, said


def _of_water(found: Debrief, scene: Scene, truth: ScriptTruth, begins_s: float) -> tuple[dict[str, float], list[str]]:
    boat, depth = scene.boat, found.depth
    if depth.least_below_keel_m is None or depth.at_datum_m is None:
        raise RuntimeError("the sounder of the scene was not heard")
    margin_m = boat.skipper.depth_margin_m
    below = truth.depth_m[truth.time_s >= begins_s] + scene.tide_m - boat.draught_m
    least, short_s = float(np.nanmin(below)), STEP_S * float(np.sum(below < margin_m))
    said = (
        f"least below the keel {depth.least_below_keel_m:.2f} m ({least:.2f}), at datum {depth.at_datum_m:.2f} "
        f"({least - scene.tide_m:.2f}), less than {margin_m:.1f} m for {depth.below_margin_s:.0f} s ({short_s:.0f})"
    )
    return {
        "depth": abs(depth.least_below_keel_m - least),
        "at_datum": abs(depth.at_datum_m - (least - scene.tide_m)),
        "below_margin": abs(depth.below_margin_s - short_s),
    }, [said]


def _of_way(found: Debrief, scene: Scene, truth: ScriptTruth, begins_s: float) -> tuple[dict[str, float], list[str]]:
    way = truth.own[truth.time_s >= begins_s]
    length = float(np.hypot(*np.diff(way, axis=0).T).sum())
    places = [scene.frame.to_plane(one.lat_deg, one.lon_deg) for one in waypoints_of(scene)]
    off = [float(np.min(np.hypot(*(way - place).T))) for place in places]
    passed = [(one.off_m, true) for one, true in zip(found.plan, off, strict=True) if one.passed_ns is not None]
    gone = {change.name for change in scene.waters.changes if change.gone}
    missing = {str(one.name) for one in found.marks}
    return {
        "length": abs(found.length_m - length) / length,
        "waypoints": max(abs(told - true) for told, true in passed),
        "not_passed": float(len(off) - len(passed)),
        "marks": float(len(gone ^ missing)),
    }, [
        f"length {found.length_m:.0f} m ({length:.0f}); {len(passed)} of {len(off)} waypoints passed",
        f"marks told missing {sorted(missing)} (gone: {sorted(gone)})",
    ]


def _paired(
    told: Sequence[MeetingTold], there: Sequence[Met], start_ns: int
) -> tuple[list[tuple[MeetingTold, Met]], list[MeetingTold]]:
    """Return who is who, by the time of the closest approach and the distance then, and who is none of them."""
    left, pairs = list(there), []
    invented = []
    for one in told:
        at_s = (one.closest_ns - start_ns) / NS_PER_S
        near = [(abs(one.closest_m - t.closest_m), k) for k, t in enumerate(left) if abs(at_s - t.at_s) <= SAME_S]
        if near:
            pairs.append((one, left.pop(min(near)[1])))
        else:
            invented.append(one)
    return pairs, invented


def looked_back(recording: Path, scene: Scene, chart: Chart) -> Debrief:
    """Return the debrief of a recording of the scene, with its tide and with the places it steers for as the plan."""
    past = PastRun(recording, BesideRecording(scene.boat, chart, tide_m=scene.tide_m))
    waypoints = waypoints_of(scene)
    return debrief(
        ledger_of(past.turns()), scene.boat, recording.name, tide_m=lambda time_ns, lat, lon: scene.tide_m,
        plan=("the script", waypoints, [None] * len(waypoints)), is_anew=past.is_anew, answers=past.answers,
    )  # fmt: skip


_UNITS = {
    "met": "of the vessels that came near", "invented": "vessels", "closest": "m, greatest error",
    "when": "s, greatest error", "bearing": "degrees, greatest error", "inside": "s, greatest error of a vessel",
    "inside_all": "s, error", "depth": "m, error", "at_datum": "m, error", "below_margin": "s, error",
    "length": "of the way, error", "waypoints": "m, greatest error", "not_passed": "waypoints",
    "marks": "told wrongly or not told",
}  # fmt: skip


def run(names: Sequence[str]) -> Iterator[Result]:
    """Play the story, look back on it, and yield what was asked for; what was held against what goes to stderr."""
    scene = open_demo()
    scene = replace(scene, radar=replace(scene.radar, n_spoke=N_SPOKE, n_cell=N_CELL))
    chart = Chart.open(list(scene.waters.paths))
    player = ScenePlayer(scene)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "story.mcap"
        record(player, chart, path)
        figures, said = held(looked_back(path, scene, chart), player)
    print("\n".join(said), file=sys.stderr)
    for name in names:
        what = name.split(".")[1]
        yield Result(name, figures[what], _UNITS[what])
