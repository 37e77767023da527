"""Every key of the boat file, in one table: the reader, its errors and docs/boat-file.md all come from it."""

from __future__ import annotations

import math
from collections.abc import Iterable

from moonless.boat.sets import GENERIC_SETS
from moonless.tables import Key, Kind
from moonless.units import KNOT_MPS

RAD = math.pi / 180.0  # a degree


def _k(
    table: str, name: str, field: str, kind: Kind, default: str, says: str,
    low: float = -math.inf, high: float = math.inf, choices: tuple[str, ...] = (), scale: float = 1.0,
) -> Key:  # fmt: skip
    return Key(table, name, kind, default, says, low, high, scale, choices, field)


def _n(table: str, name: str, field: str, default: str, low: float, high: float, says: str, scale: float = 1.0) -> Key:
    return Key(table, name, "number", default, says, low, high, scale, field=field)


_SET = "from the set"
LIGHT_ROLES = ("masthead", "starboard", "port", "stern", "towing", "all-round")
LIGHT_COLOURS = ("white", "red", "green", "yellow")
KEYS: tuple[Key, ...] = (
    _k("boat", "name", "name", "text", "required", "The boat's name, as the log and the plan print it."),
    _n("boat", "length_m", "length_m", "required", 2, 60, "Length over all."),
    _n("boat", "beam_m", "beam_m", "required", 0.5, 20, "Greatest breadth."),
    _n("boat", "draught_m", "draught_m", "required", 0.1, 10, "Deepest part below the waterline, as laden."),
    _n("boat", "air_draught_m", "air_draught_m", "required", 0.5, 60, "Highest fixed part above the waterline."),
    _n("boat", "eye_height_m", "eye_height_m", "2.5", 0.5, 20, "Eye of the person at the wheel above the waterline."),
    _k(
        "boat",
        "mmsi",
        "mmsi",
        "integer",
        "none",
        "Own AIS number, so that own AIS is not read as another vessel.",
        1,
        999_999_999,
    ),
    _n(
        "boat",
        "position_sigma_m",
        "position_sigma_m",
        "4",
        0.01,
        100,
        "Error of the position receiver, one standard deviation each way.",
    ),
    _n(
        "boat",
        "heading_sigma_deg",
        "heading_sigma_rad",
        "1",
        0.01,
        30,
        "Error of the heading sensor, one standard deviation.",
        RAD,
    ),
    _n(
        "boat",
        "heading_offset_deg",
        "heading_offset_rad",
        "0",
        -180,
        180,
        "Added to every reported heading: the measured compass error.",
        RAD,
    ),
    _n(
        "boat",
        "position_forward_m",
        "position_forward_m",
        "0",
        -30,
        30,
        "Position antenna forward of the middle of the boat.",
    ),
    _k(
        "boat",
        "assumed",
        "assumed",
        "names",
        "none",
        "Which of her figures nobody knew: their values are assumed, and that is said.",
        choices=("length_m", "beam_m", "draught_m", "air_draught_m"),
    ),
    _n("boat.stopping", "speed_kn", "speed", "required", 0.5, 80, "Speed before the trial stop.", KNOT_MPS),
    _n(
        "boat.stopping",
        "distance_m",
        "distance_m",
        "required",
        0,
        5000,
        "Metres run until stopped, from that speed, measured.",
    ),
    _n("boat.fuel", "speed_kn", "speed_kn", "required", 0, 80, "Speed at which the burn was read."),
    _n("boat.fuel", "litres_per_hour", "litres_per_hour", "required", 0, 2000, "Litres an hour, all engines."),
    _n("boat.deviation", "compass_deg", "compass_deg", "required", 0, 360, "Heading by the steering compass."),
    _n("boat.deviation", "deviation_deg", "deviation_deg", "required", -60, 60, "Its deviation there, east positive."),
    _k(
        "radar",
        "set",
        "kind",
        "choice",
        '"small radome"',
        "The generic set the other figures start from.",
        choices=tuple(GENERIC_SETS),
    ),
    _n("radar", "frequency_mhz", "frequency_hz", _SET, 2900, 9600, "Transmitted frequency.", 1e6),
    _k("radar", "polarisation", "polarisation", "choice", _SET, "Horizontal or vertical.", choices=("H", "V")),
    _n("radar", "peak_power_w", "peak_power_w", _SET, 0.01, 100_000, "Peak power of the pulse."),
    _n("radar", "gain_db", "gain_db", _SET, 10, 45, "Antenna gain, one way, on the axis."),
    _n(
        "radar",
        "beam_horizontal_deg",
        "beam_horizontal_rad",
        _SET,
        0.3,
        12,
        "Beam width between half-power points.",
        RAD,
    ),
    _n("radar", "beam_vertical_deg", "beam_vertical_rad", _SET, 2, 60, "Beam height between half-power points.", RAD),
    _n(
        "radar",
        "side_lobe_near_db",
        "side_lobe_near_db",
        _SET,
        -60,
        -10,
        "Side lobes within 10 degrees of the axis, below the main lobe, one way.",
    ),
    _n(
        "radar",
        "side_lobe_far_db",
        "side_lobe_far_db",
        _SET,
        -70,
        -10,
        "Side lobes farther off, below the main lobe, one way.",
    ),
    _n("radar", "noise_figure_db", "noise_figure_db", _SET, 0, 20, "Noise figure of the receiver."),
    _n(
        "radar", "losses_db", "losses_db", _SET, 0, 40, "All losses together: plumbing, radome, beam shape, processing."
    ),
    _n("radar", "rotation_rpm", "rotation_hz", _SET, 5, 90, "Turns of the antenna a minute.", 1.0 / 60.0),
    _n("radar", "height_m", "height_m", _SET, 0.5, 60, "Antenna above the water."),
    _n(
        "radar",
        "forward_m",
        "forward_m",
        "0",
        -60,
        60,
        "Radar antenna forward of the position antenna; aft is negative.",
    ),
    _n("radar", "starboard_m", "starboard_m", "0", -20, 20, "Radar antenna to starboard of the position antenna."),
    _n(
        "radar",
        "bow_offset_deg",
        "bow_offset_rad",
        "0",
        -180,
        180,
        "Added to every antenna angle: the measured misalignment.",
        RAD,
    ),
    _n("radar", "range_offset_m", "range_offset_m", "0", -500, 500, "Added to every range."),
    _k(
        "radar",
        "angle_from",
        "angle_from",
        "choice",
        '"bow"',
        "What the antenna angle is counted from.",
        choices=("bow", "true"),
    ),
    _n(
        "radar",
        "azimuth_sigma_deg",
        "azimuth_sigma_rad",
        "0.286",
        0.01,
        10,
        "Bearing error left after the offset, one standard deviation.",
        RAD,
    ),
    _n(
        "radar",
        "range_sigma_m",
        "range_sigma_m",
        "5",
        0.1,
        200,
        "Range error left after the offset, one standard deviation.",
    ),
    _k(
        "radar",
        "blind_sectors_deg",
        "blind_sectors_rad",
        "sectors",
        "none",
        "Sectors behind a mast or wheelhouse, clockwise from the bow: [[from, to], ...].",
        scale=RAD,
    ),
    _n("radar", "min_range_m", "min_range_m", _SET, 1, 300, "Nothing nearer is shown."),
    _n("radar.pulse", "up_to_nm", "up_to_nm", "required", 0.05, 120, "Used on range scales up to this."),
    _n(
        "radar.pulse",
        "length_ns",
        "length_s",
        "required",
        5,
        5000,
        "Pulse length; of a chirp, its length when compressed.",
        1e-9,
    ),
    _n("radar.pulse", "prf_hz", "prf_hz", "required", 100, 20_000, "Pulses a second."),
    _n("radar.pulse", "bandwidth_mhz", "bandwidth_hz", "required", 0.1, 200, "Receiver bandwidth.", 1e6),
    _n("radar.pulse", "compression_gain_db", "compression_gain_db", "0", 0, 60, "Chirp length over compressed length."),
    _n("skipper", "keep_off_m", "keep_off_m", "463", 20, 5000, "Distance to keep from everything that is met."),
    _n(
        "skipper",
        "night_limit_kn",
        "night_limit",
        "none",
        1,
        80,
        "No more than this is ever advised at night.",
        KNOT_MPS,
    ),
    _n(
        "skipper",
        "smallest_rcs_m2",
        "smallest_rcs_m2",
        "2.5",
        0.01,
        1000,
        "Radar cross-section of the smallest thing cared about.",
    ),
    _n("skipper", "smallest_height_m", "smallest_height_m", "1", 0.1, 20, "Its height above the water."),
    _n(
        "skipper",
        "hidden_boat_kn",
        "hidden_boat_speed",
        "15",
        0,
        80,
        "Speed of a boat that may come out of hidden water.",
        KNOT_MPS,
    ),
    _n("skipper", "react_s", "react_s", "10", 0, 120, "Time to see, confirm and act."),
    _n("skipper", "depth_margin_m", "depth_margin_m", "0.5", 0, 20, "Water wanted below the keel."),
    _k(
        "skipper",
        "distance_unit",
        "distance_unit",
        "choice",
        '"nm"',
        "Unit in which distances are told.",
        choices=("nm", "cables", "yards", "metres"),
    ),
    _k(
        "skipper",
        "local_time_zone",
        "local_time_zone",
        "text",
        '"UTC"',
        "Time zone in which times are told, by its name in the tz database.",
    ),
    _k(
        "skipper",
        "free_hand",
        "free_hand",
        "choice",
        '"right"',
        "The hand free for the screen.",
        choices=("left", "right"),
    ),
    _k("light", "role", "role", "choice", "required", "What the light is.", choices=LIGHT_ROLES),
    _k("light", "colour", "colour", "choice", "the role's", "Its colour.", choices=LIGHT_COLOURS),
    _n("light", "from_deg", "from_deg", "the role's", -360, 720, "Where its arc begins, clockwise from the bow."),
    _n("light", "to_deg", "to_deg", "the role's", -360, 720, "Where its arc ends; given together with `from_deg`."),
    _n("light", "height_m", "height_m", "not measured", 0, 60, "Above the hull or gunwale."),
    _n("light", "candela", "candela", "not measured", 0, 10_000, "Measured intensity."),
    _k("light", "name", "name", "text", "the role's", "As the findings call it."),
)

TABLES: tuple[str, ...] = tuple(dict.fromkeys(k.table for k in KEYS))
_TABLE_SAYS = {
    "boat": "`[boat]`: the boat herself.",
    "boat.stopping": "`[[boat.stopping]]`: one measured stop each; without any a cautious default holds.",
    "boat.fuel": "`[[boat.fuel]]`: what she burns.",
    "boat.deviation": "`[[boat.deviation]]`: the deviation card of the steering compass, one row for each heading.",
    "radar": "`[radar]`: the radar by its physics. Name the nearest generic set and write only what is known better.",
    "radar.pulse": "`[[radar.pulse]]`: if any is given, these replace the set's pulses; shortest range scale first.",
    "skipper": "`[skipper]`: wishes of the person at the wheel.",
    "light": "`[[light]]`: one for each light fitted; `moonless lights` holds them against the rules.",
}


def keys_of(table: str) -> dict[str, Key]:
    """Return the keys of one table by name."""
    return {key.name: key for key in KEYS if key.table == table}


def tables_below(table: str) -> tuple[str, ...]:
    """Return the names of the list tables inside one table: "stopping", "fuel", "pulse"."""
    return tuple(t.removeprefix(f"{table}.") for t in TABLES if t.startswith(f"{table}."))


def keys_as_markdown() -> str:
    """Return the tables of the manual."""
    return "\n".join(_markdown_lines())


def _markdown_lines() -> Iterable[str]:
    for table in TABLES:
        yield f"{_TABLE_SAYS[table]}\n"
        yield "| key | default | allowed | what it is |"
        yield "| --- | --- | --- | --- |"
        for key in keys_of(table).values():
            yield f"| `{key.name}` | {key.default} | {key.range_text} | {key.says} |"
        yield ""


def sets_as_markdown() -> str:
    """Return the generic sets as one table."""
    rows = [
        "| set | power W | gain dB | beam deg | noise figure dB | losses dB | pulses ns (up to NM, PRF Hz) |",
        "| --- | --- | --- | --- | --- | --- | --- |",
    ]
    for name, radar in GENERIC_SETS.items():
        pulses = "; ".join(f"{p.length_s * 1e9:.0f} ({p.up_to_nm:g}, {p.prf_hz:.0f})" for p in radar.pulses)
        beam = f"{radar.beam_horizontal_rad / RAD:.1f} × {radar.beam_vertical_rad / RAD:.0f}"
        rows.append(
            f"| {name} | {radar.peak_power_w:g} | {radar.gain_db:.1f} | {beam} | {radar.noise_figure_db:g} "
            f"| {radar.losses_db:g} | {pulses} |"
        )
    return "\n".join(rows)
