"""The faults that are put in, and what is held to be right of each."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Literal

from bench.faults import arrivals as put
from bench.faults.arrivals import NMEA, RADAR, SECOND_NMEA, Arrivals, between, demo_run
from bench.faults.play import Cost

# A fault begins when radar and chart have found each other, and ends early enough for a recovery to be seen.
FROM_S, TO_S, UNTIL_S = 25.0, 45.0, 65.0

Right = Literal["withdraw", "tell", "slow", "fresh", "steady"]
"""What must become of it: what rests on it is withdrawn; it is told and the rest goes on; the speed falls to what is
still seen; nothing old is shown as now; nothing changes.
"""


@dataclass(frozen=True, slots=True)
class Case:
    """One fault.

    ``what``: the thing that is told to be at fault; several where any of them is right.  ``known_s``: how long after it
    begins it can be known at all, by what the instruments promise.
    """

    name: str
    right: Right
    what: tuple[str, ...]
    arrivals: Callable[[], Arrivals]
    has_chart: bool = True
    cost: Cost = field(default_factory=Cost)
    known_s: float = 0.0


# GPS promises a position within 8 m, 95 % of the time, the world over (SPS performance standard, 5th edition, 2020,
# table 3.8-3; from memory): a drift of a metre a second is no error of its own after so long.
WITHIN_S = 8.0


# A motion that lies some metres a second from its own places takes so long to be more than their noise
# (`design/instruments/own_way.py`).
WAY_S = 8.0


def _put(*changes: Callable[[put.Arrival, float], object]) -> Callable[[], Arrivals]:
    fault = between(FROM_S, TO_S, put.all_of(*changes))  # type: ignore[arg-type]
    return lambda: fault(demo_run(UNTIL_S))


def _deaf() -> Arrivals:
    return between(FROM_S, TO_S, put.swapped(demo_run(UNTIL_S, loss_db=put.DEAF_DB)))(demo_run(UNTIL_S))


def _other_scale() -> Arrivals:
    return between(FROM_S, TO_S, put.swapped(demo_run(UNTIL_S, scale_nm=0.75)))(demo_run(UNTIL_S))


def _second_radar() -> Arrivals:
    other = [o for o in demo_run(UNTIL_S) if o.link == RADAR]
    began = other[0].time_ns
    ahead = [o for o in other if FROM_S <= (o.time_ns - began) / 1e9 < TO_S]
    # Half a turn apart, as two antennas stand.
    half = len([o for o in other if (o.time_ns - began) / 1e9 < 2.5]) // 2
    spun = [put.Arrival(a.time_ns, RADAR, b.data) for a, b in zip(ahead, ahead[half:], strict=False)]
    return put.beside(spun, RADAR)(demo_run(UNTIL_S))


def _second_compass() -> Arrivals:
    line = between(0.0, UNTIL_S, put.turned(lambda t: 40.0 if FROM_S <= t < TO_S else 0.0))
    other = [o for o in line(demo_run(UNTIL_S)) if o.link == NMEA and o.data[3:6] == b"HDT"]
    return put.beside(other, SECOND_NMEA)(demo_run(UNTIL_S))


def _once(seconds: float | None) -> Callable[[float], float | None]:
    """Say a tag's offset for a tenth of a second of the run, and no tag otherwise."""
    return lambda t: seconds if t < FROM_S + 0.15 else None


def _ramp(rate: float) -> Callable[[float], float]:
    return lambda t: rate * (t - FROM_S)


CASES = (
    Case("nothing", "steady", (), lambda: demo_run(UNTIL_S)),
    # --- the radar
    Case("radar silent", "withdraw", ("radar",), _put(put.silent(RADAR))),
    Case("radar picture frozen", "withdraw", ("radar",), _put(put.frozen())),
    Case("radar deaf: its own noise only", "withdraw", ("radar",), _deaf),
    Case("radar deaf, no chart", "withdraw", ("radar",), _deaf, has_chart=False),
    Case("another range scale", "steady", (), _other_scale),
    Case("radar turned over: port is starboard", "withdraw", ("radar",), _put(put.turned_over())),
    Case("radar deaf from 30 to port to 30 to starboard", "slow", (), _put(put.deaf_in(330.0, 30.0))),
    Case("two radars of one identity", "withdraw", ("radar",), _second_radar),
    Case("radar video held back for 5 s", "withdraw", ("radar",),
         lambda: put.delayed(FROM_S, TO_S, 5.0)(demo_run(UNTIL_S))),
    # --- the computer
    Case("a computer that needs 4 s for a scan", "fresh", ("radar",), lambda: demo_run(UNTIL_S),
         cost=Cost(scan_s=4.0)),
    Case("a computer at 14 %", "fresh", ("radar",), lambda: demo_run(UNTIL_S),
         cost=Cost(scan_s=1.6, radar_byte_s=1.1e-6, nmea_byte_s=1e-5)),
    Case("50 000 sentences a second", "tell", ("link",), lambda: put.flood(FROM_S, TO_S, 50_000)(demo_run(UNTIL_S)),
         cost=Cost(scan_s=0.2, radar_byte_s=1.6e-7, nmea_byte_s=1.2e-6)),
    # --- the heading
    Case("heading silent", "withdraw", ("heading",), _put(put.said("HDT", lambda f, t: None))),
    Case("heading 180 degrees wrong", "withdraw", ("heading",), _put(put.turned(lambda t: 180.0))),
    Case("heading 20 degrees wrong", "withdraw", ("heading",), _put(put.turned(lambda t: 20.0))),
    Case("heading drifts a degree a second", "withdraw", ("heading",), _put(put.turned(_ramp(1.0)))),
    Case("a second compass 40 degrees off", "tell", ("heading",), _second_compass),
    Case("one heading tagged an hour ahead", "steady", (), _put(put.tagged("HDT", _once(3600.0)))),
    Case("headings tagged 10 s ahead", "steady", (), _put(put.tagged("HDT", lambda t: 10.0))),
    Case("one tag of 99999999999", "steady", (), _put(put.tagged("HDT", _once(1e10)))),
    # --- the position
    Case("position silent", "withdraw", ("position",),
         _put(*(put.said(k, lambda f, t: None) for k in ("RMC", "GGA", "VTG")))),
    Case("position and speed stopped, time goes on", "withdraw", ("position",), _put(put.stopped_receiver())),
    Case("position 2 km wrong", "withdraw", ("position",), _put(put.moved(lambda t: 2000.0))),
    Case("position 60 m wrong", "withdraw", ("position",), _put(put.moved(lambda t: 60.0))),
    Case("position drifts 1 m/s", "withdraw", ("position",), _put(put.moved(_ramp(1.0))), known_s=WITHIN_S),
    Case("course over ground turned round", "withdraw", ("position", "heading"),
         _put(put.motion(lambda c, v, t: (c + 180.0, v)))),
    Case("speed over ground in km/h", "withdraw", ("position",), _put(put.motion(lambda c, v, t: (c, 1.852 * v))),
         known_s=WAY_S),
    Case("speed over ground runs to nought", "withdraw", ("position",),
         _put(put.motion(lambda c, v, t: (c, v * max(0.0, 1.0 - (t - FROM_S) / 10.0)))), known_s=10.0 + WAY_S),
    Case("one position tagged an hour ahead", "steady", (), _put(put.tagged("RMC", _once(3600.0)))),
)  # fmt: skip
