"""The position that radar and chart carry on while the receiver is silent."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from reading_fakes import FRAME, T0, FakeChart, S, make_boat, make_mark, make_situation, make_track

from moonless.reading.judge import Judge
from moonless.reading.own import OwnPlane
from moonless.reading.registration.radar_fix import DRIFT_SHARE, GOOD_AGE_S, CarriedOn
from moonless.reading.registration.registrar import Agreement, Registrar
from moonless.reading.types import Fault


def _agreement(east_m: float = 0.0, north_m: float = 0.0, sigma_m: float = 3.0, **changes: Any) -> Agreement:
    covariance = np.diag([math.radians(0.2) ** 2, sigma_m**2, sigma_m**2])
    values: dict[str, Any] = {"is_known": True, "fits": 0.9, "n_used": 12}
    return Agreement(np.array([0.0, east_m, north_m]), covariance, **{**values, **changes})


def _carried(**changes: Any) -> CarriedOn:
    own = OwnPlane(FRAME, 100.0, 0.0, 0.0, 0.0, 5.0)
    return CarriedOn(make_boat(), _agreement(7.0, -2.0, **changes), own, T0)


def test_the_place_is_pulled_back_and_keeps_the_receivers_offset() -> None:
    carried = _carried()
    carried.carry(T0 + 4 * S, 0.0, None)
    # She is found 3 m further west than reckoned; the receiver's own offset of 7, -2 stays in the place.
    carried.correct(_agreement(10.0, -2.0))
    assert (carried.own.east_m, carried.own.north_m) == pytest.approx((97.0, 20.0))
    assert carried.registrar.now.state[1:] == pytest.approx([7.0, -2.0])


def test_a_steady_pull_is_learnt_as_stream() -> None:
    carried = _carried()
    carried.carry(T0 + 4 * S, 0.0, None)
    carried.correct(_agreement(10.0, -2.0))
    # 3 m west in 4 s, of which a share is taken for motion.
    assert carried.carry(T0 + 8 * S, 0.0, None).east_m == pytest.approx(97.0 - DRIFT_SHARE * 3.0)
    assert carried.own.cog_rad == pytest.approx(math.tau - math.atan2(DRIFT_SHARE * 3.0 / 4.0, 5.0))


def test_it_is_good_only_while_fixed_sure_and_confirmed_lately() -> None:
    carried = _carried()
    carried.carry(T0 + 4 * S, 0.0, None)
    assert carried.held().is_good and carried.held().age_s == pytest.approx(4.0)
    # Nothing seen: time alone takes it away.
    carried.carry(T0 + round((GOOD_AGE_S + 1.0) * S), 0.0, None)
    carried.correct(_agreement(7.0, -2.0, n_used=0, fits=None))
    assert not carried.held().is_good
    carried.correct(_agreement(7.0, -2.0))
    assert carried.held().is_good
    assert not _carried(sigma_m=40.0).held().is_good
    assert not _carried(is_known=False).held().is_good


def test_nothing_is_held_without_a_chart_or_a_fix_before() -> None:
    assert Judge(make_boat()).hold_position(T0, 0.0) is None
    judge = Judge(make_boat(), FakeChart(marks=(make_mark(0.0, 500.0),)))
    assert judge.hold_position(T0, 0.0) is None
    judge.read(make_situation())
    held = judge.hold_position(T0 + 4 * S, 0.0)
    # It was carried on by reckoning, but radar and chart had never fixed it.
    assert held is not None and not held.is_good


def test_what_rests_on_a_held_position_is_told_and_said_to() -> None:
    judge = Judge(make_boat(), FakeChart(marks=(make_mark(0.0, 500.0),)))
    judge.read(make_situation([make_track(1, 0.0, 500.0)]))
    held = judge.hold_position(T0 + 4 * S, 0.0)
    assert held is not None
    silent = make_situation(
        [make_track(1, 0.0, 500.0)], north_m=20.0, time_ns=T0 + 4 * S, faults=(Fault("position", "silent", T0),)
    )
    reading = judge.read(replace(silent, held=replace(held, is_good=True)))
    assert reading.own.position_from == "radar and chart" and reading.own.lat is not None
    assert reading.own.position_age_s == pytest.approx(4.0)
    assert reading.registration.east_m is None
    assert len(reading.echoes) == 1 and reading.hidden is not None
    said = " ".join(f"{call.say} {call.more}" for call in reading.calls)
    assert "is not coming. Radar and chart carry it on." in said and "No position received." in said
    assert judge.read(make_situation(time_ns=T0 + 8 * S)).own.position_from == "receiver"


@pytest.mark.parametrize(("bias_deg", "east_m", "north_m"), [(0.0, 7.0, -2.0), (2.0, -30.0, 12.0), (-3.0, 5.0, 40.0)])
def test_registration_is_told_as_what_was_reported_less_what_is(bias_deg: float, east_m: float, north_m: float) -> None:
    judge = Judge(make_boat(), FakeChart(marks=(make_mark(0.0, 500.0),)))
    judge.read(make_situation())
    agreement = replace(_agreement(east_m, north_m), state=np.array([math.radians(bias_deg), east_m, north_m]))
    judge._registration._registrar.start_from(agreement, T0)
    reading = judge.read(make_situation(heading_rad=1.0, time_ns=T0 + 2 * S))
    told = reading.registration
    assert (told.east_m, told.north_m) == pytest.approx((east_m, north_m))
    assert told.heading_bias_deg == pytest.approx(bias_deg)
    # The place and the heading that the reading rests on have it taken out.
    assert reading.own.lat is not None and reading.own.heading_deg is not None
    here = FRAME.to_plane(reading.own.lat, reading.own.lon)
    assert here == pytest.approx((-east_m, -north_m), abs=0.05)
    assert reading.own.heading_deg == pytest.approx(math.degrees(1.0) - bias_deg, abs=0.05)


def test_registrar_takes_an_offset_as_moved() -> None:
    registrar = Registrar(make_boat())
    registrar.start_from(_agreement(5.0, 5.0), T0)
    registrar.move_offset(np.array([1.0, 2.0]))
    assert registrar.now.state == pytest.approx([0.0, 1.0, 2.0])
    # What the tracker takes out of the reported pose goes with it, by as much and the same way.
    taken_out = registrar.now.correction
    assert taken_out is not None and taken_out.state == pytest.approx([0.0, 1.0, 2.0])


@pytest.mark.parametrize("by_deg", [90.0, -4.0])
def test_a_picture_turned_by_so_much_is_a_bias_more_by_so_much(by_deg: float) -> None:
    registrar = Registrar(make_boat())
    registrar.start_from(_agreement(5.0, -3.0), T0)
    before = registrar.now.heading_bias
    registrar.turned(math.radians(by_deg))
    assert registrar.now.heading_bias - before == pytest.approx(math.radians(by_deg))
    taken_out = registrar.now.correction
    assert taken_out is not None
    assert taken_out.state == pytest.approx([before + math.radians(by_deg), 5.0, -3.0])
