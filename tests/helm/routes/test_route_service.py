"""Routes asked for at the helm: checked, kept whole or not at all, followed."""

from __future__ import annotations

import base64
import queue
import re
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
import shapely

from moonless.errors import InputError
from moonless.helm.process.events import Event, PlanNow, Reply
from moonless.helm.process.requests import Asked, RouteRequest, SetSight
from moonless.helm.routes.files import RouteFiles, check_name
from moonless.helm.routes.service import RouteService
from moonless.helm.web.controls import read_control
from moonless.passage.way.route import read_gpx
from moonless.reading.types import Own, Reading, Registration, SpeedAdvice
from moonless.scene.file import demo_folder, load_scene

PLACES = [(-38.0, -128.0), (-38.01, -128.0), (-38.01, -127.98)]
BOAT = SimpleNamespace(skipper=SimpleNamespace(night_limit=None))


def ask(what: str, **more: Any) -> Asked:
    request = read_control({"do": "route", "value": {"what": what, "token": 1, **more}})
    assert isinstance(request, RouteRequest)
    return Asked(5, request)


@pytest.mark.parametrize(
    "value",
    [
        None,
        {"what": "burn", "token": 1},
        {"what": "list"},
        {"what": "check", "token": 1, "points": [[0.0, 0.0]]},
        {"what": "check", "token": 1, "points": [[0.0, 0.0], [91.0, 0.0]]},
        {"what": "check", "token": 1, "points": [[0.0, 0.0], [float("nan"), 0.0]]},
        {"what": "way", "token": 1, "points": [[0.0, 0.0]] * 3},
        {"what": "save", "token": 1, "points": [[0.0, 0.0], [1.0, 0.0]], "name": "x"},
        {"what": "follow", "token": 1, "name": "x", "back": 1},
        {"what": "leg", "token": 1}, {"what": "leg", "token": 1, "leg": 0}, {"what": "leg", "token": 1, "leg": "2"},
    ],
)
def test_the_door_refuses_what_is_no_route(value: Any) -> None:
    with pytest.raises(InputError):
        read_control({"do": "route", "value": value})


@pytest.mark.parametrize("name", ["", "   ", "../out", "a/b", ".hidden", "x" * 41, "a\x00b", "~"])
def test_a_name_cannot_leave_the_folder(name: str) -> None:
    with pytest.raises(InputError):
        check_name(name)


def test_a_route_is_saved_whole_and_never_over_another(tmp_path: Path) -> None:
    files = RouteFiles(tmp_path / "routes")
    first = files.save("Home by night", PLACES)
    second = files.save("Home by night", PLACES[:2])
    assert (first.name, second.name) == ("Home by night.gpx", "Home by night 2.gpx")
    back = read_gpx(first)
    assert [(w.lat_deg, w.lon_deg) for w in back.waypoints] == PLACES
    assert [w.name for w in back.waypoints] == ["start", "turn 1", "end"]
    assert len(read_gpx(second).waypoints) == 2
    assert sorted(p.name for p in files.folder.iterdir()) == ["Home by night 2.gpx", "Home by night.gpx"]
    listed = {r["name"]: r for r in files.list()}
    assert listed["Home by night"]["points"] == 3
    files.remove("Home by night")
    with pytest.raises(InputError):
        files.path("Home by night")


def test_what_makes_no_route_leaves_no_file(tmp_path: Path) -> None:
    files = RouteFiles(tmp_path)
    with pytest.raises(InputError):
        files.save("twice", [PLACES[0], PLACES[0]])
    assert list(tmp_path.iterdir()) == []


def test_a_damaged_file_is_told_and_hides_no_other(tmp_path: Path) -> None:
    files = RouteFiles(tmp_path)
    files.save("good", PLACES)
    (tmp_path / "bad.gpx").write_text("<gpx", encoding="utf-8")
    listed = {r["name"]: r for r in files.list()}
    assert listed["good"]["problem"] is None
    assert "not GPX" in listed["bad"]["problem"]


class Heard:
    """What the service sent."""

    def __init__(self) -> None:
        self.events: queue.Queue[Event] = queue.Queue()

    def reply(self) -> dict[str, Any]:
        while True:
            event = self.events.get(timeout=30.0)
            if isinstance(event, Reply):
                assert event.asker == 5
                return dict(event.body)


def test_save_and_follow_then_stop(tmp_path: Path) -> None:
    heard = Heard()
    service = RouteService(lambda: None, BOAT, tmp_path, heard.events.put)
    assert not service.take(Asked(5, SetSight("unsure")))
    assert service.take(ask("save", points=[list(p) for p in PLACES], name="out", follow=True))
    answer = heard.reply()
    assert answer["name"] == "out" and answer["following"] == "out" and Path(answer["path"]).is_file()
    nothing = Registration(None, None, None, None, None)
    own = Own(-38.005, -128.0, 180.0, 8.0, 180.0)
    reading = Reading(10**18, own, (), (), None, (), None, None, nothing, SpeedAdvice(None, "not known"))
    assert service.at(reading)["now"]["leg"] == 1
    service.take(ask("follow", name="out", back=True))
    assert heard.reply()["following"] == "out, back"
    assert [p[2] for p in service.at(reading)["route"]] == ["end", "turn 1", "start"]
    # No chart, and so no plan: a leg's pictures cannot be had, and that is said.
    service.take(ask("leg", leg=1))
    assert "has no pictures" in heard.reply()["problem"]
    service.take(ask("stop"))
    assert heard.reply()["following"] is None
    service.take(ask("leg", leg=1))
    assert heard.reply()["problem"] == "no route is followed"
    assert service.at(reading)["route"] == []
    # Without a chart a check says so; it does not pass the route.
    service.take(ask("check", points=[list(p) for p in PLACES]))
    assert "no chart" in heard.reply()["problem"]
    assert not [e for e in heard.events.queue if isinstance(e, PlanNow)]


def test_a_leg_over_land_is_stopped_and_a_way_round_is_found() -> None:
    from moonless.chart.library import Chart
    from moonless.helm.routes.check import RouteChecker

    scene = load_scene(demo_folder() / "story.toml")
    chart = Chart.open(list(scene.waters.paths))
    checker = RouteChecker(chart, scene.boat)
    route = read_gpx(demo_folder() / "route.gpx")
    places = [(w.lat_deg, w.lon_deg) for w in route.waypoints]
    straight = checker.check([places[0], places[-1]])
    assert len(straight) == 1 and straight[0]["stops"], "from the first point to the last the demo's land lies between"
    assert all(-90 <= d["lat"] <= 90 for d in straight[0]["stops"] if d["lat"] is not None)
    way, notes = checker.way(places[0], places[1])
    assert len(way) >= 2 and all("was moved" in note for note in notes)
    legs = checker.check(way)
    assert not any("land" in d["say"] for leg in legs for d in leg["stops"])
    # Far from every chart nothing is passed either.
    far = checker.check([(0.0, 0.0), (0.0, 0.01)])
    assert far[0]["stops"][0]["say"].startswith("no chart")


def test_own_water_to_keep_out_of_stops_a_leg_and_is_gone_round(tmp_path: Path) -> None:
    from moonless.chart.library import Chart
    from moonless.chart.local_knowledge.knowledge import Knowledge
    from moonless.frames import LocalFrame
    from moonless.helm.routes.check import RouteChecker

    scene = load_scene(demo_folder() / "story.toml")
    chart = Chart.open(list(scene.waters.paths))
    route = read_gpx(demo_folder() / "route.gpx")
    a, b = ((w.lat_deg, w.lon_deg) for w in route.waypoints[:2])
    way, _ = RouteChecker(chart, scene.boat).way(a, b)
    # A box round the middle of the first leg of the way found without it.
    frame = LocalFrame((way[0][0] + way[1][0]) / 2, (way[0][1] + way[1][1]) / 2)
    lat, lon = frame.to_geographic(np.array([-60.0, 60.0]), np.array([-60.0, 60.0]))
    knowledge = Knowledge(tmp_path / "own.gpkg")
    knowledge.add_keep_out(shapely.box(lon[0], lat[0], lon[1], lat[1]), "eel nets", since_ns=0)
    checker = RouteChecker(chart, scene.boat, knowledge)
    assert any("eel nets" in d["say"] for d in checker.check([way[0], way[1]])[0]["stops"])
    round_it, _ = checker.way(a, b)
    assert not any("eel nets" in d["say"] for leg in checker.check(round_it) for d in leg["stops"])


def test_keep_outs_and_notes_come_with_the_answer(tmp_path: Path) -> None:
    from moonless.chart.library import Chart
    from moonless.chart.local_knowledge.knowledge import Knowledge

    scene = load_scene(demo_folder() / "story.toml")
    heard = Heard()
    knowledge = Knowledge(tmp_path / "own.gpkg")
    service = RouteService(
        lambda: Chart.open(list(scene.waters.paths)), scene.boat, tmp_path, heard.events.put, knowledge=knowledge
    )
    waypoints = read_gpx(demo_folder() / "route.gpx").waypoints
    places = [(w.lat_deg, w.lon_deg) for w in (waypoints[0], waypoints[-1])]
    everywhere = shapely.Point(places[0][1], places[0][0]).buffer(0.02)
    knowledge.add_keep_out(everywhere, "eel nets", since_ns=0)
    service.take(ask("way", points=[list(p) for p in places]))
    assert "eel nets" in heard.reply()["problem"]
    knowledge.remove(1)
    service.take(ask("way", points=[list(p) for p in places]))
    answer = heard.reply()
    assert len(answer["points"]) > 2
    assert any("keep to its starboard side" in note for note in answer["notes"])


def test_a_leg_is_sent_as_pictures_without_colours() -> None:
    from moonless.chart.library import Chart
    from moonless.helm.routes.leg_pictures import leg_pictures
    from moonless.passage.night import Night
    from moonless.passage.plan import survey
    from moonless.passage.way.route import Route

    scene = load_scene(demo_folder() / "story.toml")
    chart = Chart.open(list(scene.waters.paths))
    # From the fairway into the dredged reach; then a leg where no chart is.
    marked = read_gpx(demo_folder() / "route.gpx").waypoints[4:7]
    (first, second) = survey(chart, Route("in", marked), scene.boat, Night())
    told = leg_pictures(second, scene.boat, Night())
    # No colour of its own: the screen's ink is the only one.
    assert told["number"] == 2 and told["chart"].startswith("<svg")
    assert set(re.findall(r'(?:fill|stroke|style)="([^"]*)"', told["chart"])) <= {"url(#nochart)"}
    depths = told["depths"]
    assert depths["along_m"][0] == 0.0 and depths["along_m"][-1] == pytest.approx(second.leg.length_m, abs=0.5)
    # The demo's reach is charted as dredged; draught and margin of its boat are what she needs.
    least = {f.number("DRVAL1") for f in second.stretch.local.features("DRGARE", "DEPARE")}
    assert set(depths["least_m"]) <= least | {None} and any(d is not None for d in depths["least_m"])
    assert depths["need_m"] == pytest.approx(scene.boat.draught_m + scene.boat.skipper.depth_margin_m, abs=0.05)
    scope = told["scope"]
    levels = np.frombuffer(base64.b64decode(scope["levels"]), dtype=np.uint8)
    assert levels.size == scope["size"] ** 2 and levels.max() > 100 > np.median(levels)
    assert any("Lampwick Reach" in mark for mark in scope["marks"]), "the beacons of the reach are what it should show"
    assert leg_pictures(replace(first, stretch=None), scene.boat, Night()) == {"number": 1}
