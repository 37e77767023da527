"""NMEA 0183 decoded: bytes in, events out.  No I/O.

    decoder = NmeaDecoder()
    for event in decoder.feed(data, received_ns): ...

Rules of this file:
- A time without a date is put on the day nearest to the last date said, or to the time of receipt before that.
- A heading from a compass is corrected with the World Magnetic Model at the last known position.  Before there is
  one, the variation in the sentence itself serves; without either it is counted and not given on.
- A receiver that says it has no fix (RMC or GLL "V", GGA quality 0, mode "N"), that reckons (mode "E", "M") or that
  only plays (mode "S", quality 8: simulator) gives no position: dead reckoning is ours to do, and to say.
- Fields that cannot be what they should be are counted and their sentence is not used.

Field orders: NMEA 0183 as implemented by pynmea2 1.19 and go-nmea; the standard itself is not free to read.
"""

from __future__ import annotations

import math
import re
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime

from moonless.constants import FOOT_M, TAU
from moonless.scan.pose import PoseSample
from moonless.units import NS_PER_S, kn_to_mps, nm_to_m, utc_to_ns
from moonless.wire.ais import AisAssembler
from moonless.wire.magnetic import variation_at
from moonless.wire.nmea_events import (
    AisSaid,
    ClockSaid,
    DepthLostSaid,
    DepthSaid,
    NoFixSaid,
    PoseSaid,
    Said,
    TargetPlaceSaid,
    TargetSaid,
    WaterSaid,
    WindSaid,
)
from moonless.wire.sentences import Sentence, SentenceReader
from moonless.wire.times import DAY_S, utc_of_day

_NUMBER = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)")
_TIME = re.compile(r"(\d{2})(\d{2})(\d{2}(?:\.\d*)?)")
_FATHOM_M = 6.0 * FOOT_M  # six feet
_NO_FIX_MODES = {"N", "E", "M", "S"}
_SPEED_UNIT = {"N": kn_to_mps(1.0), "K": 1.0 / 3.6, "M": 1.0, "S": 1609.344 / 3600.0}
# TTM gives distances in kilometres, nautical or statute miles, and speeds per hour of them.
_TTM_UNIT_M = {"K": 1000.0, "N": nm_to_m(1.0), "S": 1609.344}


@dataclass(slots=True)
class NmeaCounts:
    """What the decoder has met so far, beside the sentence reader's own counts."""

    used: Counter[str] = field(default_factory=Counter)  # by kind
    unused: Counter[str] = field(default_factory=Counter)  # kinds that say nothing we need
    bad_fields: Counter[str] = field(default_factory=Counter)
    no_fix: int = 0
    no_variation: int = 0  # magnetic headings that could not be made true


class _BadField(Exception):
    """A field that cannot be what it should be."""


class NmeaDecoder:
    """Turns bytes into events; see the rules of this file."""

    def __init__(self, on_line: Callable[[bytes], None] | None = None) -> None:
        self.counts = NmeaCounts()
        self.reader = SentenceReader()
        self.ais = AisAssembler()
        self._date_offset_ns = 0  # what to add to a time of receipt to be on the right day
        self._place: tuple[float, float] | None = None
        self._on_line = on_line

    def feed(self, data: bytes, received_ns: int) -> list[Said]:
        """Take in bytes of a stream, cut anywhere."""
        return self._all(self.reader.feed(data), received_ns)

    def datagram(self, data: bytes, received_ns: int) -> list[Said]:
        """Take in one datagram, which holds whole lines, the last one perhaps without its end."""
        return self._all(self.reader.feed(data) + self.reader.finish(), received_ns)

    def finish(self, received_ns: int) -> list[Said]:
        """Say that the stream has ended."""
        events = self._all(self.reader.finish(), received_ns)
        self.ais.finish()
        return events

    def decode(self, sentence: Sentence, received_ns: int) -> list[Said]:
        """Return what one sentence says: mostly one event, RMC two, unknown kinds none."""
        if sentence.start == "!" and sentence.kind in ("VDM", "VDO"):
            report = self.ais.add(sentence, received_ns)
            self.counts.used[sentence.kind] += 1
            return [] if report is None else [AisSaid(*self._stamp(sentence, received_ns, None), report)]
        work = _KINDS.get(sentence.kind)
        if work is None or sentence.start != "$" or sentence.talker == "P":
            self.counts.unused[sentence.kind] += 1
            return []
        try:
            events = work(self, _Fields(sentence.fields), sentence, received_ns)
        except _BadField:
            self.counts.bad_fields[sentence.kind] += 1
            return []
        self.counts.used[sentence.kind] += 1
        return events

    def _all(self, sentences: list[Sentence], received_ns: int) -> list[Said]:
        if self._on_line is not None:
            for sentence in sentences:
                self._on_line(sentence.raw)
        return [event for sentence in sentences for event in self.decode(sentence, received_ns)]

    def _stamp(self, sentence: Sentence, received_ns: int, said_ns: int | None) -> tuple[int, int, bool, str, str]:
        if said_ns is None and sentence.tag is not None:
            said_ns = sentence.tag.time_ns
        time_ns = received_ns if said_ns is None else said_ns
        return received_ns, time_ns, said_ns is not None, sentence.talker, sentence.kind

    def _time(self, text: str, sentence: Sentence, received_ns: int) -> int | None:
        """Return the Unix time of a time of day."""
        of_day = _time_of_day(text)
        if of_day is None:
            return None
        reference = received_ns + self._date_offset_ns
        tagged_ns = None if sentence.tag is None else sentence.tag.time_ns
        # A tag only says which day it is, and not against what is known of it: its clock may never have been set.
        if tagged_ns is not None and abs(tagged_ns - reference) < DAY_S * NS_PER_S:
            reference = tagged_ns
        return utc_of_day(of_day, reference)

    def _dated(self, day: int, month: int, year: int, text: str, received_ns: int) -> int | None:
        """Return the Unix time of a date and time, and remember the day."""
        of_day = _time_of_day(text)
        if of_day is None:
            return None
        try:
            midnight = utc_to_ns(datetime(year, month, day, tzinfo=UTC))
        except ValueError as problem:
            raise _BadField from problem
        said_ns = midnight + round(of_day * 1e9)
        self._date_offset_ns = said_ns - received_ns
        return said_ns

    def _positioned(
        self, f: _Fields, at: int, sentence: Sentence, received_ns: int, said_ns: int | None, **more: float | None
    ) -> list[Said]:
        lat, lon = _place(f, at)
        if lat is None or lon is None:
            return []
        self._place = (lat, lon)
        stamp = self._stamp(sentence, received_ns, said_ns)
        return [PoseSaid(*stamp, PoseSample(stamp[1], lat, lon, **more))]

    def _no_fix(self, sentence: Sentence, received_ns: int, said_ns: int | None) -> list[Said]:
        self.counts.no_fix += 1
        return [NoFixSaid(*self._stamp(sentence, received_ns, said_ns))]

    # --- one method a kind: fields after the address ---------------------------------------------------------------

    def _rmc(self, f: _Fields, sentence: Sentence, received_ns: int) -> list[Said]:
        # time, A/V, lat, N/S, lon, E/W, kn, course true, ddmmyy, variation, E/W, [mode], [navigational status]
        said_ns = self._time(f.text(0), sentence, received_ns)
        events: list[Said] = []
        date = f.text(8)
        is_good = f.text(1) == "A" and f.text(11) not in _NO_FIX_MODES
        if date and is_good:
            if len(date) != 6 or not date.isdigit():
                raise _BadField
            year = int(date[4:])
            # Two digits: receivers are younger than 1980, the first year of GPS time.
            said_ns = self._dated(
                int(date[:2]), int(date[2:4]), year + (2000 if year < 80 else 1900), f.text(0), received_ns
            )
            if said_ns is not None:
                events.append(ClockSaid(received_ns, said_ns, True, sentence.talker, "RMC"))
        if not is_good:
            return self._no_fix(sentence, received_ns, said_ns)
        sog = f.number(6, 0.0)
        motion = {"cog_rad": f.angle(7), "sog": None if sog is None else kn_to_mps(sog)}
        return events + self._positioned(f, 2, sentence, received_ns, said_ns, **motion)

    def _gga(self, f: _Fields, sentence: Sentence, received_ns: int) -> list[Said]:
        # time, lat, N/S, lon, E/W, quality, ...; quality 0 none, 6 dead reckoning, 7 typed in by hand, 8 simulator
        said_ns = self._time(f.text(0), sentence, received_ns)
        if f.text(5) in ("", "0", "6", "7", "8"):
            return self._no_fix(sentence, received_ns, said_ns)
        return self._positioned(f, 1, sentence, received_ns, said_ns)

    def _gll(self, f: _Fields, sentence: Sentence, received_ns: int) -> list[Said]:
        # lat, N/S, lon, E/W, time, A/V, [mode]
        said_ns = self._time(f.text(4), sentence, received_ns)
        if f.text(5) == "V" or f.text(6) in _NO_FIX_MODES:
            return self._no_fix(sentence, received_ns, said_ns)
        return self._positioned(f, 0, sentence, received_ns, said_ns)

    def _vtg(self, f: _Fields, sentence: Sentence, received_ns: int) -> list[Said]:
        # course true, T, course magnetic, M, kn, N, km/h, K, [mode]
        if f.text(8) in _NO_FIX_MODES:
            return self._no_fix(sentence, received_ns, None)
        sog, kmh = f.number(4, 0.0), f.number(6, 0.0)
        speed = kn_to_mps(sog) if sog is not None else (None if kmh is None else kmh / 3.6)
        if speed is None:
            return []
        stamp = self._stamp(sentence, received_ns, None)
        return [PoseSaid(*stamp, PoseSample(stamp[1], cog_rad=f.angle(0), sog=speed))]

    def _heading(self, f: _Fields, sentence: Sentence, received_ns: int) -> list[Said]:
        # HDT: heading, T.  THS: heading, mode (A good, E reckoned, M by hand, S simulator, V not valid)
        if sentence.kind == "THS" and f.text(1) in ("V", "E", "M", "S"):
            return []
        heading = f.angle(0)
        if heading is None:
            return []
        stamp = self._stamp(sentence, received_ns, None)
        return [PoseSaid(*stamp, PoseSample(stamp[1], heading_true_rad=heading))]

    def _hdg(self, f: _Fields, sentence: Sentence, received_ns: int) -> list[Said]:
        # HDG: compass heading, deviation, E/W, variation, E/W.  HDM: magnetic heading, M
        heading = f.angle(0)
        if heading is None:
            return []
        said_variation = None
        if sentence.kind == "HDG":
            heading += f.east_west(1) or 0.0
            said_variation = f.east_west(3)
        stamp = self._stamp(sentence, received_ns, None)
        variation = said_variation
        if self._place is not None:
            variation = variation_at(*self._place, stamp[1] + (0 if stamp[2] else self._date_offset_ns))
        if variation is None:
            self.counts.no_variation += 1
            return []
        pose = PoseSample(stamp[1], heading_true_rad=(heading + variation) % TAU)
        return [PoseSaid(*stamp, pose, True)]

    def _rot(self, f: _Fields, sentence: Sentence, received_ns: int) -> list[Said]:
        # degrees a minute, minus to port; A/V
        rate = f.number(0)
        if rate is None or f.text(1) == "V":
            return []
        stamp = self._stamp(sentence, received_ns, None)
        return [PoseSaid(*stamp, PoseSample(stamp[1], turn_rate=math.radians(rate) / 60.0))]

    def _zda(self, f: _Fields, sentence: Sentence, received_ns: int) -> list[Said]:
        # time, day, month, year, zone hours, zone minutes; the time is UTC whatever the zone
        day, month, year = f.whole(1), f.whole(2), f.whole(3)
        if day is None or month is None or year is None:
            return []
        said_ns = self._dated(day, month, year, f.text(0), received_ns)
        return [] if said_ns is None else [ClockSaid(received_ns, said_ns, True, sentence.talker, "ZDA")]

    def _dpt(self, f: _Fields, sentence: Sentence, received_ns: int) -> list[Said]:
        # metres below transducer, offset, [largest range]
        depth = f.number(0, 0.0)
        # A sounder that has lost the bottom says 0, or nothing.
        if not depth:
            return [DepthLostSaid(*self._stamp(sentence, received_ns, None))]
        return [DepthSaid(*self._stamp(sentence, received_ns, None), depth, f.number(1))]

    def _dbt(self, f: _Fields, sentence: Sentence, received_ns: int) -> list[Said]:
        # feet, f, metres, M, fathoms, F
        for at, unit_m in ((2, 1.0), (0, FOOT_M), (4, _FATHOM_M)):
            depth = f.number(at, 0.0)
            if depth:
                return [DepthSaid(*self._stamp(sentence, received_ns, None), depth * unit_m, None)]
        return [DepthLostSaid(*self._stamp(sentence, received_ns, None))]

    def _mwv(self, f: _Fields, sentence: Sentence, received_ns: int) -> list[Said]:
        # angle from the bow, R apparent / T true, speed, unit K M N S, A/V
        angle, speed, unit = f.angle(0), f.number(2, 0.0), _SPEED_UNIT.get(f.text(3))
        if angle is None or speed is None or f.text(4) == "V":
            return []
        if unit is None or f.text(1) not in ("R", "T"):
            raise _BadField
        return [WindSaid(*self._stamp(sentence, received_ns, None), angle, speed * unit, f.text(1) == "R")]

    def _vhw(self, f: _Fields, sentence: Sentence, received_ns: int) -> list[Said]:
        # heading true, T, heading magnetic, M, kn, N, km/h, K.  The headings are another sensor's, passed on.
        knots, kmh = f.number(4, 0.0), f.number(6, 0.0)
        speed = kn_to_mps(knots) if knots is not None else (None if kmh is None else kmh / 3.6)
        return [] if speed is None else [WaterSaid(*self._stamp(sentence, received_ns, None), speed)]

    def _ttm(self, f: _Fields, sentence: Sentence, received_ns: int) -> list[Said]:
        # number, distance, bearing, T/R, speed, course, T/R, CPA, TCPA min, unit, name, L/Q/T, reference, time, A/M/R
        number, unit_m = f.whole(0), _TTM_UNIT_M.get(f.text(9) or "N")
        if number is None:
            return []
        if unit_m is None:
            raise _BadField
        said_ns = self._time(f.text(13), sentence, received_ns)
        distance, speed, cpa, tcpa = f.number(1, 0.0), f.number(4, 0.0), f.number(7, 0.0), f.number(8)
        return [
            TargetSaid(
                *self._stamp(sentence, received_ns, said_ns),
                number,
                None if distance is None else distance * unit_m,
                f.angle(2),
                f.text(3) == "R",
                None if speed is None else speed * unit_m / 3600.0,
                # A course from the bow is no course; it is left out rather than half said.
                f.angle(5) if f.text(6) != "R" else None,
                None if cpa is None else cpa * unit_m,
                None if tcpa is None else tcpa * 60.0,
                f.text(10) or None,
                f.text(11) or None,
            )
        ]

    def _tll(self, f: _Fields, sentence: Sentence, received_ns: int) -> list[Said]:
        # number, lat, N/S, lon, E/W, name, time, L/Q/T, reference
        number = f.whole(0)
        lat, lon = _place(f, 1)
        if number is None or lat is None or lon is None:
            return []
        said_ns = self._time(f.text(6), sentence, received_ns)
        stamp = self._stamp(sentence, received_ns, said_ns)
        return [TargetPlaceSaid(*stamp, number, lat, lon, f.text(5) or None, f.text(7) or None)]


_Work = Callable[[NmeaDecoder, "_Fields", Sentence, int], list[Said]]
_KINDS: dict[str, _Work] = {
    "RMC": NmeaDecoder._rmc,
    "GGA": NmeaDecoder._gga,
    "GLL": NmeaDecoder._gll,
    "VTG": NmeaDecoder._vtg,
    "HDT": NmeaDecoder._heading,
    "THS": NmeaDecoder._heading,
    "HDG": NmeaDecoder._hdg,
    "HDM": NmeaDecoder._hdg,
    "ROT": NmeaDecoder._rot,
    "ZDA": NmeaDecoder._zda,
    "DPT": NmeaDecoder._dpt,
    "DBT": NmeaDecoder._dbt,
    "MWV": NmeaDecoder._mwv,
    "VHW": NmeaDecoder._vhw,
    "TTM": NmeaDecoder._ttm,
    "TLL": NmeaDecoder._tll,
}


class _Fields:
    """The fields of a sentence by place; blank and missing are the same."""

    def __init__(self, fields: tuple[str, ...]) -> None:
        self._fields = fields

    def text(self, at: int) -> str:
        return self._fields[at].strip() if at < len(self._fields) else ""

    def number(self, at: int, at_least: float = -math.inf) -> float | None:
        """Return a number; None when blank.  Python's own reader would also take "nan", "1_0" and "infinity"."""
        text = self.text(at)
        if not text:
            return None
        if _NUMBER.fullmatch(text) is None or len(text) > 24 or float(text) < at_least:
            raise _BadField
        return float(text)

    def whole(self, at: int) -> int | None:
        number = self.number(at, 0.0)
        if number is None:
            return None
        if number != int(number):
            raise _BadField
        return int(number)

    def angle(self, at: int) -> float | None:
        """Return radians in [0, 2 pi) for degrees in [0, 360]."""
        number = self.number(at, 0.0)
        if number is None:
            return None
        if number > 360.0:
            raise _BadField
        return math.radians(number % 360.0)

    def east_west(self, at: int) -> float | None:
        """Return radians, positive east, of a value and its letter."""
        number, letter = self.number(at, 0.0), self.text(at + 1)
        if number is None:
            return None
        if letter not in ("E", "W") or number > 180.0:
            raise _BadField
        return math.radians(number if letter == "E" else -number)


def _place(f: _Fields, at: int) -> tuple[float | None, float | None]:
    return _degrees(f, at, 2, "NS"), _degrees(f, at + 2, 3, "EW")


def _degrees(f: _Fields, at: int, n_digit: int, letters: str) -> float | None:
    """Return degrees for ``dd(d)mm.mm`` and its letter."""
    text, letter = f.text(at), f.text(at + 1)
    if not text or not letter:
        return None
    whole, _, _ = text.partition(".")
    if _NUMBER.fullmatch(text) is None or len(whole) != n_digit + 2 or not whole.isdigit() or letter not in letters:
        raise _BadField
    degrees, minutes = int(text[:n_digit]), float(text[n_digit:])
    value = degrees + minutes / 60.0
    if minutes >= 60.0 or value > (90.0 if n_digit == 2 else 180.0):
        raise _BadField
    return value if letter == letters[0] else -value


def _time_of_day(text: str) -> float | None:
    """Return seconds since midnight; None when blank."""
    if not text:
        return None
    match = _TIME.fullmatch(text)
    if match is None:
        raise _BadField
    hours, minutes, seconds = int(match[1]), int(match[2]), float(match[3])
    # 60 is a leap second.
    if hours > 23 or minutes > 59 or seconds >= 61.0:
        raise _BadField
    return hours * 3600.0 + minutes * 60.0 + seconds
