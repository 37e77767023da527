"""A leg drawn at the helm, a trial manoeuvre and a plan over the same water: one engine, one answer."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
import shapely

from moonless.boat.types import Boat
from moonless.chart.library import Chart
from moonless.frames import LocalFrame
from moonless.helm.routes.check import RouteChecker
from moonless.passage.night import Night
from moonless.passage.plan import make_plan
from moonless.passage.way.route import Route, Waypoint
from moonless.reading.judge import Judge
from moonless.reading.situation import OwnState, Situation
from moonless.units import kn_to_mps

FRAME = LocalFrame(10.0, -140.0)
SPEED_KN = 8.0  # what the route check takes where no night limit is set
NOON_NS = 1_930_000_000_000_000_000
# The trial's lines run east from here: for 1500 m there is only what a test puts in the way.
START, EAST_M = (-5500.0, -5000.0), 1500.0
ACROSS = shapely.LineString([(-4900.0, -5300.0), (-4900.0, -4700.0)])
PATCH = shapely.box(-4950.0, -5100.0, -4850.0, -4900.0)
SEA = shapely.difference(shapely.box(-6000, -6000, 6000, 6000), PATCH)
Layers = dict[str, Any]
ChartWith = Callable[[Layers], Chart]


def _at(east: float, north: float) -> tuple[float, float]:
    lat, lon = FRAME.to_geographic(east, north)
    return float(lat), float(lon)


def _leg(chart: Chart, boat: Boat) -> list[str]:
    (told,) = RouteChecker(chart, boat).check([_at(*START), _at(START[0] + EAST_M, START[1])])
    return [danger["say"] for danger in told["stops"]]


def _plan(chart: Chart, boat: Boat) -> list[tuple[str, float]]:
    ends = [_at(*START), _at(START[0] + EAST_M, START[1])]
    route = Route("run", tuple(Waypoint(f"W{k}", *place) for k, place in enumerate(ends)))
    plan = make_plan(chart, route, boat, NOON_NS / 1e9, Night(wanted_kn=SPEED_KN), events=False)
    return [(danger.kind, danger.along_m) for danger in plan.refused]


def _trial(chart: Chart, boat: Boat) -> tuple[str, float] | None:
    lat, lon = _at(*START)
    own = OwnState(lat, lon, math.pi / 2, math.pi / 2, kn_to_mps(SPEED_KN))
    judge = Judge(boat, chart)
    judge.read(Situation(NOON_NS, own, FRAME, None, None, ()))
    trial = judge.try_manoeuvre(math.pi / 2, kn_to_mps(SPEED_KN))
    assert not isinstance(trial, str)
    if trial.chart is None or trial.chart.distance_m > EAST_M:
        return None
    return trial.chart.what, trial.chart.distance_m


CASES: dict[str, tuple[Layers, str | None]] = {
    "open water": ({}, None),
    "shoal": ({"DEPARE": ([SEA, PATCH], {"DRVAL1": [20.0, 1.0], "DRVAL2": [50.0, 2.0]})}, "shoal"),
    "unsurveyed": (
        {"DEPARE": ([SEA], {"DRVAL1": [20.0], "DRVAL2": [50.0]}), "UNSARE": ([PATCH], {"OBJNAM": ["x"]})}, "unsurveyed"
    ),
    "low bridge": ({"BRIDGE": ([ACROSS], {"VERCLR": [2.0], "CATBRG": ["1"]})}, "bridge"),
    "high bridge": ({"BRIDGE": ([ACROSS], {"VERCLR": [40.0], "CATBRG": ["1"]})}, None),
    "low cable": ({"CBLOHD": ([ACROSS], {"VERCSA": [2.0]})}, "cable"),
    "cable without a clearance": ({"CBLOHD": ([ACROSS], {"OBJNAM": ["x"]})}, "cable"),
    "high cable": ({"CBLOHD": ([ACROSS], {"VERCSA": [40.0]})}, None),
    "entry prohibited": ({"RESARE": ([PATCH], {"RESTRN": ["7"]})}, "restricted"),
    "no anchoring": ({"RESARE": ([PATCH], {"RESTRN": ["1"]})}, None),
    "a beacon in the track": ({"BCNLAT": ([shapely.Point(-4900.0, -5001.0)], {"OBJNAM": ["Post"]})}, "mark"),
    "a beacon beside it": ({"BCNLAT": ([shapely.Point(-4900.0, -5090.0)], {"OBJNAM": ["Post"]})}, None),
    "a rock beside the track": (
        {"UWTROC": ([shapely.Point(-4900.0, -5020.0)], {"VALSOU": [np.nan], "WATLEV": [3]})}, "rock"
    ),
    "a pile": ({"PILPNT": ([shapely.Point(-4900.0, -5000.0)], {"OBJNAM": ["x"]})}, "structure"),
    "a marine farm": ({"MARCUL": ([PATCH], {"OBJNAM": ["x"]})}, "marine farm"),
}  # fmt: skip


@pytest.mark.parametrize("name", CASES)
def test_one_answer(chart_with: ChartWith, boat: Boat, name: str) -> None:
    layers, kind = CASES[name]
    chart = chart_with(layers)
    leg, plan, trial = _leg(chart, boat), _plan(chart, boat), _trial(chart, boat)
    if kind is None:
        assert (leg, plan, trial) == ([], [], None)
        return
    assert trial is not None and len(leg) == len(plan) == 1
    assert plan[0][0] == trial[0] == kind
    # The first place of it: on its western edge, at the line across, or abeam of what stands beside.
    assert plan[0][1] == pytest.approx(trial[1], abs=2.0)
    assert f"{plan[0][1] / 1852:.2f} NM along it" in leg[0]


@pytest.mark.parametrize(("air_m", "draught_m"), [(1.4, 0.3), (6.0, 0.3), (1.4, 1.2), (6.0, 1.2)])
def test_the_same_boat_is_let_through_by_all_or_by_none(
    chart_with: ChartWith, boat: Boat, air_m: float, draught_m: float
) -> None:
    """A bridge of 2 m over a bank of 1.4 m: low and shoal-draught she passes, else she does not."""
    chart = chart_with({
        "BRIDGE": ([ACROSS], {"VERCLR": [2.0], "CATBRG": ["1"]}),
        "DEPARE": ([SEA, PATCH], {"DRVAL1": [20.0, 1.4], "DRVAL2": [50.0, 2.0]}),
    })  # fmt: skip
    hers = replace(boat, air_draught_m=air_m, draught_m=draught_m)
    passes = air_m < 1.5 and draught_m < 0.5
    answers = (_leg(chart, hers) == [], _plan(chart, hers) == [], _trial(chart, hers) is None)
    assert answers == (passes, passes, passes)
