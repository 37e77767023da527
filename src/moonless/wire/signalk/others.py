"""What a Signal K server says of others: vessels, aids and stations by their MMSI, as AIS reports."""

from __future__ import annotations

import re
from dataclasses import dataclass, field

from moonless.constants import TAU
from moonless.wire.ais import AisReport, AisSays
from moonless.wire.signalk.values import MOST_MPS, Values, overall

MMSI = re.compile(r"(vessels|atons|aircraft|sar|shore\.basestations)\.urn:mrn:imo:mmsi:(\d{1,9})")
"""The context of somebody else: what she is, and her number."""

MAX_OTHERS = 2000


@dataclass(slots=True)
class _Other:
    """What has been said of another vessel that does not come with each of its positions."""

    heard_ns: int
    is_class_b: bool = False


@dataclass(slots=True)
class Others:
    """Those whom a server has told of; the longest silent are forgotten past `MAX_OTHERS`."""

    _known: dict[int, _Other] = field(default_factory=dict)

    def report(self, where: str, mmsi: int, v: Values, received_ns: int) -> AisReport:
        """Return what was said at once of one of them.  Raises BadValue."""
        other = self._remember(mmsi, v, received_ns)
        place = v.place("navigation.position")
        says: AisSays = "other"
        message_type = 18 if other.is_class_b else 1
        if where == "atons":
            says, message_type = "aid", 21
        elif where == "shore.basestations":
            says, message_type = "base", 4
        elif place is not None:
            says = "position"
        elif v.text("name") or v.has("design.length") or v.has("design.aisShipType"):
            says, message_type = "static", 24 if other.is_class_b else 5
        lat, lon = place if place is not None else (None, None)
        length, beam = overall(v.raw("design.length")), v.number("design.beam", 0.0, 200.0)
        bow, right = v.number("sensors.ais.fromBow", 0.0, 600.0), v.number("sensors.ais.fromCenter", -100.0, 100.0)
        sides: tuple[float | None, ...] = (None, None, None, None)
        if length and beam:
            bow = 0.5 * length if bow is None or bow > length else bow
            starboard = 0.5 * beam - (right or 0.0)
            sides = (bow, length - bow, beam - starboard, starboard)
        cog, heading = (
            v.number("navigation.courseOverGroundTrue", -TAU, TAU),
            v.number("navigation.headingTrue", -TAU, TAU),
        )
        kind = v.raw("design.aisShipType")
        code = kind.get("id") if isinstance(kind, dict) else None
        return AisReport(
            received_ns,
            mmsi,
            message_type,
            says,
            False,
            lat,
            lon,
            None if cog is None else cog % TAU,
            v.number("navigation.speedOverGround", 0.0, MOST_MPS),
            None if heading is None else heading % TAU,
            v.number("navigation.rateOfTurn", -1.0, 1.0),
            name=v.text("name"),
            call_sign=v.text("communication.callsignVhf"),
            ship_type=code if isinstance(code, int) and 0 < code < 256 else None,
            to_bow_m=sides[0],
            to_stern_m=sides[1],
            to_port_m=sides[2],
            to_starboard_m=sides[3],
            is_virtual_aid=v.raw("virtual") is True,
            is_off_position=v.raw("offPosition") is True,
        )

    def _remember(self, mmsi: int, v: Values, received_ns: int) -> _Other:
        other = self._known.get(mmsi)
        if other is None:
            if len(self._known) >= MAX_OTHERS:
                oldest = min(self._known, key=lambda m: self._known[m].heard_ns)
                del self._known[oldest]
            other = self._known[mmsi] = _Other(received_ns)
        other.heard_ns = received_ns
        kind = v.text("sensors.ais.class")
        other.is_class_b = kind == "B" if kind is not None else other.is_class_b
        return other
