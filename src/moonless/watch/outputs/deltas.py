"""Readings as Signal K deltas: targets, what is said, and the water that is hidden.

    context                                    path
    vessels.urn:mrn:signalk:uuid:...           navigation.position, .speedOverGround, .courseOverGroundTrue,
                                               .closestApproach {distance, timeTo}; name
    vessels.self                               notifications.moonless.<what>  {state, method, message}
    vessels.self                               resources.regions.urn:mrn:signalk:uuid:...  a GeoJSON feature

Rules of this file:
- An echo that belongs to an AIS vessel is not told again: the server has her already, and what it were told would come
  back as AIS.
- What is no more true is taken back: a target's position null, a notification's state "normal", a region null.
- Unknown is null or left out, never zero.

Source: the Signal K specification 1.x: delta format, notifications (states nominal, normal, alert, warn, alarm,
emergency), navigation.closestApproach; resources of its version 2.  Notifications of one's own making have no set path.
"""

from __future__ import annotations

import math
import re
import uuid
from collections.abc import Mapping
from dataclasses import dataclass, field

from moonless.reading.types import Echo, Reading
from moonless.units import NS_PER_S, iso_utc, kn_to_mps
from moonless.watch.outputs.sentences import CALL_OVER_S, TOLD

Json = dict[str, object]
_STATE = {1: "alert", 2: "warn", 3: "alarm", 4: "emergency"}
SOURCE = "moonless"
# A screen draws a shadow no finer than this, and a server keeps every point of it: about a metre.
_PLACES = 5


@dataclass(slots=True)
class _Said:
    said_ns: int
    message: str


@dataclass(slots=True)
class DeltaOutput:
    """Turns readings into deltas; see the rules of this file.  ``run``: tells the targets of one run from another's."""

    run: uuid.UUID
    _targets: set[int] = field(default_factory=set)
    _said: dict[str, _Said] = field(default_factory=dict)
    _regions: set[str] = field(default_factory=set)

    def deltas(self, reading: Reading) -> list[Json]:
        """Return what a reading says."""
        stamp = iso_utc(reading.time_ns)
        out = self._echoes(reading, stamp)
        values = self._notifications(reading) + self._hidden(reading)
        if values:
            out.append(_delta("vessels.self", stamp, values))
        return out

    # --- targets ---------------------------------------------------------------------------------------------------

    def _echoes(self, reading: Reading, stamp: str) -> list[Json]:
        told = {e.id: e for e in reading.echoes if e.kind in TOLD and e.ais is None}
        out = [_delta(self._context(i), stamp, _gone()) for i in sorted(self._targets - told.keys())]
        # What is only remembered is not told as if it were seen; its last time stamp says how old it is.
        out += [_delta(self._context(i), stamp, _values_of(e)) for i, e in told.items() if not e.coasting]
        self._targets = (self._targets | {i for i, e in told.items() if not e.coasting}) & told.keys()
        return out

    def _context(self, echo: int) -> str:
        return f"vessels.urn:mrn:signalk:uuid:{uuid.uuid5(self.run, f'echo {echo}')}"

    # --- notifications ---------------------------------------------------------------------------------------------

    def _notifications(self, reading: Reading) -> list[Json]:
        now_ns, out = reading.time_ns, []
        true: dict[str, tuple[int, str]] = {}
        for fault in reading.faults:
            urgency = 2 if fault.state == "disagrees" else 3
            true[f"fault.{fault.what}"] = (urgency, f"{fault.what}: {fault.state}")
        for call in reading.calls:
            key = "call." + re.sub(r"[^A-Za-z0-9]+", "-", call.key).strip("-")
            if call.urgency > true.get(key, (0, ""))[0]:
                true[key] = (call.urgency, call.say)
        for key, (urgency, message) in true.items():
            before = self._said.get(key)
            self._said[key] = _Said(now_ns, message)
            if before is None or before.message != message:
                out.append(_notification(key, _STATE[urgency], message))
        for key, said in list(self._said.items()):
            lasts_s = 0.0 if key.startswith("fault.") else CALL_OVER_S
            if key not in true and not 0 <= now_ns - said.said_ns <= lasts_s * NS_PER_S:
                del self._said[key]
                out.append(_notification(key, "normal", said.message))
        return out

    # --- hidden water ----------------------------------------------------------------------------------------------

    def _hidden(self, reading: Reading) -> list[Json]:
        regions: dict[str, list[Mapping[str, object]]] = {}
        collection = reading.hidden
        features = collection.get("features", []) if isinstance(collection, Mapping) else []
        for feature in features:
            by = str(feature.get("properties", {}).get("by", "hidden"))
            regions.setdefault(by, []).append(feature["geometry"])
        out: list[Json] = [
            {"path": self._region(by), "value": _region_of(by, shapes, reading.time_ns)}
            for by, shapes in regions.items()
        ]
        out += [{"path": self._region(by), "value": None} for by in sorted(self._regions - regions.keys())]
        self._regions = set(regions)
        return out

    def _region(self, by: str) -> str:
        return f"resources.regions.urn:mrn:signalk:uuid:{uuid.uuid5(self.run, f'hidden by {by}')}"


def _delta(context: str, stamp: str, values: list[Json]) -> Json:
    return {"context": context, "updates": [{"$source": SOURCE, "timestamp": stamp, "values": values}]}


def _values_of(echo: Echo) -> list[Json]:
    out: list[Json] = [
        {"path": "", "value": {"name": f"radar target {echo.id}"}},
        {"path": "navigation.position", "value": {"latitude": echo.lat, "longitude": echo.lon}},
        {"path": "navigation.speedOverGround", "value": round(kn_to_mps(echo.sog_kn), 3)},
        {
            "path": "navigation.courseOverGroundTrue",
            "value": None if echo.cog_deg is None else round(math.radians(echo.cog_deg), 5),
        },
    ]
    if echo.cpa_m is not None and echo.tcpa_s is not None:
        out.append({"path": "navigation.closestApproach", "value": {"distance": echo.cpa_m, "timeTo": echo.tcpa_s}})
    return out


def _gone() -> list[Json]:
    paths = ("position", "speedOverGround", "courseOverGroundTrue", "closestApproach")
    return [{"path": f"navigation.{path}", "value": None} for path in paths]


def _notification(key: str, state: str, message: str) -> Json:
    method = ["visual", "sound"] if state in ("alarm", "emergency") else ["visual"] if state != "normal" else []
    return {"path": f"notifications.moonless.{key}", "value": {"state": state, "method": method, "message": message}}


def _region_of(by: str, shapes: list[Mapping[str, object]], time_ns: int) -> Json:
    polygons: list[object] = []
    for shape in shapes:
        coordinates = shape["coordinates"]
        assert isinstance(coordinates, list | tuple)
        polygons += [coordinates] if shape["type"] == "Polygon" else list(coordinates)
    return {
        "name": f"Hidden by {by}",
        "description": "Water that the radar cannot see now; not known to be empty",
        "timestamp": iso_utc(time_ns),
        "feature": {
            "type": "Feature",
            "properties": {"by": by},
            "geometry": {"type": "MultiPolygon", "coordinates": _rounded(polygons)},
        },
    }


def _rounded(value: object) -> object:
    if isinstance(value, float | int):
        return round(float(value), _PLACES)
    assert isinstance(value, list | tuple)
    return [_rounded(one) for one in value]
