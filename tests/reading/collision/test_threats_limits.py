"""When a thing is met and when a role begins and ends, to both sides of every figure the rules of the files state."""

from __future__ import annotations

import math
from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from reading_fakes import FRAME, T0, S, make_boat

from moonless.boat.types import Skipper, StoppingTrial
from moonless.chart.dangers.types import Danger
from moonless.reading.collision.charted_dangers import Ahead
from moonless.reading.collision.closest import passings_of, relative_covariance
from moonless.reading.collision.held_against import HeldAgainst
from moonless.reading.collision.keep_off import room_m
from moonless.reading.collision.roles import Role, Roles
from moonless.reading.collision.safe_speed import stopping_line_m
from moonless.reading.collision.threats import Threat, need_s, threats_of
from moonless.reading.contact import Contact, Passing
from moonless.reading.own import OwnPlane
from moonless.reading.polar import N_BEARINGS
from moonless.rules.steering import Encounter

# At 5 m/s she needs ten seconds to react and fourteen to stop: 2 * 35 / 5.
BOAT = make_boat(
    stopping=(StoppingTrial(5.0, 35.0), StoppingTrial(10.0, 150.0)), skipper=Skipper(keep_off_m=400.0, react_s=10.0)
)
NEED_S = 24.0
OWN = OwnPlane(FRAME, 0.0, 0.0, 1.0, 1.0, 5.0)


def _passing(cpa_m: float, tcpa_s: float, sigma_m: float = 5.0, **change: Any) -> Passing:
    values: dict[str, Any] = {
        "id": 7, "position_en": (0.0, 900.0), "velocity_en": (0.0, 0.0), "covariance": np.eye(4), "range_m": 900.0,
        "bearing_rad": 1.0, "moves": True, "kind": "vessel", "confidence": 0.9, "p_moving": 1.0, "length_m": None,
        "charted_as": None, "ais": None, "nav_status": None, "why": "", "n_hits": 20, **change,
    }  # fmt: skip
    return Passing(Contact(**values), cpa_m, tcpa_s, sigma_m)


def _role(gives_way: bool | None, stand_on: Any = None, is_risk: bool = True) -> Role:
    return Role(Encounter("crossing from port", "15", gives_way, ""), T0, stand_on, is_risk)


def _asked(passing: Passing, *, role: Role | None = None, keep_off: float = 100.0, acted: bool = False,
           sure: bool = True, avoided: bool = False) -> Threat | None:  # fmt: skip
    seen = HeldAgainst(T0, OWN, (passing,), BOAT, "in sight", None, None, 5.0, None, {7: keep_off})
    found = threats_of(seen, {} if role is None else {7: role}, frozenset({7} if sure else ()), (),
                       {"echo 7"} if acted else (), {7} if avoided else ())  # fmt: skip
    return found[0] if found else None


def _words(found: Threat | None) -> tuple[str, str] | None:
    return None if found is None else (found.about, found.asks)


def test_how_long_her_own_manoeuvre_takes() -> None:
    assert need_s(BOAT, 5.0) == pytest.approx(NEED_S)
    # A turn takes twenty seconds, so no stop that is longer is waited for; and nothing takes less than five.
    assert need_s(BOAT, 10.0) == pytest.approx(30.0)  # 2 * 150 / 10 are thirty, the turn is twenty
    assert need_s(BOAT, 0.05) == pytest.approx(15.0) == need_s(BOAT, None)


@pytest.mark.parametrize(
    ("cpa_m", "tcpa_s", "want"),
    # To be acted on two and a half minutes before the manoeuvre, to be known five.
    [(99.0, NEED_S + 149.0, "act"), (99.0, NEED_S + 151.0, "watch"), (99.0, NEED_S + 299.0, "watch"),
     (99.0, NEED_S + 301.0, None), (101.0, 100.0, "watch"), (399.0, 100.0, "watch"), (401.0, 100.0, None),
     (99.0, 0.0, None), (99.0, -1.0, None)],
)  # fmt: skip
def test_a_vessel_without_a_role(cpa_m: float, tcpa_s: float, want: str | None) -> None:
    found = _asked(_passing(cpa_m, tcpa_s))
    assert _words(found) == (None if want is None else ("vessel", want))
    if found is not None:
        assert found.act_in_s == pytest.approx(tcpa_s - NEED_S) and found.key == "echo 7" and found.contact == 7


@pytest.mark.parametrize(
    ("kind", "moves", "tcpa_s", "want"),
    # What lies still: three quarters of a minute before, and known twice as long.
    [("uncharted", False, NEED_S + 44.0, "act"), ("uncharted", False, NEED_S + 46.0, "watch"),
     ("uncharted", False, NEED_S + 89.0, "watch"), ("uncharted", False, NEED_S + 91.0, None),
     ("charted", False, NEED_S + 44.0, "act"), ("charted", False, NEED_S + 91.0, None),
     ("vessel", False, NEED_S + 44.0, "act"), ("vessel", False, NEED_S + 46.0, "watch"),
     ("clutter", False, NEED_S + 10.0, None), ("shore", False, NEED_S + 10.0, None)],
)  # fmt: skip
def test_what_lies_still(kind: str, moves: bool, tcpa_s: float, want: str | None) -> None:
    about = {"charted": "mark"}.get(kind, kind)
    assert _words(_asked(_passing(30.0, tcpa_s, kind=kind, moves=moves))) == (None if want is None else (about, want))


def test_what_was_acted_on_stays_so_to_half_as_much_again() -> None:
    still = {"kind": "uncharted", "moves": False}
    for cpa_m, acted, want in ((99.0, False, "act"), (105.0, False, None), (149.0, True, "act"), (151.0, True, None)):
        found = _asked(_passing(cpa_m, NEED_S + 10.0, **still), acted=acted)
        assert (found.asks if found is not None and found.asks == "act" else None) == want
    # Of what moves the role says it, not the margin.
    moving = _asked(_passing(120.0, NEED_S + 10.0), acted=True)
    assert moving is not None and moving.asks == "watch"


@pytest.mark.parametrize(
    ("change", "is_met"),
    [({"confidence": 0.49}, False), ({"confidence": 0.51}, True)],
)
def test_what_is_hardly_believed_is_not_met(change: dict[str, Any], is_met: bool) -> None:
    assert (_asked(_passing(50.0, 60.0, **change)) is not None) is is_met
    assert _asked(_passing(50.0, 60.0), sure=False) is None
    for none in (replace(_passing(50.0, 60.0), cpa_m=None), replace(_passing(50.0, 60.0), tcpa_s=None)):
        assert _asked(none) is None


@pytest.mark.parametrize(
    ("role", "tcpa_s", "want"),
    [
        # The stand-on vessel holds until she may act herself; the give-way vessel acts in ample time.
        (_role(False, "17(a)(i)"), 100.0, "hold"), (_role(False, "17(a)(ii)"), 100.0, "act"),
        (_role(False, "17(b)"), 100.0, "act"), (_role(True), NEED_S + 149.0, "act"),
        (_role(True), NEED_S + 151.0, "watch"),
        (_role(None), NEED_S + 149.0, "act"), (_role(True, is_risk=False), 100.0, "watch"),
    ],
)  # fmt: skip
def test_by_her_role(role: Role, tcpa_s: float, want: str) -> None:
    assert _words(_asked(_passing(50.0, tcpa_s), role=role)) == ("vessel", want)


def test_kept_off_and_not_yet_past_is_clear() -> None:
    assert _words(_asked(_passing(450.0, 100.0), role=_role(True, is_risk=False))) == ("vessel", "clear")
    gone = _asked(_passing(450.0, 100.0), role=_role(True, is_risk=False))
    assert gone is not None and gone.act_in_s == math.inf and gone.urgency == 1


@pytest.mark.parametrize(
    ("cpa_m", "tcpa_s", "acted", "want"),
    # An order in the last twelve seconds, for less than a fifth, would change nothing.
    [(81.0, 11.0, False, "watch"), (79.0, 11.0, False, "act"), (81.0, 13.0, False, "act"), (81.0, 11.0, True, "act"),
     (81.0, 0.0, False, "clear"), (81.0, -1.0, False, "act")],
)  # fmt: skip
def test_no_order_that_comes_too_late(cpa_m: float, tcpa_s: float, acted: bool, want: str) -> None:
    found = _asked(_passing(cpa_m, tcpa_s), role=_role(True), acted=acted)
    assert found is not None and found.asks == want


@pytest.mark.parametrize(
    ("sigma_m", "tcpa_s", "acted", "want"),
    # A doubt larger than what is kept off waits while there is a minute to spare.
    [(101.0, NEED_S + 61.0, False, "watch"), (99.0, NEED_S + 61.0, False, "act"), (101.0, NEED_S + 59.0, False, "act"),
     (101.0, NEED_S + 61.0, True, "act")],
)  # fmt: skip
def test_what_cannot_be_told_yet(sigma_m: float, tcpa_s: float, acted: bool, want: str) -> None:
    found = _asked(_passing(50.0, tcpa_s, sigma_m), role=_role(True), acted=acted)
    assert found is not None and found.asks == want


@pytest.mark.parametrize(
    ("asks", "act_in_s", "urgency"),
    [("act", 19.0, 4), ("act", 21.0, 3), ("hold", 1.0, 2), ("watch", 1.0, 2), ("clear", 1.0, 1)],
)
def test_how_urgent(asks: Any, act_in_s: float, urgency: int) -> None:
    assert Threat("k", "vessel", act_in_s, asks).urgency == urgency


def test_what_the_route_turns_from_is_only_known() -> None:
    assert _words(_asked(_passing(50.0, 60.0), avoided=True)) == ("vessel", "watch")
    assert _asked(_passing(50.0, 60.0, kind="charted", moves=False), avoided=True) is None


def _charted(along_m: float, *, off_m: float = 0.0, in_way: bool = True, weight: Any = "stops", kind: Any = "rock",
             speed: float = 5.0, acted: bool = False) -> Threat | None:  # fmt: skip
    danger = Danger(kind, weight, "", along_m, off_m, "on", 0.0, 0.0)
    own = replace(OWN, sog=speed)
    seen = HeldAgainst(T0, own, (), BOAT, "in sight", None, None, 5.0, None)
    found = threats_of(seen, {}, frozenset(), [Ahead(danger, in_way, "k")], {"k"} if acted else ())
    return found[0] if found else None


def test_a_charted_danger_by_the_time_to_stop_short_of_it() -> None:
    line = stopping_line_m(5.0, BOAT)
    assert 85.0 <= line <= 100.0  # ten seconds at 5 m/s and thirty-five metres, and her own length
    for seconds, asks in ((39.0, "act"), (41.0, "watch"), (79.0, "watch"), (81.0, None)):
        found = _charted(line + 5.0 * seconds)
        assert (None if found is None else found.asks) == asks
        if found is not None:
            assert found.about == "charted danger" and found.act_in_s == pytest.approx(seconds) and found.key == "k"
    near = line + 50.0
    assert _charted(near, weight="against") is None and _charted(near, in_way=False) is None
    assert _charted(near, kind="unsurveyed") is None and _charted(near, kind="chart ends") is None
    # A boat that hardly moves comes to nothing.
    assert _charted(5.0, speed=0.29) is None and _charted(5.0, speed=0.31) is not None
    # What was acted on stays so to half as much again of what she sweeps.
    swept = BOAT.beam_m / 2.0
    assert _charted(near, in_way=False, off_m=swept, acted=True) is not None
    assert _charted(near, in_way=False, off_m=200.0, acted=True) is None


def test_the_soonest_to_act_is_first() -> None:
    passings = (_passing(50.0, 100.0), _passing(50.0, 60.0, id=8), _passing(50.0, 80.0, id=9))
    seen = HeldAgainst(T0, OWN, passings, BOAT, "in sight", None, None, 5.0, None, {7: 100.0, 8: 100.0, 9: 100.0})
    assert [t.contact for t in threats_of(seen, {}, frozenset({7, 8, 9}), ())] == [8, 9, 7]


# --- roles ------------------------------------------------------------------------------------------------------------


def _crossing(cpa_m: float = 50.0, tcpa_s: float = 120.0, sigma_m: float = 0.0, **change: Any) -> Passing:
    """On the starboard bow of a boat that goes north, going west."""
    given = {"position_en": (600.0, 600.0), "velocity_en": (-5.0, 0.0), "range_m": 848.0, "bearing_rad": math.pi / 4.0}
    return _passing(cpa_m, tcpa_s, sigma_m, **{**given, **change})


def _update(
    roles: Roles, at_s: float, *passings: Passing, sight: Any = "in sight", heading: float | None = 0.0
) -> dict[int, Role]:
    own = OwnPlane(FRAME, 0.0, 0.0, heading, 0.0, 5.0)
    return roles.update(T0 + round(at_s * S), own, passings, sight, {7: 400.0, 8: 400.0}, 20.0)


@pytest.mark.parametrize(
    ("change", "is_met"),
    [
        # Inside her keep-off within eight minutes; half her doubt, to a quarter of the keep-off, counts for inside.
        ({"cpa_m": 399.0}, True), ({"cpa_m": 401.0}, False), ({"tcpa_s": 479.0}, True), ({"tcpa_s": 481.0}, False),
        ({"tcpa_s": 0.0}, False), ({"cpa_m": 440.0, "sigma_m": 81.0}, True), ({"cpa_m": 440.0, "sigma_m": 79.0}, False),
        ({"cpa_m": 499.0, "sigma_m": 900.0}, True), ({"cpa_m": 501.0, "sigma_m": 900.0}, False),
        ({"cpa_m": math.nan}, False), ({"confidence": 0.49}, False), ({"confidence": 0.51}, True),
        ({"kind": "uncharted"}, False), ({"n_hits": 4}, False), ({"n_hits": 5}, True),
        ({"n_hits": 4, "tcpa_s": 59.0}, True),
        ({"n_hits": 4, "tcpa_s": 61.0}, False),
    ],
)  # fmt: skip
def test_when_a_role_begins(change: dict[str, Any], is_met: bool) -> None:
    assert bool(_update(Roles(), 0.0, _crossing(**change))) is is_met


@pytest.mark.parametrize(
    ("tcpa_s", "range_m", "is_kept"),
    # Past for a quarter of a minute, or past and outside her keep-off.
    [(-14.0, 399.0, True), (-16.0, 399.0, False), (-1.0, 401.0, False), (1.0, 900.0, True)],
)
def test_when_a_role_ends(tcpa_s: float, range_m: float, is_kept: bool) -> None:
    roles = Roles()
    assert 7 in _update(roles, 0.0, _crossing())
    assert (7 in _update(roles, 10.0, _crossing(cpa_m=900.0, tcpa_s=tcpa_s, range_m=range_m))) is is_kept


def test_a_role_of_one_not_told_is_kept_for_forty_seconds() -> None:
    for away_s, since_s in ((39.0, 0.0), (41.0, 43.0)):
        roles = Roles()
        _update(roles, 2.0, _crossing(cpa_m=60.0))
        assert _update(roles, 2.0 + away_s) == {}
        found = _update(roles, 2.0 + away_s, _crossing())
        assert found[7].since_ns == T0 + (2 if since_s == 0.0 else 43) * S


def test_whether_she_still_comes_inside_is_told_with_the_role() -> None:
    roles = Roles()
    assert _update(roles, 0.0, _crossing())[7].is_risk
    assert not _update(roles, 2.5, _crossing(cpa_m=450.0))[7].is_risk
    assert _update(roles, 5.0, _crossing(cpa_m=390.0))[7].is_risk
    for tcpa_s, is_risk in ((-4.0, True), (-6.0, False)):
        again = Roles()
        _update(again, 0.0, _crossing())
        assert _update(again, 5.0, _crossing(tcpa_s=tcpa_s, range_m=300.0))[7].is_risk is is_risk


def test_one_told_as_something_else_now_and_then_keeps_her_role() -> None:
    roles = Roles()
    _update(roles, 0.0, _crossing())
    for k, kind in enumerate(["clutter", "clutter", "vessel", "clutter", "clutter", "vessel"]):
        assert 7 in _update(roles, 2.5 * (k + 1), _crossing(kind=kind))
    for k, is_kept in enumerate([True, True, False]):
        assert (7 in _update(roles, 20.0 + 2.5 * k, _crossing(kind="clutter"))) is is_kept


def test_when_the_skipper_says_otherwise_every_role_is_found_anew() -> None:
    roles = Roles()
    assert _update(roles, 0.0, _crossing())[7].encounter.rule == "15"
    assert _update(roles, 2.5, _crossing(), sight="radar only")[7].encounter.rule == "19"
    assert _update(roles, 5.0, _crossing())[7].encounter.rule == "15"


def test_by_the_heading_where_there_is_one_else_by_the_course() -> None:
    # Heading 060 while set to the north: she lies on the port bow, by course on the starboard bow.
    port = _update(Roles(), 0.0, _crossing(), heading=math.radians(60.0))[7].encounter
    starboard = _update(Roles(), 0.0, _crossing(), heading=None)[7].encounter
    assert (port.meeting, starboard.meeting) == ("crossing from port", "crossing from starboard")


# --- how sure, and how much room --------------------------------------------------------------------------------------


def test_own_speed_is_good_to_a_tenth() -> None:
    contact = _passing(0.0, 0.0).contact
    (cov,) = relative_covariance([contact])
    assert np.allclose(cov, np.diag([1.0, 1.0, 1.01, 1.01])) and np.allclose(contact.covariance, np.eye(4))
    # A course is missed where she makes way; at rest the boat is taken to lie.
    for sog, known in ((0.49, True), (0.51, False)):
        (met,) = passings_of(OwnPlane(FRAME, 0.0, 0.0, 0.0, None, sog), [contact])
        assert (met.cpa_m is not None) is known
    assert passings_of(OWN, []) == ()


@pytest.mark.parametrize("course", [0.0, 1.3, 4.0])
def test_the_room_abeam_is_the_water_to_both_hands(course: float) -> None:
    raster: Any = SimpleNamespace(cell_m=10.0, land=np.zeros((N_BEARINGS, 200), dtype=bool))

    def wall(off_deg: float, range_m: float) -> None:
        row = round((math.degrees(course) + off_deg) % 360.0 * N_BEARINGS / 360.0) % N_BEARINGS
        raster.land[row, int(range_m / 10.0) :] = True

    wall(90.0, 300.0)
    wall(-90.0, 200.0)
    wall(0.0, 50.0)  # ahead is no room abeam
    assert room_m(raster, course) == pytest.approx(500.0)
    wall(110.0, 100.0)  # within twenty-five degrees of abeam
    assert room_m(raster, course) == pytest.approx(300.0)
    wall(-120.0, 10.0)
    assert room_m(raster, course) == pytest.approx(300.0)
    assert room_m(None, course) == room_m(raster, None) == math.inf
