"""The boat carried on by heading and speed when the receiver is silent."""

from __future__ import annotations

import math

import pytest
import shapely
from reading_fakes import FRAME, T0, FakeChart, S, make_boat, make_situation

from moonless.reading.judge import Judge
from moonless.reading.own import OwnPlane
from moonless.reading.registration.radar_fix import CarriedOn
from moonless.reading.registration.registrar import Registrar
from moonless.reading.types import Fault


def test_a_silent_receiver_withdraws_and_says_where_she_is() -> None:
    chart = FakeChart(land=shapely.MultiPolygon([shapely.box(-100.0, 900.0, 100.0, 950.0)]))
    judge = Judge(make_boat(), chart)
    judge.read(make_situation())
    fault = Fault("position", "silent", T0)
    silent = make_situation(time_ns=T0 + 4 * S, faults=(fault,))
    reading = judge.read(silent)
    assert reading.own.lat is None and reading.echoes == () and reading.hidden is None
    assert reading.registration.sigma_m is not None and reading.registration.east_m is None
    said = " ".join(f"{call.say} {call.more}" for call in reading.calls)
    # 4 s at 5 m/s north of 10 north: a hundredth of a minute.
    assert "heading and last speed alone" in said and "10 00.011 north" in said


def test_carried_on_by_heading_and_speed() -> None:
    own = OwnPlane(FRAME, 0.0, 0.0, 0.0, math.radians(10.0), 5.0)
    carried = CarriedOn(make_boat(), Registrar(make_boat()).now, own, T0)
    # She turns east; the leeway of ten degrees goes with her.
    at = carried.carry(T0 + 10 * S, math.pi / 2, None)
    assert (at.east_m, at.north_m) == pytest.approx((50 * math.cos(math.radians(10)), -50 * math.sin(math.radians(10))))
