"""The plan made ashore, carried to the helm as one file: route, weather, tides and margins arrive whole."""

from __future__ import annotations

import json
import shutil
from dataclasses import replace
from pathlib import Path

import pytest

from moonless.boat.file import default_boat
from moonless.boat.types import Boat
from moonless.chart.library import Chart
from moonless.cli import main
from moonless.errors import SourceError
from moonless.helm.process.events import Event
from moonless.helm.routes.service import RouteService
from moonless.passage.brief.carried import carried_dict, read_carried
from moonless.passage.brief.record import plan_dict
from moonless.passage.night import Night
from moonless.passage.plan import make_plan
from moonless.passage.way.route import Route, Waypoint
from moonless.sea.stations import read_stations
from moonless.sea.tide import tide_between

ROUTE = Route("bay", (Waypoint("A", 38.95, -76.42), Waypoint("B", 38.87, -76.40)))
NIGHT = Night(0.4, 3704.0, 0.8, 7.0, "UTC", (Waypoint("mill", 38.9, -76.5),), 6.0, 240.0, 2.0)


def _write(path: Path, boat: Boat, tides: list[Path], chart: Chart) -> Path:
    plan = make_plan(chart, ROUTE, boat, 1.93e9, NIGHT, events=False)
    path.write_text(json.dumps({**plan_dict(plan), "carry": carried_dict(boat, NIGHT, ROUTE, tides)}))
    return path


def test_route_weather_and_margins_arrive_whole(made_chart: Chart, tmp_path: Path) -> None:
    careful = replace(default_boat(), skipper=replace(default_boat().skipper, depth_margin_m=1.2, keep_off_m=200.0))
    found = read_carried(_write(tmp_path / "plan.json", careful, [], made_chart))
    assert (found.route, found.night, found.stations) == (ROUTE, NIGHT, None)
    # Of both margins the more careful holds: the one ashore for the depth, the helm's own for the berth.
    own = found.boat(default_boat()).skipper
    assert (own.depth_margin_m, own.keep_off_m) == (1.2, default_boat().skipper.keep_off_m)


@pytest.mark.data
def test_the_tides_arrive_and_say_the_same(data_dir: Path, made_chart: Chart, tmp_path: Path) -> None:
    stations = tmp_path / "stations.json"
    shutil.copyfile(data_dir / "tides" / "chesapeake.json", stations)
    found = read_carried(_write(tmp_path / "plan.json", default_boat(), [stations], made_chart))
    assert found.stations is not None
    whole = read_stations([stations])
    for time_s in (1.93e9, 1.93e9 + 10_000.0):
        ashore, aboard = (float(tide_between(s, 38.9, -76.41).heights([time_s])[0]) for s in (whole, found.stations))
        assert ashore == pytest.approx(aboard, abs=1e-9)


def test_the_helm_follows_it(made_chart: Chart, tmp_path: Path) -> None:
    sent: list[Event] = []
    path = _write(tmp_path / "plan.json", default_boat(), [], made_chart)
    service = RouteService(lambda: None, default_boat(), tmp_path / "routes", sent.append, path)
    assert service.carried is not None and service.carried.night == NIGHT
    assert [tuple(p[:2]) for p in service._plan._points] == [(38.95, -76.42), (38.87, -76.40)]
    assert service._plan._night == NIGHT


@pytest.mark.parametrize(
    ("text", "phrase"),
    [
        ("{", "is not JSON"),
        ("[]", "no plan"),
        ("{}", "it lacks 'carry'"),
        ('{"carry": {"night": {"wave_height_m": 500, "glows": []}}}', "it lacks 'route'"),
    ],
)
def test_what_is_no_plan_is_refused_in_one_line(
    text: str, phrase: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "plan.json"
    path.write_text(text)
    with pytest.raises(SourceError, match=phrase):
        read_carried(path)
    with pytest.raises(SystemExit) as leaving:
        main(["helm", "--nmea", "udp://127.0.0.1:9955", "--route", str(path), "--port", "0"])
    said = capsys.readouterr().err.strip().splitlines()
    assert leaving.value.code == 2 and len(said) == 1 and "plan.json" in said[0]


def test_weather_that_cannot_be_is_refused_in_the_file_too(made_chart: Chart, tmp_path: Path) -> None:
    path = _write(tmp_path / "plan.json", default_boat(), [], made_chart)
    body = json.loads(path.read_text())
    body["carry"]["night"]["wave_height_m"] = 500.0
    path.write_text(json.dumps(body))
    with pytest.raises(SourceError, match="wave height 500 is not between"):
        read_carried(path)


def test_station_files_that_are_none_are_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "s.json").write_text("{}")
    with pytest.raises(SystemExit) as leaving:
        main(["helm", "--nmea", "udp://127.0.0.1:9955", "--tides", str(tmp_path / "s.json"), "--port", "0"])
    assert leaving.value.code == 2 and "not a list of station records" in capsys.readouterr().err
