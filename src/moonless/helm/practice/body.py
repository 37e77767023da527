"""Exercises and answers as JSON: degrees, knots and nautical miles, and never the truth before the answer.

Places are metres east and north of the exercise's ``origin``: the boat's place, or the middle of the chart where the
boat's place is what is asked for.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from moonless.errors import InputError
from moonless.practice.ladder import LADDER, STEPS
from moonless.practice.overlay import Overlay, overlay
from moonless.practice.progress import Answered, Mastery, held, hours_until, next_step, opened
from moonless.practice.ready import CAUTION, readiness
from moonless.practice.steps.by_hand import SCALES_NM, KnobsKey
from moonless.practice.steps.draw import RINGS
from moonless.practice.types import CANNOT_TELL, Exercise, ExerciseAnswer, Knobs, Marked, Marking, Pictures, Place
from moonless.practice.waters import PracticeWaters


def origin_of(exercise: Exercise, waters: PracticeWaters) -> Place:
    """Return where the exercise's metres are counted from."""
    if exercise.key.form == "chart" or exercise.pictures is None:
        return middle_of(waters)
    last = exercise.pictures.last
    return last.east_m, last.north_m


def middle_of(waters: PracticeWaters) -> Place:
    """Return the middle of some waters."""
    chart = waters.chart
    east, north = chart.frame.to_plane(chart.centre_lat_deg, chart.centre_lon_deg)
    return float(east), float(north)


def exercise_body(exercise: Exercise, waters: PracticeWaters) -> dict[str, Any]:
    """Return what is shown before the answer."""
    origin = origin_of(exercise, waters)
    on_chart = exercise.key.form == "chart"
    with_it = exercise.chart == "with the question" and exercise.pictures is not None
    return {
        "id": f"{exercise.step}:{exercise.seed}",
        "step": exercise.step,
        "title": STEPS[exercise.step].title,
        "waters": waters.name,
        "asks": exercise.asks,
        "told": list(exercise.told),
        "form": exercise.key.form,
        "words": list(exercise.words),
        "figures": [{"name": f.name, "unit": f.unit, "least": f.least, "most": f.most} for f in exercise.figures],
        "scales_nm": list(SCALES_NM) if exercise.key.form == "knobs" else [],
        "view": _knobs(exercise.view),
        "withheld": exercise.withheld_words,
        "pictures": None if exercise.pictures is None else _pictures(exercise.pictures),
        "lights": [
            {"colour": s.colour, "across": s.across, "up": s.up, "flashing": s.flashing} for s in exercise.lights
        ],
        "asked": _notes(exercise.asked, origin),
        "overlay": _overlay(exercise, waters, origin) if with_it else None,
        "map": _map(exercise, waters, origin) if exercise.chart == "beside it" else None,
        "by_chart": on_chart,
    }


def marked_body(exercise: Exercise, waters: PracticeWaters, answer: ExerciseAnswer, marked: Marked) -> dict[str, Any]:
    """Return what is shown after the answer: the points, the reason, the truth on the picture, the chart laid over."""
    origin = origin_of(exercise, waters)
    notes = exercise.notes
    if isinstance(exercise.key, KnobsKey):
        notes = _with_lost(exercise, exercise.key, answer)
    return {
        "id": f"{exercise.step}:{exercise.seed}",
        "points": round(marked.points, 3),
        "withheld": marked.withheld,
        "knowable": round(marked.knowable, 3),
        "verdict": verdict(marked),
        "because": exercise.because,
        "right": _answer(exercise.key.right, origin),
        "notes": _notes(notes, origin),
        "overlay": None if exercise.pictures is None else _overlay(exercise, waters, origin),
    }


def verdict(marked: Marked) -> str:
    """Say in a few words how it went."""
    if marked.withheld:
        if marked.points >= 0.9:
            return "Rightly left open."
        if marked.points <= 0.1:
            return "It could be told."
        return f"Left open; a careful reader could have known it {marked.knowable:.0%} of the time."
    if marked.points >= 0.95:
        return "Right."
    return "Partly right." if marked.points > 0.05 else "Not so."


def read_answer(given: Mapping[str, Any], exercise: Exercise, waters: PracticeWaters) -> ExerciseAnswer:
    """Return the answer that a page or a command gave.  Raises InputError if it is none."""
    origin = origin_of(exercise, waters)
    try:
        if given.get("withheld"):
            return CANNOT_TELL
        if "touch" in given:
            east, north = (_finite(v) for v in given["touch"])
            return ExerciseAnswer(place=(origin[0] + east, origin[1] + north))
        if "figures" in given:
            return ExerciseAnswer(figures=tuple(_finite(v) for v in given["figures"]))
        if "knobs" in given:
            knobs = given["knobs"]
            gain, sea, rain = (min(100.0, max(0.0, _finite(knobs[name]))) for name in ("gain", "sea", "rain"))
            return ExerciseAnswer(knobs=Knobs(gain, sea, rain, _finite(knobs["scale_nm"])))
        if isinstance(given.get("word"), str):
            return ExerciseAnswer(word=given["word"])
    except (TypeError, ValueError, KeyError) as problem:
        raise InputError(f"the answer cannot be read: {problem}") from problem
    raise InputError("the answer is none: touch, figures, word, knobs or withheld is wanted")


def progress_body(answers: Sequence[Answered], now_ns: int) -> dict[str, Any]:
    """Return what is held of every step, what comes next, and what the skipper is ready for."""
    state = held(answers, now_ns)
    open_steps = opened(state)
    return {
        "caution": CAUTION,
        "answers": len(answers),
        "next": next_step(answers, now_ns),
        "steps": [_held(state[step.key], step.key in open_steps, now_ns) for step in LADDER],
        "levels": [
            {"to_try": one.level.to_try, "ready": one.is_ready, "wants": list(one.wants)} for one in readiness(state)
        ],
    }


def _held(now: Mastery, is_open: bool, now_ns: int) -> dict[str, Any]:
    step = now.step
    return {
        "key": step.key, "title": step.title, "teaches": step.teaches, "beside": step.beside, "by_day": step.by_day,
        "open": is_open, "word": now.word, "answers": now.answers, "mean": round(now.mean, 3),
        "low": round(now.low, 3), "high": round(now.high, 3), "recall": round(now.recall, 3), "is_due": now.is_due,
        "due_in_h": None if now.due is None else round(hours_until(now.due, now_ns), 2),
    }  # fmt: skip


def _pictures(pictures: Pictures) -> dict[str, Any]:
    grid, last = pictures.grid, pictures.last
    return {
        "scale_nm": pictures.scale_nm,
        "rings": RINGS[pictures.scale_nm],
        "n_spoke": grid.n_spoke,
        "n_cell": grid.n_cell,
        "first_m": grid.first_cell_m,
        "cell_m": grid.cell_m,
        "trails": pictures.trails,
        # Where the boat truly points is not told before the answer: it may be what is asked.
        "looks": [
            {
                "time_s": one.time_s, "east": round(one.east_m - last.east_m, 2),
                "north": round(one.north_m - last.north_m, 2),
                "shown_deg": round(math.degrees(one.shown_heading_rad) % 360.0, 3),
            }
            for one in pictures.looks
        ],
    }  # fmt: skip


def true_heading_deg(exercise: Exercise) -> float | None:
    """Return where the bow truly points in the last look; None where there is no picture."""
    if exercise.pictures is None:
        return None
    return round(math.degrees(exercise.pictures.last.heading_rad) % 360.0, 3)


def _with_lost(exercise: Exercise, key: KnobsKey, answer: ExerciseAnswer) -> tuple[Marking, ...]:
    """Say beside each thing whether the setting kept it."""
    if answer.knobs is None:
        return exercise.notes
    kept, _ = key.keeps(answer.knobs)
    things = [note for note in exercise.notes if note.role == "truth"]
    others = tuple(note for note in exercise.notes if note.role != "truth")
    told = tuple(
        Marking(note.form, "truth" if stays else "hidden", note.places, f"{note.label}: {'kept' if stays else 'lost'}")
        for note, stays in zip(things, kept, strict=True)
    )
    return (*told, *others)


def _answer(answer: ExerciseAnswer, origin: Place) -> dict[str, Any]:
    if answer.is_withheld:
        return {"withheld": True}
    if answer.place is not None:
        return {"touch": _from(origin, answer.place)}
    if answer.figures:
        return {"figures": [round(v, 3) for v in answer.figures]}
    if answer.knobs is not None:
        return {"knobs": _knobs(answer.knobs)}
    return {"word": answer.word}


def _knobs(knobs: Knobs) -> dict[str, float]:
    return {"gain": knobs.gain, "sea": knobs.sea, "rain": knobs.rain, "scale_nm": knobs.scale_nm}


def _from(origin: Place, place: Place) -> list[float]:
    return [round(place[0] - origin[0], 1), round(place[1] - origin[1], 1)]


def _notes(notes: Iterable[Marking], origin: Place) -> list[dict[str, Any]]:
    return [
        {"form": n.form, "role": n.role, "at": [_from(origin, p) for p in n.places], "label": n.label} for n in notes
    ]


def _drawn(found: Overlay, origin: Place) -> dict[str, Any]:
    return {
        "lines": [[_from(origin, p) for p in line] for line in found.lines],
        "marks": [{"at": _from(origin, p), "name": name} for p, name in found.marks],
    }


def _overlay(exercise: Exercise, waters: PracticeWaters, origin: Place) -> dict[str, Any]:
    """Return the chart within the picture, counted from the boat."""
    assert exercise.pictures is not None
    last = exercise.pictures.last
    reach_m = exercise.pictures.scale_nm * 1852.0
    here = (last.east_m, last.north_m)
    return {**_drawn(overlay(waters, here, reach_m), here), "true_deg": true_heading_deg(exercise)} | {
        "boat": _from(origin, here)
    }


def _map(exercise: Exercise, waters: PracticeWaters, origin: Place) -> dict[str, Any]:
    """Return the chart beside the picture, north up; with the boat on it unless her place is what is asked."""
    if exercise.key.form == "chart":
        reach_m, boat, simpler_m = waters.chart.radius_m, None, 15.0
    else:
        assert exercise.pictures is not None
        reach_m, boat, simpler_m = exercise.pictures.scale_nm * 1852.0, [0.0, 0.0], 4.0
    return {**_drawn(overlay(waters, origin, reach_m, simpler_m), origin), "reach_m": reach_m, "boat": boat}


def _finite(value: Any) -> float:
    number = float(value)
    if not math.isfinite(number):
        raise ValueError(f"{value!r} is not a number")
    return number
