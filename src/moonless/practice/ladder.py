"""The ladder: the steps of practice in their order, and the making of one exercise of a step.

What the steps stand beside: the headings of IMO Model Course 1.07 (Radar navigation at operational level) and of STCW
Code table A-II/1 (function: navigation; "Use of radar and ARPA to maintain safety of navigation").  Titles and headings
only, from memory; nothing of either text is used, and no step is a part of any approved training.
"""

from __future__ import annotations

import zlib
from dataclasses import dataclass

import numpy as np

from moonless.boat.types import Boat
from moonless.errors import InputError
from moonless.practice.steps.by_hand import by_hand
from moonless.practice.steps.clutter import rain_or_land, sea_or_float
from moonless.practice.steps.draw import Draw, Template
from moonless.practice.steps.echoes import boat_or_beacon, missing, not_charted
from moonless.practice.steps.hidden import hidden
from moonless.practice.steps.lights import lights
from moonless.practice.steps.lying import lying
from moonless.practice.steps.motion import pass_clear, which_way
from moonless.practice.steps.reading import find_place, rings
from moonless.practice.steps.run import night_run
from moonless.practice.steps.speed import speed
from moonless.practice.types import Exercise
from moonless.practice.waters import PracticeWaters

# Places are drawn until one is fit; most are within a few.
TRIES = 400
_RUN_STEPS = ("rings", "not_charted", "hidden", "rain_or_land", "which_way", "pass_clear", "missing", "lying", "speed")


@dataclass(frozen=True, slots=True)
class Step:
    """One step of the ladder."""

    key: str
    title: str
    teaches: str
    beside: str  # what it stands beside: headings of public syllabuses, from memory
    by_day: str  # what to do with it on the water, in daylight


_A = "STCW A-II/1: fundamentals of radar; operation and interpretation"
LADDER: tuple[Step, ...] = (
    Step("rings", "Rings and bearings", "Where an echo is, in miles and degrees.",
         f"{_A}: range and bearing. Model Course 1.07: obtaining range and bearing",
         "Read a charted mark off the rings, then take it with a hand bearing compass."),
    Step("boat_or_beacon", "Boat or beacon", "Which of two echoes the chart knows.",
         f"{_A}: identification of critical echoes",
         "Touch an echo, say what it is, then look."),
    Step("not_charted", "What is not on the chart", "What stands there though no chart has it.",
         f"{_A}: identification of critical echoes",
         "Run past an anchorage and name every echo the chart does not explain."),
    Step("hidden", "What the point hides", "Black behind land is hidden water, not empty.",
         f"{_A}: factors affecting performance; blind and shadow sectors",
         "Before a bend, touch where a boat will first show; wait for one."),
    Step("sea_or_float", "Sea clutter or a float", "What stays among waves that come and go.",
         f"{_A}: sea clutter; Model Course 1.07: factors that affect detection",
         "In a breeze, find a float you can see on the screen, upwind and downwind."),
    Step("rain_or_land", "Rain or land", "Soft and grainy, or hard with a shadow.",
         f"{_A}: rain; Model Course 1.07: factors that affect detection",
         "Watch a shower you can see come across, and turn the rain knob."),
    Step("which_way", "Which way it goes", "True course and speed from a relative trail.",
         "STCW A-II/1: course and speed of other ships. Model Course 1.07: plotting; relative motion triangle",
         "Say a boat's course from her trail, then look how she lies."),
    Step("pass_clear", "Will it pass clear", "Closest approach from the trail: a steady bearing meets you.",
         "STCW A-II/1: time and distance of closest approach. Model Course 1.07: closest point of approach",
         "Say how close she will come, and when; take the time."),
    Step("missing", "What is missing", "A mark that should show and does not.",
         f"{_A}: identification of critical echoes; Model Course 1.07: position fixing by radar",
         "Tick off the marks of a reach, each on chart, screen and by eye."),
    Step("lying", "The radar is lying", "Side lobes, second traces, reflections, a heading off, a picture that stands.",
         f"{_A}: detection of misrepresentation of information; false echoes",
         "Pass close to a large ship at anchor and name each false echo."),
    Step("by_hand", "The knobs by hand", "Range, gain, sea and rain: what each shows and what it takes.",
         f"{_A}: setting up and maintaining the display. Model Course 1.07: setting up",
         "With a float in sight, turn sea up until it goes, and note where."),
    Step("speed", "Choose a speed", "The speed that stops inside what is seen.",
         "STCW A-II/1: application of the Regulations; safe speed, Rule 6",
         "Stop from three speeds and measure; put it into the boat file."),
    Step("lights", "What lights are these", "What she is, which way she goes, who keeps clear.",
         "STCW A-II/1: content, application and intent of the Regulations",
         "At dusk from a mooring, name every vessel by her lights."),
    Step("find_place", "Find the place", "Where on the chart a picture was taken.",
         "STCW A-II/1: parallel indexing, position by radar. Model Course 1.07: position fixing by radar",
         "Cover the chart plotter, and find yourself from the radar alone."),
    Step("night_run", "A night's run", "All of it, station by station along one track.",
         "Model Course 1.07: exercises as a whole",
         "Run tomorrow night's track this afternoon, by radar, with somebody who looks out."),
)  # fmt: skip
STEPS = {step.key: step for step in LADDER}

_TEMPLATES: dict[str, Template] = {
    "rings": rings, "boat_or_beacon": boat_or_beacon, "not_charted": not_charted, "hidden": hidden,
    "sea_or_float": sea_or_float, "rain_or_land": rain_or_land, "which_way": which_way, "pass_clear": pass_clear,
    "missing": missing, "lying": lying, "by_hand": by_hand, "speed": speed, "lights": lights, "find_place": find_place,
}  # fmt: skip


def _template(step: str) -> Template:
    if step == "night_run":
        return lambda draw: night_run(draw, {name: _TEMPLATES[name] for name in _RUN_STEPS})
    return _TEMPLATES[step]


def make(step: str, seed: int, waters: PracticeWaters, boat: Boat) -> Exercise:
    """Return the exercise of a step that a seed gives on some waters; the same each time.

    Raises InputError for a step that is not on the ladder, and where these waters have no place for it.
    """
    if step not in STEPS:
        raise InputError(f"there is no step {step!r}; the steps are {', '.join(STEPS)}")
    template = _template(step)
    for number in range(TRIES):
        chance = np.random.default_rng([seed, zlib.crc32(step.encode()), number])
        made = template(Draw(waters, boat, chance, seed))
        if made is not None:
            return made
    raise InputError(
        f"{waters.name} has no place for {STEPS[step].title.lower()!r} with seed {seed} that {TRIES} tries would find; "
        "take another seed or other waters"
    )
