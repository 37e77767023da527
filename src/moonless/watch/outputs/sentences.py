"""Readings as NMEA 0183: TTM and TLL of what moves or is not charted, ALR of what is wrong or comes close.

Rules of this file:
- Told are echoes that are a vessel or uncharted: what the chart knows, the shore and clutter are no targets.
- A target keeps its number (1 to 99) while it lives, and for `KEEP_S` after; the nearest go first when there are more.
- What was not seen this turn is not told as if it were: nothing is sent of an echo that is only remembered, and once
  "lost" when it is gone or withdrawn.
- An alert is on while it is true, and off once when it ends.

Source of the fields: NMEA 0183 as implemented by pynmea2 1.19 (TTM, TLL) and go-nmea (ALR); the standard is not free.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

from moonless.reading.line import FaultWhat
from moonless.reading.types import Call, Echo, Fault, Reading
from moonless.units import NS_PER_S, kn_to_mps
from moonless.wire.nmea_events import TargetStatus
from moonless.wire.nmea_write import write_alr, write_tll, write_ttm

TOLD = frozenset({"vessel", "uncharted"})
MOST_NUMBER = 99  # two digits number a target in TTM and TLL
KEEP_S = 60.0
# Below this the radar is not sure of it: "acquiring".
SURE = 0.5
# A call is said once and again; not said for this long, it is over.
CALL_OVER_S = 30.0
# Calls below this are told in passing and are no alert.
LEAST_URGENCY = 3
_FAULT_NUMBER: dict[FaultWhat, int] = {
    "radar": 901, "position": 902, "heading": 903, "clock": 904, "chart": 905, "ais": 906, "depth": 907,
}  # fmt: skip
# Of a call about an echo: 100 and its number; of any other.
_ECHO_ALERTS, _OTHER_ALERT = 100, 900


@dataclass(slots=True)
class _Numbered:
    number: int
    seen_ns: int
    is_told: bool = False  # as tracked; so "lost" is still owed


@dataclass(slots=True)
class _Alert:
    text: str
    since_ns: int
    said_ns: int


@dataclass(slots=True)
class SentenceOutput:
    """Turns readings into sentences; see the rules of this file."""

    talker: str = "RA"
    _numbers: dict[int, _Numbered] = field(default_factory=dict)  # by echo
    _alerts: dict[int, _Alert] = field(default_factory=dict)  # by alert number

    def lines(self, reading: Reading) -> list[str]:
        """Return what a reading says, without line ends."""
        now_ns = reading.time_ns
        echoes = sorted((e for e in reading.echoes if e.kind in TOLD), key=lambda e: e.range_m)
        out = self._lost(now_ns, {e.id for e in echoes})
        for echo in echoes[:MOST_NUMBER]:
            out += self._target(echo, now_ns)
        return out + self._alarms(reading)

    # --- targets ---------------------------------------------------------------------------------------------------

    def _target(self, echo: Echo, now_ns: int) -> list[str]:
        known = self._numbers.get(echo.id)
        if known is None:
            number = self._free_number(now_ns)
            if number is None:
                return []
            known = self._numbers[echo.id] = _Numbered(number, now_ns)
        known.seen_ns = now_ns
        if echo.coasting:
            return []
        known.is_told = True
        status: TargetStatus = "T" if echo.confidence >= SURE else "Q"
        name = echo.ais.name if echo.ais is not None and echo.ais.name else ""
        course = None if echo.cog_deg is None else math.radians(echo.cog_deg)
        ttm = write_ttm(
            known.number,
            range_m=echo.range_m,
            bearing_rad=math.radians(echo.bearing_deg),
            speed=kn_to_mps(echo.sog_kn),
            course_rad=course,
            cpa_m=echo.cpa_m,
            tcpa_s=echo.tcpa_s,
            name=name,
            status=status,
            time_ns=now_ns,
            talker=self.talker,
        )
        tll = write_tll(known.number, echo.lat, echo.lon, name=name, status=status, time_ns=now_ns, talker=self.talker)
        return [ttm, tll]

    def _lost(self, now_ns: int, here: set[int]) -> list[str]:
        out = []
        for echo, known in list(self._numbers.items()):
            if echo in here:
                continue
            if known.is_told:
                known.is_told = False
                out.append(
                    write_ttm(
                        known.number, range_m=None, bearing_rad=None, speed=None, course_rad=None, cpa_m=None,
                        tcpa_s=None, status="L", time_ns=now_ns, talker=self.talker,
                    )
                )  # fmt: skip
            if not 0 <= now_ns - known.seen_ns < KEEP_S * NS_PER_S:
                del self._numbers[echo]
        return out

    def _free_number(self, now_ns: int) -> int | None:
        taken = {known.number for known in self._numbers.values()}
        free = next((n for n in range(1, MOST_NUMBER + 1) if n not in taken), None)
        if free is not None:
            return free
        # The number of what has been gone longest is given on.
        gone = [(known.seen_ns, echo) for echo, known in self._numbers.items() if known.seen_ns < now_ns]
        if not gone:
            return None
        return self._numbers.pop(min(gone)[1]).number

    # --- alerts ----------------------------------------------------------------------------------------------------

    def _alarms(self, reading: Reading) -> list[str]:
        now_ns = reading.time_ns
        true: dict[int, str] = {_FAULT_NUMBER[f.what]: _fault_words(f) for f in reading.faults}
        for call in reading.calls:
            number = self._call_number(call)
            if call.urgency >= LEAST_URGENCY and not call.say.startswith(
                tuple(_fault_words(f) for f in reading.faults)
            ):
                true.setdefault(number, call.say)
        out = []
        for number, text in true.items():
            alert = self._alerts.get(number)
            if alert is None:
                alert = self._alerts[number] = _Alert(text, now_ns, now_ns)
                out.append(write_alr(number, True, text, time_ns=now_ns, talker=self.talker))
            elif alert.text != text:
                alert.text = text
                out.append(write_alr(number, True, text, time_ns=now_ns, talker=self.talker))
            alert.said_ns = now_ns
        for number, alert in list(self._alerts.items()):
            lasts_s = 0.0 if number > _OTHER_ALERT else CALL_OVER_S
            if number not in true and not 0 <= now_ns - alert.said_ns <= lasts_s * NS_PER_S:
                del self._alerts[number]
                out.append(write_alr(number, False, alert.text, time_ns=now_ns, talker=self.talker))
        return out

    def _call_number(self, call: Call) -> int:
        known = None if call.echo is None else self._numbers.get(call.echo)
        return _OTHER_ALERT if known is None else _ECHO_ALERTS + known.number


def _fault_words(fault: Fault) -> str:
    return f"{fault.what} {fault.state}"
