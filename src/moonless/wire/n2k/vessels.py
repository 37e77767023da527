"""AIS as the bus carries it: groups 129038 to 129041 and 129793 to 129810, made into the same reports as VDM.

Rules of this file:
- A position that the vessel has typed in, reckoned, or has no system for (time stamps 61 to 63) is none.
- What the own set sends goes over the bus too and says so; it is `is_own`.
- Messages that tell no place and no name say "other": somebody is heard.

Source: the open canboat database for the groups; ITU-R M.1371-5 for what the values mean.
"""

from __future__ import annotations

from moonless.units import kn_to_mps
from moonless.wire.ais import NOT_FIXED, AisReport, AisSays
from moonless.wire.n2k.fields import Fields

# Transceiver information: 0 and 1 received on channel A or B, 2 and 3 sent, 4 own and not sent.
_OWN = frozenset({2, 3, 4})
# 102.2 kn is "or more", 102.3 "not available"; aircraft to 1022.
_FASTEST, _FASTEST_AIRCRAFT = kn_to_mps(102.25), kn_to_mps(1022.5)
# Beyond 708 degrees a minute there is no rate in the message.
_MOST_TURN_RATE = 0.206

_POSITIONS = frozenset({129038, 129039, 129040, 129798})
_SAYS: dict[int, AisSays] = {129041: "aid", 129793: "base", 129794: "static", 129809: "static", 129810: "static"}
_OTHERS = (129795, 129796, 129797, 129800, 129801, 129802, 129803, 129804, 129805, 129806, 129807)
# Octets that hold the fields read below.
AIS_OCTETS = {
    129038: 26, 129039: 23, 129040: 52, 129041: 26, 129793: 23, 129794: 53, 129798: 21, 129809: 25, 129810: 28,
    **dict.fromkeys(_OTHERS, 6),
}  # fmt: skip


def report_of(group: int, f: Fields, received_ns: int) -> AisReport | None:
    """Return what one AIS group says; None without a number of who says it."""
    mmsi = f.code("userId") if group not in _OTHERS else f.code("sourceId")
    kind = f.code("messageId")
    if mmsi is None or kind is None:
        return None
    is_own = f.code("aisTransceiverInformation") in _OWN
    if group in _OTHERS:
        return AisReport(received_ns, mmsi, kind, "other", is_own)
    lat, lon = f.number("latitude"), f.number("longitude")
    stamp = f.code("timeStamp")
    if lat is None or lon is None or (group in _POSITIONS and stamp in NOT_FIXED):
        lat = lon = None
    says: AisSays = _SAYS.get(group, "position" if lat is not None else "other")
    to_bow, to_stern, to_port, to_starboard = _sides(f, group)
    is_moving = group in _POSITIONS
    return AisReport(
        received_ns,
        mmsi,
        kind,
        says,
        is_own,
        lat,
        lon,
        f.number("cog") if is_moving else None,
        _below(f.number("sog"), _FASTEST_AIRCRAFT if group == 129798 else _FASTEST) if is_moving else None,
        f.number("trueHeading" if group == 129040 else "heading") if is_moving else None,
        _turn(f.number("rateOfTurn")) if group == 129038 else None,
        stamp if stamp is not None and stamp < 60 else None,
        _status(f) if group == 129038 else None,
        f.text("atonName" if group == 129041 else "name"),
        f.text("callsign"),
        f.code("typeOfShip") or None,
        to_bow,
        to_stern,
        to_port,
        to_starboard,
        draught_m=f.number("draft") or None,
        is_virtual_aid=f.code("virtualAtonFlag") == 1,
        is_off_position=f.code("offPositionIndicator") == 1 and stamp is not None and stamp < 60,
    )


def _sides(f: Fields, group: int) -> tuple[float | None, float | None, float | None, float | None]:
    """Return metres from the antenna to bow, stern, port and starboard."""
    names = ("length", "beam", "positionReferenceFromBow", "positionReferenceFromStarboard")
    if group == 129041:
        names = (
            "lengthDiameter",
            "beamDiameter",
            "positionReferenceFromTrueNorthFacingEdge",
            "positionReferenceFromStarboardEdge",
        )
    length, beam, bow, starboard = (f.number(name) for name in names)
    if not length or not beam:
        return None, None, None, None
    # Where the antenna is not said it is taken to stand amidships: the middle of the hull is then where it is.
    bow = 0.5 * length if bow is None or bow > length else bow
    starboard = 0.5 * beam if starboard is None or starboard > beam else starboard
    return bow, length - bow, beam - starboard, starboard


def _below(value: float | None, limit: float) -> float | None:
    return value if value is not None and 0.0 <= value < limit else None


def _turn(value: float | None) -> float | None:
    return value if value is not None and abs(value) < _MOST_TURN_RATE else None


def _status(f: Fields) -> int | None:
    status = f.code("navStatus")
    return status if status is not None and status < 15 else None
