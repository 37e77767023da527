"""AIS messages out of VDM and VDO sentences; the bits are decoded by pyais.

Rules of this file:
- A message in several sentences is put together by its sequence number and channel, and given up after `GIVE_UP_S`.
- "Not available" of ITU-R M.1371 (latitude 91, speed 102.3, course 360, heading 511 ...) is None.
- Nothing that comes off the air raises: what cannot be decoded is counted with the reason.

Source of the field meanings: ITU-R M.1371-5, annex 8.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

import pyais
from pyais.encode import encode_dict

from moonless.units import NS_PER_S, kn_to_mps
from moonless.wire.sentences import Sentence

# Parts of one message follow each other within a frame; a minute old part belongs to nothing.
GIVE_UP_S = 10.0
MAX_WAITING = 64
MAX_PARTS = 9

AisSays = Literal["position", "static", "aid", "base", "other"]

# Message types that tell a vessel's place, and those that tell what does not change: ITU-R M.1371-5, annex 8.
_POSITION_TYPES = {1, 2, 3, 9, 18, 19, 27}
_STATIC_TYPES = {5, 24}


@dataclass(frozen=True, slots=True)
class AisReport:
    """What one message said, in plain units; None: not said, or said to be not available."""

    received_ns: int
    mmsi: int
    message_type: int
    says: AisSays
    is_own: bool  # VDO
    lat_deg: float | None = None
    lon_deg: float | None = None
    cog_rad: float | None = None
    sog: float | None = None  # m/s
    heading_rad: float | None = None
    turn_rate: float | None = None  # rad/s, positive to starboard
    second: int | None = None  # UTC second of the position
    nav_status: int | None = None
    name: str | None = None
    call_sign: str | None = None
    ship_type: int | None = None
    to_bow_m: float | None = None  # from the position antenna
    to_stern_m: float | None = None
    to_port_m: float | None = None
    to_starboard_m: float | None = None
    draught_m: float | None = None
    is_virtual_aid: bool = False
    is_off_position: bool = False  # an aid that says it is adrift

    @property
    def length_m(self) -> float | None:
        """Length over all; None where it was not said."""
        return _sum_or_none(self.to_bow_m, self.to_stern_m)

    @property
    def beam_m(self) -> float | None:
        """Beam; None where it was not said."""
        return _sum_or_none(self.to_port_m, self.to_starboard_m)


# Time stamps that say where a position comes from: 61 typed in by hand, 62 reckoned, 63 no position system at work
# (ITU-R M.1371-5, message 1).  Where such a vessel is, nobody has measured.
NOT_FIXED = frozenset({61, 62, 63})


@dataclass(slots=True)
class AisCounts:
    """What the assembler has met so far."""

    sentences: int = 0
    decoded: Counter[int] = field(default_factory=Counter)  # by message type
    refused: Counter[str] = field(default_factory=Counter)  # by reason


@dataclass(slots=True)
class _Waiting:
    parts: dict[int, Sentence]
    since_ns: int


class AisAssembler:
    """Puts sentences together and decodes them."""

    def __init__(self) -> None:
        self.counts = AisCounts()
        self._waiting: dict[tuple[str, str, str, str, int], _Waiting] = {}

    def add(self, sentence: Sentence, received_ns: int) -> AisReport | None:
        """Take in one VDM or VDO sentence; return the report it completes."""
        self.counts.sentences += 1
        parts = self._together(sentence, received_ns)
        if parts is None:
            return None
        try:
            message = pyais.decode(*(part.raw for part in parts), error_if_checksum_invalid=True)
            values = message.asdict()
        # Bits from the air reach deep into a library that promises no single exception for them.
        except Exception as problem:
            self.counts.refused[type(problem).__name__] += 1
            return None
        report = _report(values, received_ns, sentence.kind == "VDO")
        if report is None:
            self.counts.refused["no MMSI or type"] += 1
            return None
        self.counts.decoded[report.message_type] += 1
        return report

    def finish(self) -> None:
        """Count what never became whole."""
        self._refuse_waiting(list(self._waiting))

    def _together(self, sentence: Sentence, received_ns: int) -> list[Sentence] | None:
        fields = sentence.fields
        if len(fields) < 6 or not (fields[0].isdigit() and fields[1].isdigit()):
            self.counts.refused["fields"] += 1
            return None
        total, number = int(fields[0]), int(fields[1])
        if not (1 <= number <= total <= MAX_PARTS):
            self.counts.refused["part number"] += 1
            return None
        if total == 1:
            return [sentence]
        self._refuse_waiting([k for k, w in self._waiting.items() if received_ns - w.since_ns > GIVE_UP_S * NS_PER_S])
        if len(self._waiting) >= MAX_WAITING:
            self._refuse_waiting([min(self._waiting, key=lambda k: self._waiting[k].since_ns)])
        key = (sentence.talker, sentence.kind, fields[2], fields[3], total)
        waiting = self._waiting.get(key)
        if waiting is None or number in waiting.parts:
            # The same part again: the sequence number has come round, the old message will not be finished.
            if waiting is not None:
                self._refuse_waiting([key])
            waiting = self._waiting[key] = _Waiting({}, received_ns)
        waiting.parts[number] = sentence
        if len(waiting.parts) < total:
            return None
        del self._waiting[key]
        return [waiting.parts[i] for i in range(1, total + 1)]

    def _refuse_waiting(self, keys: list[tuple[str, str, str, str, int]]) -> None:
        for key in keys:
            self.counts.refused["part missing"] += 1
            del self._waiting[key]


def encode_ais(
    values: Mapping[str, str | int | float | bytes], *, own: bool = False, channel: str = "A", sequence: int = 0
) -> list[str]:
    """Return the sentences of one message; ``values`` by pyais's names (``type``, ``mmsi``, ``lat`` ...)."""
    lines = encode_dict(
        dict(values), talker_id="AI", sentence_type="VDO" if own else "VDM", radio_channel=channel, seq_id=sequence
    )
    return [str(line) for line in lines]


def _report(values: Mapping[str, object], received_ns: int, is_own: bool) -> AisReport | None:
    kind, mmsi = _integer(values.get("msg_type")), _integer(values.get("mmsi"))
    if kind is None or mmsi is None:
        return None
    lat, lon = _number(values.get("lat")), _number(values.get("lon"))
    # 91 and 181 are "not available"; anything beyond the earth is damage and says as little.
    if lat is None or lon is None or not (abs(lat) <= 90.0 and abs(lon) <= 180.0):
        lat = lon = None
    if kind in _POSITION_TYPES and _integer(values.get("second")) in NOT_FIXED:
        lat = lon = None
    says: AisSays = "other"
    if kind in _POSITION_TYPES and lat is not None:
        says = "position"
    elif kind in _STATIC_TYPES:
        says = "static"
    elif kind == 21:
        says = "aid"
    elif kind == 4:
        says = "base"
    is_moving = kind in _POSITION_TYPES
    return AisReport(
        received_ns,
        mmsi,
        kind,
        says,
        is_own,
        lat if kind in _POSITION_TYPES | {4, 21} else None,
        lon if kind in _POSITION_TYPES | {4, 21} else None,
        _angle(values.get("course"), 360.0) if is_moving else None,
        _speed(values.get("speed"), kind) if is_moving else None,
        _angle(values.get("heading"), 360.0) if is_moving else None,
        _turn(values.get("turn")) if kind in {1, 2, 3} else None,
        _below(values.get("second"), 60),
        _below(values.get("status"), 15) if kind in {1, 2, 3, 27} else None,
        _name(values),
        _words(values.get("callsign")),
        _above_zero(values.get("ship_type")),
        _number(values.get("to_bow")),
        _number(values.get("to_stern")),
        _number(values.get("to_port")),
        _number(values.get("to_starboard")),
        draught_m=_above_zero_number(values.get("draught")),
        is_virtual_aid=bool(values.get("virtual_aid", False)),
        is_off_position=bool(values.get("off_position", False)) and _below(values.get("second"), 60) is not None,
    )


def _integer(value: object) -> int | None:
    try:
        return int(value) if isinstance(value, int | float | str) else None
    except (TypeError, ValueError):
        return None


def _number(value: object) -> float | None:
    if not isinstance(value, int | float | str):
        return None
    try:
        number = float(value)
    except (TypeError, ValueError):
        return None
    return number if math.isfinite(number) else None


def _below(value: object, limit: int) -> int | None:
    number = _integer(value)
    return number if number is not None and 0 <= number < limit else None


def _above_zero(value: object) -> int | None:
    number = _integer(value)
    return number if number is not None and number > 0 else None


def _above_zero_number(value: object) -> float | None:
    number = _number(value)
    return number if number is not None and number > 0.0 else None


def _angle(value: object, limit_deg: float) -> float | None:
    number = _number(value)
    return math.radians(number) if number is not None and 0.0 <= number < limit_deg else None


def _speed(value: object, kind: int) -> float | None:
    """Knots as said; the largest count is "not available", the one below it "or more"."""
    number = _number(value)
    # 63 kn in the long-range message, 1023 kn in aircraft's, 102.3 kn elsewhere.
    limit = {27: 62.5, 9: 1022.5}.get(kind, 102.25)
    return kn_to_mps(number) if number is not None and 0.0 <= number < limit else None


def _turn(value: object) -> float | None:
    """Degrees a minute; -128 is "not available", 127 "more than 5 degrees in 30 s, no indicator"."""
    number = _number(value)
    if number is None or not -708.5 <= number <= 708.5 or abs(number) in (127.0, 128.0):
        return None
    return math.radians(number) / 60.0


def _words(value: object) -> str | None:
    return (value.strip(" @") or None) if isinstance(value, str) else None


def _name(values: Mapping[str, object]) -> str | None:
    name = _words(values.get("shipname")) or _words(values.get("name"))
    more = _words(values.get("name_ext"))
    return name + more if name and more else name


def _sum_or_none(a: float | None, b: float | None) -> float | None:
    # Both zero is "not available"; one zero is an antenna at the very end.
    return a + b if a is not None and b is not None and a + b > 0.0 else None
