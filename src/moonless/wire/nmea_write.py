"""NMEA 0183 sentences written, without line ends.  Degrees and knots where the name says; None is a blank field."""

from __future__ import annotations

import math

from moonless.units import m_to_nm, mps_to_kn, ns_to_utc
from moonless.wire.nmea_events import TargetStatus
from moonless.wire.sentences import write_sentence


def write_rmc(
    time_ns: int,
    lat_deg: float | None,
    lon_deg: float | None,
    cog_rad: float | None,
    sog: float | None,
    *,
    talker: str = "GP",
) -> str:
    """Return RMC; without a position it says "V", not valid."""
    is_good = lat_deg is not None and lon_deg is not None
    moment = ns_to_utc(time_ns)
    fields = (
        _time(time_ns),
        "A" if is_good else "V",
        *_place(lat_deg, lon_deg),
        _number(None if sog is None else mps_to_kn(sog), 2),
        _angle(cog_rad, 2),
        f"{moment:%d%m%y}",
        "",
        "",
        "A" if is_good else "N",
    )
    return write_sentence(f"{talker}RMC", fields)


def write_gga(time_ns: int, lat_deg: float | None, lon_deg: float | None, *, talker: str = "GP") -> str:
    """Return GGA with position and quality; satellites, heights and ages are left blank."""
    quality = "1" if lat_deg is not None and lon_deg is not None else "0"
    return write_sentence(f"{talker}GGA", (_time(time_ns), *_place(lat_deg, lon_deg), quality, *[""] * 8))


def write_hdt(heading_rad: float | None, *, talker: str = "HE") -> str:
    """Return HDT."""
    return write_sentence(f"{talker}HDT", (_angle(heading_rad, 2), "T"))


def write_hdg(magnetic_rad: float | None, *, talker: str = "HC") -> str:
    """Return HDG of a compass without known deviation or variation."""
    return write_sentence(f"{talker}HDG", (_angle(magnetic_rad, 1), "", "", "", ""))


def write_rot(turn_rate: float | None, *, talker: str = "HE") -> str:
    """Return ROT; ``turn_rate`` in rad/s, positive to starboard."""
    value = None if turn_rate is None else math.degrees(turn_rate) * 60.0
    return write_sentence(f"{talker}ROT", (_number(value, 2), "V" if turn_rate is None else "A"))


def write_vtg(cog_rad: float | None, sog: float | None, *, talker: str = "GP") -> str:
    """Return VTG."""
    knots = None if sog is None else mps_to_kn(sog)
    kmh = None if sog is None else sog * 3.6
    return write_sentence(
        f"{talker}VTG", (_angle(cog_rad, 2), "T", "", "M", _number(knots, 2), "N", _number(kmh, 2), "K", "A")
    )


def write_zda(time_ns: int, *, talker: str = "GP") -> str:
    """Return ZDA, zone zero."""
    return write_sentence(f"{talker}ZDA", (_time(time_ns), *f"{ns_to_utc(time_ns):%d,%m,%Y}".split(","), "00", "00"))


def write_dpt(below_transducer_m: float | None, offset_m: float = 0.0, *, talker: str = "SD") -> str:
    """Return DPT; ``offset_m`` above zero: the transducer sits so far below the waterline."""
    return write_sentence(f"{talker}DPT", (_number(below_transducer_m, 2), _number(offset_m, 2), ""))


def write_mwv(from_rel_rad: float | None, speed: float | None, *, is_apparent: bool = True, talker: str = "WI") -> str:
    """Return MWV in knots."""
    is_good = from_rel_rad is not None and speed is not None
    knots = None if speed is None else mps_to_kn(speed)
    fields = (_angle(from_rel_rad, 1), "R" if is_apparent else "T", _number(knots, 1), "N", "A" if is_good else "V")
    return write_sentence(f"{talker}MWV", fields)


def write_vhw(speed: float | None, *, talker: str = "VW") -> str:
    """Return VHW with the speed through the water only."""
    knots = None if speed is None else mps_to_kn(speed)
    kmh = None if speed is None else speed * 3.6
    return write_sentence(f"{talker}VHW", ("", "T", "", "M", _number(knots, 2), "N", _number(kmh, 2), "K"))


def write_ttm(
    number: int,
    *,
    range_m: float | None,
    bearing_rad: float | None,
    speed: float | None,
    course_rad: float | None,
    cpa_m: float | None,
    tcpa_s: float | None,
    name: str = "",
    status: TargetStatus = "T",
    time_ns: int | None = None,
    talker: str = "RA",
) -> str:
    """Return TTM, true bearings, nautical miles and knots; ``number`` is taken modulo 100, as the field is."""
    fields = (
        f"{number % 100:02d}",
        _number(None if range_m is None else m_to_nm(range_m), 3),
        _angle(bearing_rad, 1),
        "T",
        _number(None if speed is None else mps_to_kn(speed), 1),
        _angle(course_rad, 1),
        "T",
        _number(None if cpa_m is None else m_to_nm(cpa_m), 3),
        _number(None if tcpa_s is None else tcpa_s / 60.0, 1),
        "N",
        _text(name),
        status,
        "",
        "" if time_ns is None else _time(time_ns),
        "A",
    )
    return write_sentence(f"{talker}TTM", fields)


def write_tll(
    number: int,
    lat_deg: float,
    lon_deg: float,
    *,
    name: str = "",
    status: TargetStatus = "T",
    time_ns: int | None = None,
    talker: str = "RA",
) -> str:
    """Return TLL."""
    moment = "" if time_ns is None else _time(time_ns)
    return write_sentence(
        f"{talker}TLL", (f"{number % 100:02d}", *_place(lat_deg, lon_deg), _text(name), moment, status, "")
    )


def write_alr(number: int, is_on: bool, text: str, *, time_ns: int, talker: str = "RA") -> str:
    """Return ALR, not acknowledged; the text is cut at a word so that the sentence keeps to its 82 characters."""
    fields = (_time(time_ns), f"{number % 1000:03d}", "A" if is_on else "V", "V")
    room = _MOST_CHARACTERS - len(write_sentence(f"{talker}ALR", (*fields, ""))) - 2
    short = _text(text)
    if len(short) > room:
        short = short[:room].rpartition(" ")[0] or short[:room]
    return write_sentence(f"{talker}ALR", (*fields, short))


# A sentence with its line end.
_MOST_CHARACTERS = 82


def _number(value: float | None, digits: int) -> str:
    if value is None or not math.isfinite(value):
        return ""
    text = f"{value:.{digits}f}"
    return text.lstrip("-") if float(text) == 0.0 else text


def _angle(angle_rad: float | None, digits: int) -> str:
    """Degrees in [0, 360) after rounding: 359.999 is 0.0, not 360.0."""
    if angle_rad is None or not math.isfinite(angle_rad):
        return ""
    return f"{round(math.degrees(angle_rad) % 360.0, digits) % 360.0:.{digits}f}"


def _time(time_ns: int) -> str:
    # Cut, not rounded: 59.999 must not become 60.00.
    moment = ns_to_utc(time_ns)
    return f"{moment:%H%M%S}.{moment.microsecond // 10_000:02d}"


def _place(lat_deg: float | None, lon_deg: float | None) -> tuple[str, str, str, str]:
    if lat_deg is None or lon_deg is None:
        return "", "", "", ""
    return (
        _degrees(abs(lat_deg), 2),
        "N" if lat_deg >= 0.0 else "S",
        _degrees(abs(lon_deg), 3),
        "E" if lon_deg >= 0.0 else "W",
    )


def _degrees(value: float, n_digit: int) -> str:
    # In whole hundred-thousandths of a minute (2 cm), so that 59.999999 carries into the degrees.
    steps = round(value * 60.0 * 100_000)
    degrees, rest = divmod(steps, 6_000_000)
    return f"{degrees:0{n_digit}d}{rest // 100_000:02d}.{rest % 100_000:05d}"


def _text(value: str) -> str:
    """Plain ASCII without the characters the sentence itself is made of."""
    return "".join(c for c in value if " " <= c <= "~" and c not in "$!*,\\^~")
