"""What the skipper is told about one echo, against plain trigonometry.

Every expectation is worked out here from the meeting that was chosen: how close, on which side, in how long, on which
relative course.  Own heading is never course, and never 0: what stands by the bow must turn with the bow alone, what
stands over ground must not.
"""

from __future__ import annotations

import json
import math
from dataclasses import dataclass
from typing import Any

import numpy as np
import pytest
from geographiclib.geodesic import Geodesic
from reading_fakes import FRAME, T0, FakeChart, make_boat, make_situation, make_track

from moonless.boat.types import Skipper
from moonless.reading.judge import Judge
from moonless.reading.situation import OwnState
from moonless.reading.types import Reading

KNOT = 1852.0 / 3600.0  # SI brochure 9th ed., table 8
OWN_EAST, OWN_NORTH = 700.0, -400.0


def unit(bearing_deg: float) -> np.ndarray:
    """East and north of a bearing."""
    a = math.radians(bearing_deg)
    return np.array([math.sin(a), math.cos(a)])


@dataclass(frozen=True)
class Met:
    """A meeting chosen by its answers.

    Seen from own boat the other goes ``drm_deg`` (direction of relative movement) at ``srm`` and is closest, ``cpa_m``
    off on the side to starboard (1) or port (-1) of that direction, in ``tcpa_s``.
    """

    heading_deg: float
    course_deg: float
    speed: float
    drm_deg: float
    srm: float
    cpa_m: float
    side: int
    tcpa_s: float

    @property
    def relative(self) -> np.ndarray:
        return self.cpa_m * unit(self.drm_deg + 90.0 * self.side) - self.srm * self.tcpa_s * unit(self.drm_deg)

    @property
    def over_ground(self) -> np.ndarray:
        return self.srm * unit(self.drm_deg) + self.speed * unit(self.course_deg)

    @property
    def range_m(self) -> float:
        return math.hypot(self.cpa_m, self.srm * self.tcpa_s)

    @property
    def bearing_deg(self) -> float:
        # Of where she comes from, turned by the angle that the miss makes at the present range.
        off = math.degrees(math.atan2(self.cpa_m, self.srm * self.tcpa_s))
        return (self.drm_deg + 180.0 - off * self.side) % 360.0

    def read(self, judge: Judge | None = None, sight: Any = "unsure", **track: Any) -> Reading:
        e, n = np.array([OWN_EAST, OWN_NORTH]) + self.relative
        ve, vn = self.over_ground
        lat, lon = FRAME.to_geographic(OWN_EAST, OWN_NORTH)
        own = OwnState(
            float(lat), float(lon), math.radians(self.heading_deg), math.radians(self.course_deg), self.speed
        )
        turn = make_situation([make_track(7, float(e), float(n), float(ve), float(vn), **track)], own=own, sight=sight)
        return (judge or Judge(make_boat())).read(turn)


HEADINGS = (17.0, 94.5, 181.0, 243.0, 311.0, 358.5)
MEETINGS = [
    Met(heading, (heading + leeway) % 360.0, 4.0, (heading + drm) % 360.0, srm, cpa, side, tcpa)
    for heading in HEADINGS
    for leeway, drm, srm, cpa, side, tcpa in (
        (8.0, 180.0, 9.0, 150.0, 1, 200.0),
        (-12.0, 250.0, 6.0, 90.0, -1, 110.0),
        (25.0, 110.0, 7.5, 400.0, 1, 300.0),
        (-5.0, 35.0, 3.0, 220.0, -1, 260.0),
        (3.0, 300.0, 5.0, 700.0, 1, -40.0),
    )
]


@pytest.mark.parametrize("met", MEETINGS, ids=lambda m: f"{m.heading_deg:g}/{m.drm_deg:g}/{m.side}")
def test_every_figure_of_an_echo(met: Met) -> None:
    (echo,) = met.read().echoes
    assert echo.kind == "vessel"
    assert echo.range_m == pytest.approx(met.range_m, abs=0.01)
    assert echo.bearing_deg == pytest.approx(met.bearing_deg, abs=1e-3)
    # From the bow, not from the course: starboard is positive.
    from_bow = (met.bearing_deg - met.heading_deg + 180.0) % 360.0 - 180.0
    assert echo.relative_bearing_deg == pytest.approx(from_bow, abs=1e-3)
    e, n = met.over_ground
    assert echo.cog_deg == pytest.approx(math.degrees(math.atan2(e, n)) % 360.0, abs=1e-6)
    assert echo.sog_kn == pytest.approx(math.hypot(e, n) / KNOT, rel=1e-9)
    assert echo.cpa_m == pytest.approx(met.cpa_m, abs=0.01)
    assert echo.tcpa_s == pytest.approx(met.tcpa_s, abs=0.01)
    # On the ellipsoid by an independent geodesic; the plane is good to 2 m in 3 km.
    own = met.read().own
    assert own.lat is not None and own.lon is not None
    there = Geodesic.WGS84.Direct(own.lat, own.lon, met.bearing_deg, met.range_m)
    apart = Geodesic.WGS84.Inverse(there["lat2"], there["lon2"], echo.lat, echo.lon)["s12"]
    assert apart < 2.0


@pytest.mark.parametrize("met", MEETINGS[:5])
def test_own_boat_is_told_as_reported(met: Met) -> None:
    own = met.read().own
    assert own.heading_deg == pytest.approx(met.heading_deg)
    assert own.cog_deg == pytest.approx(met.course_deg)
    assert own.sog_kn == pytest.approx(4.0 / KNOT)
    gone = Geodesic.WGS84.Inverse(10.0, -150.0, own.lat, own.lon)  # the plane's middle, as the fakes lay it
    assert gone["s12"] == pytest.approx(math.hypot(OWN_EAST, OWN_NORTH), abs=0.5)
    assert gone["azi1"] % 360.0 == pytest.approx(math.degrees(math.atan2(OWN_EAST, OWN_NORTH)) % 360.0, abs=0.05)


@pytest.mark.parametrize("met", MEETINGS[::4])
def test_how_sure_a_closest_approach_is(met: Met) -> None:
    """By throwing dice: places and motions drawn from the stated doubts, each one's closest approach, their spread.

    The doubts: the track's own (5 m, 0.2 m/s on each axis), the receiver's 4 m on each axis, the heading's and the
    antenna's angle across the bearing, 5 m along it, and a tenth of a metre a second of own speed.
    """
    (echo,) = met.read().echoes
    boat = make_boat()
    rng = np.random.default_rng(3)
    n = 40_000
    along, across = unit(met.bearing_deg), unit(met.bearing_deg + 90.0)
    angle = rng.normal(0.0, math.hypot(boat.heading_sigma_rad, boat.radar.azimuth_sigma_rad), n)
    places = (
        met.relative + rng.normal(0.0, 5.0, (n, 2)) + rng.normal(0.0, boat.position_sigma_m, (n, 2))
        + np.outer(angle * met.range_m, across) + np.outer(rng.normal(0.0, boat.radar.range_sigma_m, n), along)
    )  # fmt: skip
    moves = met.srm * unit(met.drm_deg) + rng.normal(0.0, 0.2, (n, 2)) + rng.normal(0.0, 0.1, (n, 2))
    t = -(places * moves).sum(axis=1) / (moves**2).sum(axis=1)
    miss = places + moves * t[:, None]
    # With its sign: on which side of the middle relative course she passes.
    signed = (moves[:, 1] * miss[:, 0] - moves[:, 0] * miss[:, 1]) / np.hypot(moves[:, 0], moves[:, 1])
    # 40 000 throws tell a spread to half a per cent; the formula is of first order.
    assert echo.cpa_sigma_m == pytest.approx(float(signed.std()), rel=0.04)


def test_a_line_of_the_file_says_the_same(tmp_path: Any) -> None:
    met = MEETINGS[6]
    reading = met.read()
    line = json.loads(json.dumps(reading.as_dict(), allow_nan=False))
    (echo,) = line["echoes"]
    assert echo["is"] == "vessel" and echo["id"] == 7
    assert (echo["range_m"], echo["cpa_m"], echo["tcpa_s"]) == pytest.approx((met.range_m, 90.0, 110.0), abs=0.01)
    assert echo["relative_bearing_deg"] == pytest.approx(
        (met.bearing_deg - met.heading_deg + 180.0) % 360.0 - 180.0, abs=1e-3
    )
    assert echo["cpa_sigma_m"] == reading.echoes[0].cpa_sigma_m is not None
    assert line["time"] == "2030-03-17T17:46:40.000Z"  # 1 900 000 000 s after the epoch: date -u -d @1900000000
    assert line["own"]["heading_deg"] == pytest.approx(met.heading_deg)
    assert line["stopping_m"] == reading.stopping_m


# -- what is said, with its side --------------------------------------------------------------------------------------

# Angle from the bow and the words for it; to port the same with the other side's name.
SECTORS = [
    (0.0, "dead ahead"), (10.0, "starboard bow"), (25.0, "starboard bow"), (50.0, "starboard bow"),
    (90.0, "starboard beam"), (135.0, "starboard quarter"), (176.0, "astern"),
]  # fmt: skip


def _comes(heading_deg: float, from_bow_deg: float, range_m: float, speed: float, srm: float, leeway: float) -> Met:
    """A vessel straight for us from an angle of the bow: her closest approach is none."""
    bearing = heading_deg + from_bow_deg
    return Met(heading_deg, heading_deg + leeway, speed, bearing + 180.0, srm, 0.0, 1, range_m / srm)


@pytest.mark.parametrize("heading_deg", HEADINGS[:4])
@pytest.mark.parametrize("side", [1, -1])
@pytest.mark.parametrize(("from_bow_deg", "words"), SECTORS)
def test_a_vessel_is_said_on_the_side_she_is_on(heading_deg: float, side: int, from_bow_deg: float, words: str) -> None:
    met = _comes(heading_deg, side * from_bow_deg, 1852.0, 3.0, 6.0, leeway=20.0)
    (call,) = met.read().calls
    expected = words if side > 0 else words.replace("starboard", "port")
    # 1852 m at 6 m/s: 309 s, five minutes.  Twelve words are what is taken in beside steering.
    far = "gives way" if "gives way" in call.say else "one mile"  # no room for both
    assert call.say.startswith(f"Vessel, {expected}, {far},")
    assert call.say.endswith("nearest under half a cable, five minutes.")
    assert call.echo == 7 and call.urgency == 2


def test_a_stopped_vessel_is_passed_and_not_met() -> None:
    # Not under way by her track, a vessel by AIS.
    from moonless.track.types import AisTarget

    ais = AisTarget(123456789, T0, 10.0, -150.0, name="MADE TENDER")
    met = Met(40.0, 40.0, 5.0, 220.0, 5.0, 60.0, 1, 120.5)
    (call,) = met.read(ais=ais, p_moving=0.01).calls
    # 605 m; she lies still and is kept off by fifteen seconds of own way, 75 m.  With a name of two words there is no
    # room among twelve to say that she lies still: it is shown.
    assert (call.say, call.more) == ("MADE TENDER, port bow, nearest under half a cable, two minutes.", "Not moving.")
    assert Met(40.0, 40.0, 5.0, 220.0, 5.0, 80.0, 1, 120.5).read(ais=ais, p_moving=0.01).calls == ()


KEEP = 400.0


@pytest.mark.parametrize(
    ("cpa_m", "tcpa_s", "urgency"),
    [
        # At 4 m/s the boat reacts in 10 s and stops in twice 27 m over 4 m/s, 13.8 s: 23.8 s before closest approach is
        # the last moment, 20 s before that it is shouted, 150 s before it an order is given.
        (0.49 * KEEP, 43.0, 4),
        (0.49 * KEEP, 45.0, 3),
        (0.3 * KEEP, 173.0, 3),
        (0.3 * KEEP, 175.0, 2),
        (10.0, 15.0, 4),
        (0.99 * KEEP, 479.0, 2),  # known eight minutes before
        (0.99 * KEEP, 481.0, None),
        (1.5 * KEEP, 300.0, None),
        (1.01 * KEEP, 100.0, 2),  # may come inside by what is not known of her; she gives way
        (5.0 * KEEP, 60.0, None),
        (0.4 * KEEP, -4.0, None),  # past
    ],
)
def test_how_urgent_a_vessel_is(cpa_m: float, tcpa_s: float, urgency: int | None) -> None:
    judge = Judge(make_boat(skipper=Skipper(keep_off_m=KEEP)))
    met = Met(200.0, 190.0, 4.0, 20.0, 8.0, cpa_m, 1, tcpa_s)
    assert [call.urgency for call in met.read(judge, sight="in sight").calls] == ([] if urgency is None else [urgency])


@pytest.mark.parametrize("heading_deg", HEADINGS[:3])
@pytest.mark.parametrize("side", [1, -1])
@pytest.mark.parametrize(
    ("off_m", "ahead_m", "urgency", "tail"),
    [
        # Kept off by 25 s of own way, 125 m.  10 s to react, 15.4 s to stop from 5 m/s (38.5 m): 25.4 s before it is
        # the last moment, 20 s before that it is shouted, 45 s before it an order is given, 90 s before it is told.
        (5.0, 200.0, 4, "."),  # 40 s
        (5.0, 260.0, 3, "."),  # 52 s
        (100.0, 400.0, 2, "nearest half a cable, one minute."),  # 80 s
        (100.0, 600.0, None, ""),  # 120 s
        (140.0, 400.0, None, ""),
    ],
)
def test_how_urgent_a_still_thing_is(
    heading_deg: float, side: int, off_m: float, ahead_m: float, urgency: int | None, tail: str
) -> None:
    course, speed = heading_deg - 6.0, 5.0
    e, n = np.array([OWN_EAST, OWN_NORTH]) + ahead_m * unit(course) + off_m * side * unit(course + 90.0)
    lat, lon = FRAME.to_geographic(OWN_EAST, OWN_NORTH)
    own = OwnState(float(lat), float(lon), math.radians(heading_deg), math.radians(course), speed)
    calls = Judge(make_boat(), FakeChart()).read(make_situation([make_track(7, float(e), float(n))], own=own)).calls
    assert [call.urgency for call in calls] == ([] if urgency is None else [urgency])
    if urgency is not None:
        assert calls[0].say.endswith(tail)
        *order, who = calls[0].say.split(". ")
        assert who.startswith("Something uncharted, ") and bool(order) == (urgency > 2)
        from_bow = math.degrees(math.atan2(side * off_m, ahead_m)) - 6.0
        if abs(from_bow) > 3.0:
            assert ("starboard" if from_bow > 0 else " port") in who
            assert (" port" if from_bow > 0 else "starboard") not in who


# -- what the rules say of her ----------------------------------------------------------------------------------------


@pytest.mark.parametrize("heading_deg", HEADINGS)
def test_rule_15_refuses_the_turn_to_port(heading_deg: float) -> None:
    """A crossing from starboard: Rule 15 has us keep out of her way and not cross ahead of her.

    COLREGs 1972, Rule 15, in words of the rule: "shall, if the circumstances of the case admit, avoid crossing ahead".
    """
    met = _comes(heading_deg, 50.0, 1000.0, 5.0, 7.0, leeway=0.0)
    reading = met.read(sight="in sight")
    order = reading.instruction
    assert order is not None and "Rule 15: Keep out of the way" in order.because and order.do in ("turn", "slow")
    assert order.do == "slow" or "STARBOARD" in order.say
    assert "Rule" not in reading.calls[0].say  # the rule on touch, never spoken
    found = reading.manoeuvres
    assert found is not None and found.turn is not None and found.turn.turn_deg > 0.0
    trial_judge = Judge(make_boat())
    met.read(trial_judge, sight="in sight")
    trial = trial_judge.try_manoeuvre(math.radians(heading_deg - 40.0), None, 0.0)
    assert not isinstance(trial, str) and trial.refused is not None and "Rule 15" in trial.refused
    right = trial_judge.try_manoeuvre(math.radians(heading_deg + 40.0), None, 0.0)
    assert not isinstance(right, str) and right.refused is None


@pytest.mark.parametrize("heading_deg", HEADINGS)
def test_rule_17_refuses_the_turn_to_port_for_one_to_port(heading_deg: float) -> None:
    # COLREGs 1972, Rule 17(c): "shall ... not alter course to port for a vessel on her own port side".
    met = _comes(heading_deg, -50.0, 1500.0, 5.0, 7.0, leeway=0.0)
    judge = Judge(make_boat())
    reading = met.read(judge, sight="in sight")
    order = reading.instruction
    assert order is not None and order.do == "hold" and "Rule 17(a)(i): She keeps out of the way" in order.because
    assert reading.manoeuvres is None  # nothing on the sheet contradicts it
    left = judge.try_manoeuvre(math.radians(heading_deg - 40.0), None, 0.0)
    right = judge.try_manoeuvre(math.radians(heading_deg + 40.0), None, 0.0)
    assert not isinstance(left, str) and left.refused is not None and "Rule 17(c)" in left.refused
    assert not isinstance(right, str) and right.refused is None


@pytest.mark.parametrize("heading_deg", HEADINGS[:3])
def test_the_turn_that_is_offered_clears_by_plain_steps(heading_deg: float) -> None:
    """The offered turn and slowing, run second by second: the least distance is what is said, and smaller fails."""
    met = Met(heading_deg, heading_deg, 5.0, heading_deg + 205.0, 9.0, 60.0, -1, 150.0)
    reading = met.read(sight="radar only")
    found = reading.manoeuvres
    assert found is not None and found.turn is not None

    def least(turn_deg: float, speed: float) -> float:
        t = np.arange(0.0, 720.0, 0.25)[:, None]
        gap = met.relative + t * (met.over_ground - speed * unit(heading_deg + turn_deg))
        return float(np.hypot(gap[:, 0], gap[:, 1]).min())

    keep = make_boat().skipper.keep_off_m
    assert least(found.turn.turn_deg, 5.0) == pytest.approx(found.turn.closest_m, abs=2.0) and found.turn.turn_deg > 0
    assert least(found.turn.turn_deg, 5.0) >= keep - 1e-6
    # In steps that another can see (Rule 8(b)): the next smaller that is offered would not do.
    smaller = [size for size in (30.0, 40.0, 50.0, 60.0, 75.0) if size < found.turn.turn_deg]
    assert all(least(size, 5.0) < keep for size in smaller)
    order = reading.instruction
    assert order is not None and order.to_deg == pytest.approx(found.turn.course_deg)
    assert order.say == f"TURN STARBOARD {found.turn.turn_deg:.0f}° to {round(found.turn.course_deg) % 360:03d}"
    assert found.turn.course_deg == pytest.approx((heading_deg + found.turn.turn_deg) % 360.0)
    assert f"{found.turn.turn_deg:.0f} degrees to starboard" in found.turn.say
    # Rule 19(d)(i): no turn to port for one forward of the beam.
    assert all(one.turn_deg < 0 and "Rule 19(d)" in one.why for one in found.refused)
    if found.slow is not None:
        assert least(0.0, found.slow.speed_kn * KNOT) >= keep - 1e-6
