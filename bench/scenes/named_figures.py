"""The figures of one scene, by name, of what its score has counted."""

from __future__ import annotations

import math

import numpy as np

from bench.scenes.figures import calibration_error, macro_f1
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

    put("held", score.n.held, score.n.pairs)
    put("held_objects", score.n.object_held, score.n.object_pairs)
    put("held_fresh", score.n.fresh, score.n.pairs)
    put("held_fresh_right", score.n.fresh_right, score.n.pairs)
    put("false_vessels_per_turn", score.n.false_vessels, score.n.scans)
    put("doubled_per_turn", score.n.doubled, score.n.scans)
    put("remembered_vessels_per_turn", score.n.memories, score.n.scans)
    put("false_tracks_per_scan", score.n.false_tracks, score.n.scans)
    out["id_switches"] = float(score.n.switches)
    put("id_switches_per_100", 100.0 * score.n.switches, score.n.held)
    if score.slowest_s > 0.0:
        out["slowest_turn_s"] = score.slowest_s
    out["withdrawn_turns"] = float(score.n.withdrawn)
    able, held, right = score.firsts.first_able, score.firsts.first_held, score.firsts.first_right
    firsts = [held[k] - able[k] for k in held if k in able]
    rights = [right[k] - able[k] for k in right if k in able]
    if firsts:
        out["turns_to_first"] = float(np.median(np.maximum(firsts, 0)))
    if rights:
        out["turns_to_right"] = float(np.median(np.maximum(rights, 0)))
    rms("position_error_m", score.errors.position_m)
    rms("velocity_error_mps", score.errors.velocity)
    rms("velocity_error_60s_mps", score.errors.velocity_60)
    rms("place_error_m", score.errors.place_m)
    lasted_s = 0.0 if score.first_ns is None else (score.last_ns - score.first_ns) / 1e9
    out.update(score.meetings.figures(lasted_s))
    if score.errors.gospa_m:
        out["gospa_m"] = float(np.mean(score.errors.gospa_m))
    f1 = macro_f1(score.kinds.confusion)
    if f1 is not None:
        out["macro_f1"] = f1
    f1 = macro_f1(score.kinds.confusion, full=10)
    if f1 is not None:
        out["macro_f1_weighed"] = f1
    f1 = macro_f1(score.kinds.confusion, least=10)
    if f1 is not None:
        out["macro_f1_of_ten"] = f1
    put("right_mark", score.n.right_mark, score.n.told_mark)
    out.update(_missing_figures(score))
    put("hidden_iou", score.hidden.both, score.hidden.either)
    put("hidden_told", score.hidden.both, score.hidden.true)
    put("seen_told_behind_vessel", score.hidden.open_told_hidden, score.hidden.open_water)
    if score.hidden.boats:
        out["hidden_boats_in_seen"] = float(score.hidden.boats_in_seen)
    put("small_held_in_seeing", score.n.small_held, score.n.small_inside)
    rms("heading_bias_error_deg", score.errors.bias_deg)
    rms("fix_error_m", score.errors.fix_m)
    if score.errors.loss_db and not score.stage.by_bearing:
        out["scanner_loss_error_db"] = abs(float(np.median(score.errors.loss_db)) + score.stage.loss_db)
    put("outage_own_known", len(score.errors.outage_own_m), score.n.outage_turns)
    rms("outage_own_error_m", score.errors.outage_own_m)
    if score.kinds.calibration:
        out["calibration_error"] = calibration_error(score.kinds.calibration)
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
