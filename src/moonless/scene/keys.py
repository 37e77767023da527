"""Every key of a scene file, in one table: the reader, its errors and docs/scenes.md are held to it."""

from __future__ import annotations

import math

from moonless.boat.sets import GENERIC_SETS
from moonless.scene.kinds import OBJECT_KINDS
from moonless.tables import Key

_SCENE = (
    Key("scene", "name", "text", "required", "One or two words."),
    Key("scene", "about", "text", '""', "What happens, in a sentence or two."),
    Key("scene", "seed", "integer", "1", "The same seed gives the same bytes.", 0, 2**32 - 1),
    Key("scene", "start", "time", "required", "UTC, with its zone: 2028-03-01T05:10:00Z."),
    Key("scene", "duration_s", "number", "until own track is run", "Length of the run.", 1, 10_800),
    Key(
        "scene", "origin", "place", "required", "Latitude and longitude; all other places are metres east, north of it."
    ),
    Key("scene", "tide_m", "number", "0.5", "Height of tide above chart datum, held for the run.", -5, 20),
)
_CHART = (
    Key(
        "chart",
        "paths",
        "texts",
        "none: open sea",
        'Charts, from the scene file\'s folder, $NAMES of the environment filled in; "demo" is the invented waters.',
    ),
    Key("chart", "shift_m", "place", "[0, 0]", "The real ground lies so far east, north of where the chart has it."),
    Key("chart", "change", "tables", "none", "Marks that are not as charted."),
    Key("chart", "uncharted_land", "tables", "none", "Land that is not on the chart."),
    Key("chart.change", "name", "text", "none", "Name of the mark on the chart."),
    Key("chart.change", "object", "text", "none", "Or its S-57 class, with near_m."),
    Key("chart.change", "near_m", "place", "none", "The nearest of that class to this place is meant."),
    Key("chart.change", "gone", "yes or no", "false", "It is not there any more."),
    Key("chart.change", "moved_m", "place", "[0, 0]", "It stands so far east, north of its charted place."),
    Key("chart.uncharted_land", "ring_m", "places", "required", "Its outline, at least three places."),
)
_BOAT = (
    Key("boat", "file", "text", "a 9 m launch, assumed", "A boat file, from the scene file's folder."),
    Key(
        "boat", "radar_set", "choice", "the boat's own", "One of the generic sets instead.", choices=tuple(GENERIC_SETS)
    ),
)
_RADAR = (
    Key("radar", "scale_nm", "number", "1.5", "Range scale; the video reaches exactly so far.", 0.1, 24),
    Key("radar", "spokes", "integer", "1024", "Spokes a turn.", 64, 8192),
    Key("radar", "cells", "integer", "768", "Range cells a spoke.", 64, 4096),
    Key("radar", "loss_db", "number", "0", "A loss that the boat file does not know: a wet or failing scanner.", 0, 40),
    Key("radar", "silent_s", "spans", "none", "No video between these times."),
    Key("radar", "frozen_s", "spans", "none", "The same turn sent again and again between these times."),
    Key("radar", "other_radars", "integer", "0", "Radars of other vessels whose pulses are heard.", 0, 8),
    Key("radar", "indirect_db", "number", "none", "Echoes off the own mast, abaft: their two-way loss.", -80, 0),
    Key("radar", "multiple_db", "number", "none", "Echoes that go to and fro twice: loss of the second trip.", -80, 0),
    Key("radar", "racons", "yes or no", "false", "Charted racons answer, every turn, over what lies behind them."),
)
_MOVER = (
    ("heading_deg", "number", "0", "Heading at the start, true."),
    ("speed_kn", "number", "0", "Speed at the start."),
    ("turn_rate_deg_s", "number", "4", "The most it turns, degrees a second."),
    ("acceleration_mps2", "number", "0.4", "The most it gains or loses speed."),
    ("drift_kn", "number", "0", "Carried over the ground at this speed whatever it does."),
    ("drift_to_deg", "number", "0", "Whither."),
    ("legs", "tables", "none", "What it does, one step after the other; then it keeps course and speed."),
)
_LIMITS = {
    "heading_deg": (-360.0, 720.0), "speed_kn": (0.0, 80.0), "turn_rate_deg_s": (0.05, 60.0),
    "acceleration_mps2": (0.01, 5.0), "drift_kn": (0.0, 10.0), "drift_to_deg": (-360.0, 720.0),
}  # fmt: skip


def _movers(table: str) -> tuple[Key, ...]:
    start = Key(table, "start_m", "place", "required", "Where it is at the start.")
    rest = []
    for name, form, default, says in _MOVER:
        low, high = _LIMITS.get(name, (-math.inf, math.inf))
        rest.append(Key(table, name, form, default, says, low, high))  # type: ignore[arg-type]
    legs = (
        Key(f"{table}.legs", "to_m", "place", "one of these three", "Steer for this place."),
        Key(f"{table}.legs", "turn_to_deg", "number", "one of these three", "Come to this heading.", -360, 720),
        Key(f"{table}.legs", "hold_s", "number", "one of these three", "Keep course and speed for so long.", 0, 10_800),
        Key(f"{table}.legs", "speed_kn", "number", "as before", "Speed aimed at from the beginning of the leg.", 0, 80),
        Key(f"{table}.legs", "turn_rate_deg_s", "number", "the mover's", "Most turn on this leg.", 0.05, 60),
    )
    return (start, *rest, *legs)


_SENSORS = (
    Key("sensors", "heading_bias_deg", "number", "0", "Reported heading minus true heading.", -45, 45),
    Key("sensors", "heading_noise_deg", "number", "0.25", "Of each heading, one standard deviation.", 0, 10),
    Key("sensors", "heading_hz", "number", "10", "Headings a second.", 0.2, 50),
    Key("sensors", "position_offset_m", "place", "[0, 0]", "Reported position minus true position."),
    Key("sensors", "position_noise_m", "number", "1.2", "Slow wander of the position, one standard deviation.", 0, 100),
    Key("sensors", "gnss_out_s", "spans", "none", "No position, course or speed between these times."),
    Key("sensors", "heading_out_s", "spans", "none", "No heading between these times."),
)
_WEATHER = (
    Key("weather", "wind_from_deg", "number", "0", "True.", -360, 720),
    Key("weather", "wind_kn", "number", "4", "Wind speed.", 0, 80),
    Key("weather", "wave_height_m", "number", "what this wind raises over 2 km", "Significant wave height.", 0, 12),
    Key("weather", "rain_mmh", "number", "0", "Rain everywhere.", 0, 150),
    Key("weather", "shower", "tables", "none", "Round showers that move."),
    Key("weather.shower", "at_m", "place", "required", "Its middle at the start."),
    Key(
        "weather.shower",
        "radius_m",
        "number",
        "required",
        "Half of the middle's rain falls at half of this.",
        10,
        50_000,
    ),
    Key("weather.shower", "rate_mmh", "number", "required", "Rain in the middle.", 0, 150),
    Key("weather.shower", "speed_kn", "number", "0", "How fast it moves.", 0, 60),
    Key("weather.shower", "to_deg", "number", "0", "Whither.", -360, 720),
)
_OBJECT = (
    Key("object", "name", "text", "required", "What the truth calls it; no two alike."),
    Key("object", "kind", "choice", "required", "What it is.", choices=tuple(OBJECT_KINDS)),
    Key("object", "rcs_m2", "number", "the kind's", "Mean radar cross-section.", 0.0001, 1e6),
    Key("object", "height_m", "number", "the kind's", "Of its radar-effective top.", 0.05, 100),
    Key("object", "length_m", "number", "the kind's", "0 for a point.", 0, 400),
    Key("object", "beam_m", "number", "the kind's", "Breadth.", 0, 70),
    Key("object", "shown_s", "spans", "always", "There only in this one span of time."),
    Key("object", "ais", "table", "none", "Its AIS set."),
    Key(
        "object.ais",
        "mmsi",
        "integer",
        "required",
        "Beginning with 799, which belongs to no country.",
        799_000_000,
        799_999_999,
    ),
    Key("object.ais", "class", "choice", "B", "Carriage.", choices=("A", "B")),
    Key("object.ais", "name", "text", "the object's", "As sent: twenty capitals at most."),
    Key(
        "object.ais",
        "ship_type",
        "integer",
        "37",
        "As in ITU-R M.1371 table 53: 30 fishing, 37 pleasure, 70 cargo.",
        0,
        99,
    ),
)

KEYS: tuple[Key, ...] = (
    *_SCENE, *_CHART, *_BOAT, *_RADAR, *_movers("own"), *_SENSORS, *_WEATHER, *_OBJECT, *_movers("object"),
)  # fmt: skip
