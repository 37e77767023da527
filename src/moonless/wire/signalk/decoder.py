"""Signal K deltas decoded: JSON in, events out.  No I/O.

    decoder = SignalKDecoder()
    for event in decoder.message(text, received_ns): ...

Rules of this file:
- A server keeps the last value of everything and sends it to whoever connects, hours old or not.  Ages are told from
  the server's own time stamps: by its hello where it says the time, else by the newest stamp after `SETTLE_S` of
  listening.  The own boat's values older than `OLD_S` are not used; other vessels' carry their age with them.
- A value without a time stamp has no age and is taken as it comes.
- Each source that the server names is a source of its own (`Said.talker`).
- A value that cannot be what it should be is counted and left out; nothing raises.

Source: the Signal K specification 1.x: delta format, contexts, paths of navigation, environment and design; all values
SI, angles in radians.
"""

from __future__ import annotations

import json
import math
import re
from collections.abc import Iterator, Mapping

from moonless.constants import TAU
from moonless.scan.pose import PoseSample
from moonless.units import NS_PER_S
from moonless.wire.magnetic import variation_at
from moonless.wire.nmea_events import (
    AisSaid,
    AttitudeSaid,
    ClockSaid,
    DepthLostSaid,
    DepthSaid,
    NoFixSaid,
    PoseSaid,
    Said,
    WaterSaid,
    WindSaid,
)
from moonless.wire.signalk.others import MMSI, Others
from moonless.wire.signalk.values import MOST_MPS, BadValue, SignalKCounts, Values, moment_of, opened, source_of

MAX_MESSAGE = 256 * 1024  # the whole of a busy server's state comes in one; own choice
KIND = "SK"
SETTLE_S = 1.5
OLD_S = 3.0
FORGET_OTHERS_S = 900.0  # older words of another vessel say nothing of where she is; own choice
NO_FIX_HOLDS_S = 5.0  # so long a "no fix" stands against places that still come; own choice
_NO_FIX = frozenset({"no GPS", "Estimated (DR) mode", "Manual input", "Simulator mode", "Error"})


class SignalKDecoder:
    """Turns deltas into events; see the rules of this file."""

    def __init__(self) -> None:
        self.counts = SignalKCounts()
        self._self = ""
        self._first_ns: int | None = None
        self._ahead_ns: int | None = None  # the server's time less the time of receipt
        self._is_settled = False
        self._place: tuple[float, float] | None = None
        self._variation: float | None = None
        self._no_fix_ns: dict[str, int] = {}
        self._others = Others()

    def message(self, text: bytes, received_ns: int) -> list[Said] | None:
        """Take in one message; return what it says, or None if it is no Signal K."""
        if len(text) > MAX_MESSAGE:
            self.counts.bad["message"] += 1
            return None
        try:
            message = json.loads(text)
        except (ValueError, RecursionError):
            return None
        if not isinstance(message, dict):
            return None
        if "updates" not in message:
            return [] if self._hello(message, received_ns) else None
        self.counts.messages += 1
        self._first_ns = received_ns if self._first_ns is None else self._first_ns
        context = message.get("context")
        return list(self._updates(message["updates"], context if isinstance(context, str) else "", received_ns))

    def _hello(self, message: Mapping[str, object], received_ns: int) -> bool:
        if not isinstance(message.get("version"), str) or not isinstance(message.get("roles"), list):
            return False
        name, said = message.get("self"), moment_of(message.get("timestamp"))
        self._self = name if isinstance(name, str) else ""
        self._first_ns, self._ahead_ns, self._is_settled = received_ns, None, False
        if said is not None:
            self._ahead_ns, self._is_settled = said - received_ns, True
        return True

    def _updates(self, updates: object, context: str, received_ns: int) -> Iterator[Said]:
        for update in updates if isinstance(updates, list) else []:
            values = update.get("values") if isinstance(update, dict) else None
            if not isinstance(values, list):
                continue
            said = {v["path"]: v.get("value") for v in values if isinstance(v, dict) and isinstance(v.get("path"), str)}
            age_ns = self._age(moment_of(update.get("timestamp")), received_ns)
            match = MMSI.fullmatch(context)
            if context and match is not None and context != self._self:
                yield from self._other(match, said, age_ns, received_ns)
            elif context in ("", "vessels.self", self._self):
                if age_ns is None or age_ns > OLD_S * NS_PER_S:
                    self.counts.old += len(said)
                    continue
                try:
                    yield from self._own(said, source_of(update), received_ns)
                except BadValue as problem:
                    self.counts.bad[str(problem)] += 1

    def _age(self, stamp_ns: int | None, received_ns: int) -> int | None:
        """Return how old a value is; None while that cannot be told."""
        assert self._first_ns is not None
        if stamp_ns is None:
            return 0
        ahead = stamp_ns - received_ns
        if self._ahead_ns is None or ahead > self._ahead_ns:
            self._ahead_ns = ahead
        if not self._is_settled:
            self._is_settled = received_ns - self._first_ns > SETTLE_S * NS_PER_S
        return self._ahead_ns - ahead if self._is_settled else None

    # --- the own boat ----------------------------------------------------------------------------------------------

    def _own(self, said: dict[str, object], source: str, received_ns: int) -> Iterator[Said]:
        v = Values(said, self.counts)
        stamp = (received_ns, received_ns, False, source, KIND)
        moment = moment_of(said.get("navigation.datetime"))
        if moment is not None:
            yield ClockSaid(received_ns, moment, True, source, KIND)
        variation = v.number("navigation.magneticVariation", -math.pi, math.pi)
        self._variation = self._variation if variation is None else variation
        yield from self._position(v, stamp)
        yield from self._motion(v, stamp)
        yield from self._heading(v, stamp)
        rate = v.number("navigation.rateOfTurn", -TAU, TAU)
        if rate is not None:
            yield PoseSaid(*stamp, PoseSample(received_ns, turn_rate=rate))
        attitude = said.get("navigation.attitude")
        if isinstance(attitude, dict):
            a = Values(attitude, self.counts)
            yield AttitudeSaid(*stamp, *(a.number(name, -math.pi, math.pi) for name in ("roll", "pitch", "yaw")))
        speed = v.number("navigation.speedThroughWater", 0.0, MOST_MPS)
        if speed is not None:
            yield WaterSaid(*stamp, speed)
        yield from self._depth(v, stamp)
        yield from self._wind(v, stamp)

    def _position(self, v: Values, stamp: tuple[int, int, bool, str, str]) -> Iterator[Said]:
        received_ns, source = stamp[0], stamp[3]
        quality = v.text("navigation.gnss.methodQuality")
        if quality in _NO_FIX:
            self._no_fix_ns[source] = received_ns
            yield NoFixSaid(*stamp)
        elif quality is not None:
            self._no_fix_ns.pop(source, None)
        if not v.has("navigation.position"):
            return
        place = v.place("navigation.position")
        last = self._no_fix_ns.get(source)
        if place is None or (last is not None and received_ns - last < NO_FIX_HOLDS_S * NS_PER_S):
            yield NoFixSaid(*stamp)
            return
        self._place = place
        yield PoseSaid(*stamp, PoseSample(received_ns, *place))

    def _motion(self, v: Values, stamp: tuple[int, int, bool, str, str]) -> Iterator[Said]:
        sog = v.number("navigation.speedOverGround", 0.0, MOST_MPS)
        course = v.number("navigation.courseOverGroundTrue", -TAU, TAU)
        if sog is not None:
            cog = None if course is None else course % TAU
            yield PoseSaid(*stamp, PoseSample(stamp[0], cog_rad=cog, sog=sog))

    def _heading(self, v: Values, stamp: tuple[int, int, bool, str, str]) -> Iterator[Said]:
        true = v.number("navigation.headingTrue", -TAU, TAU)
        if true is not None:
            yield PoseSaid(*stamp, PoseSample(stamp[0], heading_true_rad=true % TAU))
            return
        magnetic = v.number("navigation.headingMagnetic", -TAU, TAU)
        if magnetic is None:
            return
        variation = variation_at(*self._place, stamp[0]) if self._place is not None else self._variation
        if variation is None:
            self.counts.bad["navigation.headingMagnetic"] += 1
            return
        yield PoseSaid(*stamp, PoseSample(stamp[0], heading_true_rad=(magnetic + variation) % TAU), True)

    def _depth(self, v: Values, stamp: tuple[int, int, bool, str, str]) -> Iterator[Said]:
        path = "environment.depth."
        below = v.number(path + "belowTransducer", 0.0, 12_000.0)
        surface, keel = v.number(path + "belowSurface", 0.0, 12_000.0), v.number(path + "belowKeel", -100.0, 12_000.0)
        to_transducer = v.number(path + "surfaceToTransducer", 0.0, 100.0)
        to_keel = v.number(path + "transducerToKeel", 0.0, 100.0)
        if below is not None and below > 0.0:
            offset = to_transducer if to_transducer is not None else (None if to_keel is None else -to_keel)
            if offset is None and surface is not None and surface > below:
                offset = surface - below
            elif offset is None and keel is not None and keel < below:
                offset = keel - below
            yield DepthSaid(*stamp, below, offset)
        elif v.has(path + "belowTransducer"):
            yield DepthLostSaid(*stamp)

    def _wind(self, v: Values, stamp: tuple[int, int, bool, str, str]) -> Iterator[Said]:
        path = "environment.wind."
        for angle, speed, is_apparent, is_north in (
            ("angleApparent", "speedApparent", True, False),
            ("angleTrueGround", "speedOverGround", False, False),
            ("directionTrue", "speedOverGround", False, True),
            ("angleTrueWater", "speedTrue", False, False),
            ("directionTrue", "speedTrue", False, True),
        ):
            a, s = v.number(path + angle, -TAU, TAU), v.number(path + speed, 0.0, MOST_MPS)
            if a is not None and s is not None:
                yield WindSaid(*stamp, a % TAU, s, is_apparent, is_north)
                return

    # --- others ----------------------------------------------------------------------------------------------------

    def _other(
        self, match: re.Match[str], said: dict[str, object], age_ns: int | None, received_ns: int
    ) -> Iterator[Said]:
        where, mmsi = match[1], int(match[2])
        if age_ns is None or age_ns > FORGET_OTHERS_S * NS_PER_S:
            self.counts.old += len(said)
            return
        v = Values(opened(said), self.counts)
        try:
            report = self._others.report(where, mmsi, v, received_ns)
        except BadValue as problem:
            self.counts.bad[str(problem)] += 1
            return
        # Its age is said, so that a position an hour old does not stand as one of now.
        yield AisSaid(received_ns, received_ns - age_ns, False, where, KIND, report, age_ns)
