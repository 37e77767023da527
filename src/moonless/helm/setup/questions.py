"""The boat, the radar and the skipper by questions: one plain sentence each, over the keys of the boat file.

Limits, defaults and choices come from `moonless.boat.keys`; here are only the words and the order.  A question that is
skipped leaves its key out of the file: it stands at its default, and is said to.  The five figures that a boat file
must have are assumed where nobody knows them, and named in ``boat.assumed``.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from moonless.boat.keys import keys_of
from moonless.boat.sets import GENERIC_SETS
from moonless.constants import TAU
from moonless.errors import InputError
from moonless.helm.bodies.setup import ChoiceBody, Form, QuestionBody
from moonless.rules.lights import Light, Vessel
from moonless.rules.required import required
from moonless.tables import Values

Group = Literal["hand", "boat", "radar", "figures", "skipper"]

GROUPS: Mapping[Group, str] = {
    "hand": "You",
    "boat": "The boat",
    "radar": "The radar",
    "figures": "The radar's figures",
    "skipper": "How you run",
}


@dataclass(frozen=True, slots=True)
class Question:
    """One question; ``key`` is dotted as in the boat file, ``screen.length_unit`` is the helm's own."""

    key: str
    group: Group
    form: Form
    ask: str
    help: str = ""
    unit: str = ""
    step: float = 1.0
    words: tuple[str, ...] = ()  # of the choices, in the keys' order


STOP_HELP = (
    "In open water without wind or stream, run steadily at one speed. Note the place, stop her as you would in need, "
    "and note the place again when she lies still. The metres between are the figure. Do it both ways and take the "
    "longer; two or three speeds are enough."
)
SETS_SAY = {
    "small radome": "a small dome, about 45 to 50 cm",
    "larger radome": "a larger dome, about 60 to 65 cm",
    "open array": "a turning bar, 1 m or more",
    "solid state": "a dome that sends long chirps, without a magnetron",
}

QUESTIONS: tuple[Question, ...] = (
    Question("skipper.free_hand", "hand", "choice", "Which hand is free for the screen?",
             "The controls come to it. The other one keeps the wheel.", words=("the left", "the right")),
    Question("skipper.distance_unit", "hand", "choice", "How do you count distance on the water?",
             words=("miles", "cables", "yards", "metres")),
    Question("screen.length_unit", "hand", "choice", "And lengths on board?", words=("metres", "feet")),
    Question("skipper.local_time_zone", "hand", "text", "Which time zone do you keep?",
             "As Europe/London or America/New_York. UTC if you keep that."),
    Question("boat.name", "boat", "text", "What is she called?"),
    Question("boat.length_m", "boat", "length", "How long is she over all?", step=0.1),
    Question("boat.beam_m", "boat", "length", "How broad is she?", step=0.1),
    Question("boat.draught_m", "boat", "length", "How deep is she below the waterline?",
             "The deepest part: propeller, skeg or keel, as she is laden.", step=0.1),
    Question("boat.air_draught_m", "boat", "length", "How high is her highest fixed part above the water?",
             "Bridges are judged by this: mast, dome and aerials count.", step=0.1),
    Question("boat.eye_height_m", "boat", "length", "How high above the water are your eyes at the wheel?", step=0.1),
    Question("boat.mmsi", "boat", "integer", "What is her own AIS number?",
             "So that her own AIS is not taken for another vessel. Nine figures."),
    Question("boat.position_forward_m", "boat", "length",
             "How far forward of her middle is the position antenna?", "Aft is less than nothing.", step=0.1),
    Question("boat.stopping", "boat", "stops", "In how many metres does she stop?", STOP_HELP),
    Question("light", "boat", "lights", "Which lights are fitted?",
             "What the rules ask of a power-driven vessel of her length. `moonless lights` checks them."),
    Question("boat.fuel", "boat", "fuel", "What does the engine burn?", "All engines together, as the gauge reads."),
    Question("radar.set", "radar", "choice", "What kind of radar is it?",
             "By its antenna: the figures of the kind are typical, from common practice, and can be changed.",
             words=tuple(SETS_SAY.values())),
    Question("radar.height_m", "radar", "length", "How high above the water is the radar's antenna?", step=0.1),
    Question("radar.forward_m", "radar", "length", "How far forward of the position antenna is the radar's?",
             "Aft is less than nothing.", step=0.1),
    Question("radar.starboard_m", "radar", "length", "How far to starboard of the position antenna is the radar's?",
             "To port is less than nothing.", step=0.1),
    Question("radar.angle_from", "radar", "choice", "What does the radar count its angle from?",
             "From the bow is usual. From north only where it is given a heading and stabilises its own picture.",
             words=("from the bow", "from north")),
    Question("radar.bow_offset_deg", "radar", "number", "How far is its bow mark off?",
             "Added to every angle. Leave it: under way it is measured against the chart and taken with one touch.",
             "degrees", 0.5),
    Question("radar.range_offset_m", "radar", "metres", "How far are its ranges off?",
             "Added to every range, so that a known distance shows right.", "metres", 1.0),
    Question("radar.blind_sectors_deg", "radar", "sectors", "Where can it not see past a mast or a wheelhouse?",
             "Clockwise from the bow. What lies there is drawn as hidden, never as empty."),
    Question("radar.rotation_rpm", "figures", "number", "How fast does it turn?", "", "turns a minute", 1.0),
    Question("radar.peak_power_w", "figures", "number", "What is its peak power?", "", "watts", 100.0),
    Question("radar.gain_db", "figures", "number", "What is the antenna's gain?", "", "decibels", 0.1),
    Question("radar.beam_horizontal_deg", "figures", "number", "How wide is its beam?",
             "Between half-power points.", "degrees", 0.1),
    Question("radar.beam_vertical_deg", "figures", "number", "How high is its beam?",
             "Between half-power points.", "degrees", 1.0),
    Question("radar.noise_figure_db", "figures", "number", "What is the receiver's noise figure?", "", "decibels", 0.5),
    Question("radar.losses_db", "figures", "number", "What does it lose on the way?",
             "Plumbing, dome and processing together.", "decibels", 0.5),
    Question("radar.min_range_m", "figures", "metres", "Nearer than what does it show nothing?", "", "metres", 1.0),
    Question("skipper.night_limit_kn", "skipper", "number", "What is your own limit of speed at night?",
             "More is never advised, however well the radar sees.", "knots", 1.0),
    Question("skipper.keep_off_m", "skipper", "metres", "How far off do you keep from what you meet?",
             "", "metres", 10.0),
    Question("skipper.smallest_rcs_m2", "skipper", "choice", "What is the smallest thing you care about?",
             "How far it would be seen draws the seeing line, and the speed that goes with it. Radar cross-sections "
             "from common practice.",
             words=("a kayak, a log, a pot float", "a small open boat", "a cabin boat of 8 to 10 m")),
    Question("skipper.depth_margin_m", "skipper", "length", "How much water do you want below her?", step=0.1),
    Question("skipper.react_s", "skipper", "number", "How long do you need to see a thing, be sure, and act?",
             "", "seconds", 1.0),
    Question("skipper.hidden_boat_kn", "skipper", "number",
             "How fast may a boat come out from behind a point or a ship?", "", "knots", 1.0),
)  # fmt: skip

# Radar cross-section and height above the water of the smallest thing: 0.5, 2.5 and 10 m2 are the three that a reading
# tells the range of.  Heights are own choice.
SMALLEST: tuple[tuple[float, float], ...] = ((0.5, 0.5), (2.5, 1.0), (10.0, 2.5))

# What is assumed where nobody knows: a 9 m launch, but deeper and higher than most, so that what is said of water and
# bridges errs to the safe side.  Own choice.
ASSUMED: Mapping[str, float] = {
    "boat.length_m": 9.0,
    "boat.beam_m": 3.0,
    "boat.draught_m": 1.5,
    "boat.air_draught_m": 6.0,
}
NO_NAME = "the boat"

_ROLE_OF = {"masthead": "masthead", "stern": "stern", "all-round": "all-round", "towing": "towing"}


def lights_asked(length_m: float) -> list[dict[str, str]]:
    """Return the lights a power-driven vessel of this length must or may show, as [[light]] rows to tick."""
    rows: list[dict[str, str]] = []
    for outfit in required(Vessel("power", length_m)):
        for light in outfit.lights:
            row = {"role": _role(light), "colour": light.colour}
            if row not in rows:
                rows.append(row)
    anchor = {"role": "all-round", "colour": "white"}
    return rows if anchor in rows else [*rows, anchor]


def _role(light: Light) -> str:
    if light.role == "side":
        return "starboard" if light.colour == "green" else "port"
    return _ROLE_OF.get(light.role, light.role)


def asked(values: Values, length_unit: str) -> list[QuestionBody]:
    """Return every question as the screen asks it: limits, default, what it stands at now.

    ``values``: of the boat file, by dotted key (`moonless.boat.write.boat_values`).
    """
    assumed = {f"boat.{name}" for name in values.get("boat.assumed", [])}
    return [_asked(question, values, assumed, length_unit) for question in QUESTIONS]


def _asked(question: Question, values: Values, assumed: set[str], length_unit: str) -> QuestionBody:
    table, _, name = question.key.partition(".")
    body: QuestionBody = {
        "key": question.key, "group": question.group, "form": question.form, "ask": question.ask,
        "help": question.help, "unit": question.unit, "step": question.step, "low": None, "high": None,
        "default": None, "choices": [], "is_needed": False, "value": values.get(question.key), "state": "unknown",
    }  # fmt: skip
    key = keys_of(table).get(name)
    if question.key == "screen.length_unit":
        body |= {"value": length_unit, "default": "metres", "choices": _choices(("metres", "feet"), question.words)}
    elif question.key == "skipper.smallest_rcs_m2":
        body |= {"default": 2.5, "choices": _choices(tuple(rcs for rcs, _ in SMALLEST), question.words)}
    elif key is not None:
        body["is_needed"] = key.default == "required"
        body["default"] = _default(key.name, key.default, values)
        if key.kind in ("number", "integer"):
            body |= {"low": key.low, "high": key.high}
        if question.form == "choice":
            body["choices"] = _choices(key.choices, question.words)
    elif question.form == "lights":
        length = values.get("boat.length_m", ASSUMED["boat.length_m"])
        body["choices"] = [{"value": row, "words": f"{row['colour']} {row['role']}"} for row in lights_asked(length)]
    if question.key in assumed:
        body["state"] = "assumed"
    elif body["value"] is not None:
        body["state"] = "given"
    elif body["default"] is not None:
        body["state"] = "default"
    return body


def _choices(values: tuple[object, ...], words: tuple[str, ...]) -> list[ChoiceBody]:
    return [{"value": value, "words": word} for value, word in zip(values, words, strict=True)]


def _default(name: str, written: str, values: Values) -> object:
    """Return a default as a value; None where there is none."""
    if written in ("required", "none"):
        return None
    if written == "from the set":
        return _from_set(name, str(values.get("radar.set", "small radome")))
    if written.startswith('"'):
        return written.strip('"')
    return float(written)


def _from_set(name: str, kind: str) -> float | None:
    radar = GENERIC_SETS.get(kind, GENERIC_SETS["small radome"])
    key = keys_of("radar")[name]
    value = getattr(radar, key.field)
    if not isinstance(value, float):
        return None
    shown = value / key.scale
    return round(shown, 3) if abs(shown) < TAU * 1e3 else round(shown, 1)


def change_for(key: str, value: object, values: Values) -> dict[str, object]:
    """Return the changes of the boat file that an answer makes; ``value`` None: it is not known, or skipped."""
    known = {question.key for question in QUESTIONS}
    if key not in known:
        raise InputError(f"{key!r} is nothing that is asked")
    assumed = list(values.get("boat.assumed", []))
    changes: dict[str, object] = {key: value}
    name = key.removeprefix("boat.")
    if key in ASSUMED:
        if value is None:
            changes[key] = ASSUMED[key]
            assumed = [*(n for n in assumed if n != name), name]
        else:
            assumed = [n for n in assumed if n != name]
        changes["boat.assumed"] = assumed or None
    elif key == "boat.name" and value is None:
        changes[key] = NO_NAME
    elif key == "skipper.smallest_rcs_m2":
        heights = dict(SMALLEST)
        changes["skipper.smallest_height_m"] = None if not isinstance(value, int | float) else heights.get(value)
    return changes
