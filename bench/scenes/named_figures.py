"""The figures of one scene, by name, of what its score has counted."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from bench.scenes.figures import calibration_error, macro_f1

if TYPE_CHECKING:
    from bench.scenes.score import Score

# A mark that is gone should be told of when it would surely have shown on so many turns.
MISSING_TURNS = 15
# A mark dragged so far from its place may rightly be told as missing from there.
DRAGGED_M = 40.0


def figures_of(score: Score) -> dict[str, float]:
    """Return the scene's figures by name; those that had nothing to measure are left out."""
    out: dict[str, float] = {}

    def put(name: str, top: float, bottom: float) -> None:
        if bottom > 0:
            out[name] = top / bottom

    def rms(name: str, values: list[float]) -> None:
        if values:
            out[name] = float(np.sqrt(np.mean(np.square(values))))

    put("held", score.held, score.pairs)
    put("held_objects", score.object_held, score.object_pairs)
    put("held_fresh", score.fresh, score.pairs)
    put("held_fresh_right", score.fresh_right, score.pairs)
    put("false_vessels_per_turn", score.false_vessels, score.scans)
    put("doubled_per_turn", score.doubled, score.scans)
    put("remembered_vessels_per_turn", score.memories, score.scans)
    put("false_tracks_per_scan", score.false_tracks, score.scans)
    out["id_switches"] = float(score.switches)
    put("id_switches_per_100", 100.0 * score.switches, score.held)
    if score.slowest_s > 0.0:
        out["slowest_turn_s"] = score.slowest_s
    out["withdrawn_turns"] = float(score.withdrawn)
    firsts = [score.first_held[k] - score.first_able[k] for k in score.first_held if k in score.first_able]
    rights = [score.first_right[k] - score.first_able[k] for k in score.first_right if k in score.first_able]
    if firsts:
        out["turns_to_first"] = float(np.median(np.maximum(firsts, 0)))
    if rights:
        out["turns_to_right"] = float(np.median(np.maximum(rights, 0)))
    rms("position_error_m", score.position_m)
    rms("velocity_error_mps", score.velocity)
    rms("velocity_error_60s_mps", score.velocity_60)
    rms("place_error_m", score.place_m)
    lasted_s = 0.0 if score.first_ns is None else (score.last_ns - score.first_ns) / 1e9
    out.update(score.meetings.figures(lasted_s))
    if score.gospa_m:
        out["gospa_m"] = float(np.mean(score.gospa_m))
    f1 = macro_f1(score.confusion)
    if f1 is not None:
        out["macro_f1"] = f1
    f1 = macro_f1(score.confusion, full=10)
    if f1 is not None:
        out["macro_f1_weighed"] = f1
    f1 = macro_f1(score.confusion, least=10)
    if f1 is not None:
        out["macro_f1_of_ten"] = f1
    put("right_mark", score.right_mark, score.told_mark)
    out.update(_missing_figures(score))
    put("hidden_iou", score.hidden_both, score.hidden_either)
    put("hidden_told", score.hidden_both, score.hidden_true)
    put("seen_told_behind_vessel", score.open_told_hidden, score.open_water)
    if score.hidden_boats:
        out["hidden_boats_in_seen"] = float(score.hidden_boats_in_seen)
    put("small_held_in_seeing", score.small_held, score.small_inside)
    rms("heading_bias_error_deg", score.bias_deg)
    rms("fix_error_m", score.fix_m)
    if score.loss_db and not score.stage.by_bearing:
        out["scanner_loss_error_db"] = abs(float(np.median(score.loss_db)) + score.stage.loss_db)
    put("outage_own_known", len(score.outage_own_m), score.outage_turns)
    rms("outage_own_error_m", score.outage_own_m)
    if score.calibration:
        out["calibration_error"] = calibration_error(score.calibration)
    return out


def _missing_figures(score: Score) -> dict[str, float]:
    out: dict[str, float] = {}
    marks = score.stage.marks
    names = {}
    for m in marks:
        lat, lon = score.stage.frame.to_geographic(m.charted.east_m, m.charted.north_m)
        names[f"{m.charted.object} {m.charted.name} {lat:.5f} {lon:.5f}"] = m
    right = wrong = 0
    shift = score.stage.shift_m
    for told in score.told_missing:
        mark = names.get(told)
        moved = mark is not None and math.hypot(
            mark.east_m - shift[0] - mark.charted.east_m, mark.north_m - shift[1] - mark.charted.north_m
        )
        if mark is not None and not mark.is_there:
            right += 1
        elif not (mark is not None and moved > DRAGGED_M):
            wrong += 1
    due = [k for k, turns in score.gone_turns.items() if turns >= MISSING_TURNS]
    out["missing_due"] = float(len(due))
    out["missing_wrong"] = float(wrong)
    if due:
        told_due = sum(any(names.get(t) is marks[k] for t in score.told_missing) for k in due)
        out["missing_recall"] = told_due / len(due)
    out["missing_right"] = float(right)
    return out
