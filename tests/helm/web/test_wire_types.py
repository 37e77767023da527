"""The types of what the helm tells: the pages' TypeScript is made from them, and what is told is what they say."""

from __future__ import annotations

import dataclasses
import importlib.util
import json
from pathlib import Path
from types import ModuleType
from typing import Any

import msgspec
import pytest
from helm_made import MadeSource

from moonless.boat.file import default_boat
from moonless.errors import NoCoverage
from moonless.helm.bodies.routes import LegCheckBody, PlanNowBody, ReplyBody
from moonless.helm.bodies.setup import CoverageFoundBody, HeardBody, QuestionBody
from moonless.helm.bodies.sheet import (
    AffairsBody,
    BoatFactsBody,
    CallBody,
    ChartPlaceBody,
    HelloBody,
    ReadingBody,
    TrialBody,
)
from moonless.helm.hub import Hub
from moonless.helm.routes.check import RouteChecker
from moonless.helm.routes.service import NO_ROUTE
from moonless.helm.setup.coverage import Covered, coverage_body
from moonless.helm.setup.heard import heard_body
from moonless.helm.setup.questions import asked
from moonless.helm.shown import ShownPicture
from moonless.helm.web.boat_json import boat_json
from moonless.helm.web.reading_frame import NumberedCalls, reading_overdue
from moonless.reading.line import ReadingLine
from moonless.reading.types import (
    Alert,
    Call,
    Change,
    Instruction,
    Manoeuvres,
    RefusedChange,
)
from moonless.watch.link_survey.discovery import LinkDiscovery
from moonless.wire.links import ReceiptClock

ROOT = Path(__file__).parents[3]


def wire(body: object) -> Any:
    """Return a body as a screen reads it."""
    return json.loads(json.dumps(body, allow_nan=False))


def hold(body: object, kind: Any) -> None:
    """Fail unless a body is of its type: everything needed is there, nothing is of another kind, nothing is beside."""
    read = wire(body)
    assert wire(msgspec.convert(read, kind, dec_hook=lambda _, value: value)) == read


@pytest.fixture(scope="module")
def make_types() -> ModuleType:
    spec = importlib.util.spec_from_file_location("make_types", ROOT / "web" / "make_types.py")
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_the_pages_types_are_made_from_ours(make_types: ModuleType) -> None:
    for file in make_types.FILES:
        assert file.path.read_text(encoding="utf-8") == make_types.made(file), (
            f"{file.path.name} is not what its Python says: run python web/make_types.py"
        )


def full_reading() -> Any:
    """A turn with everything in it that a reading may have."""
    turn = MadeSource().turn()
    change = Change(30.0, 90.0, 8.0, 300.0, 4, "turn", True)
    return dataclasses.replace(
        turn,
        depth_below_surface_m=6.3,
        reading=dataclasses.replace(
            turn.reading,
            alerts=(Alert("echo 9", 4, "unacknowledged", "x"),),
            calls=(Call("echo 9", "vessel", 4, "x", 9),),
            instruction=Instruction("stop", None, 0.0, "STOP", "Vessel, dead ahead.", 9),
            manoeuvres=Manoeuvres(200.0, (4,), change, None, (RefusedChange(20.0, 80.0, 8.0, 210.0, 4, "shoal"),), "x"),
        ),
    )


def test_a_line_of_readings_is_of_its_type() -> None:
    hold(full_reading().reading.as_dict(), ReadingLine)


def test_a_reading_on_the_sheet_is_of_its_type_and_stays_so_when_withdrawn() -> None:
    hub = Hub(MadeSource())
    hub.take(full_reading())
    body = hub.picture.reading
    assert body is not None and {"bow", "plan", "own_track", "standing", "alerts"} <= body.keys()
    hold(body, ReadingBody)
    hold(reading_overdue(body), ReadingBody)


def test_what_else_the_sheet_is_told_is_of_its_type() -> None:
    source = MadeSource()
    hub = Hub(source)
    hold(hub.hello_body() | {"boat": boat_json(default_boat())}, HelloBody)
    hold(boat_json(default_boat()), BoatFactsBody)
    hold(hub.status_body(), AffairsBody)
    hold(hub.chart.body(), ChartPlaceBody)
    hold(NumberedCalls().own_call("helm fog signal", 2, "Sound."), CallBody)
    hold(NO_ROUTE, PlanNowBody)
    hub.trials.touch(3)
    hub.trials.add(3, {"say": "no"})
    hold(hub.trials.of(3), TrialBody)
    assert ShownPicture().reading is None


def test_what_the_set_up_is_told_is_of_its_type() -> None:
    hold(heard_body(LinkDiscovery(ReceiptClock()), {}, 0), HeardBody)
    for question in asked({}, "metres"):
        hold(question, QuestionBody)
    hold(coverage_body(Covered((), ("no chart",)), None, 0), CoverageFoundBody)


def test_a_checked_leg_is_of_its_type() -> None:
    class Nowhere:
        def around(self, *_: object, **__: object) -> object:
            raise NoCoverage("none")

    (leg,) = RouteChecker(Nowhere(), default_boat()).check([(0.0, 0.0), (0.1, 0.0)])
    hold(leg, LegCheckBody)
    hold({"legs": [leg], "about": "check", "token": 1}, ReplyBody)


def test_what_is_not_of_its_type_is_found() -> None:
    body = wire(full_reading().reading.as_dict())
    for wrong in ({"stopping_m": "far"}, {"time": None}, {"more": 1}, {"echoes": [{"id": 1}]}):
        with pytest.raises((msgspec.ValidationError, AssertionError)):
            hold(body | wrong, ReadingLine)
