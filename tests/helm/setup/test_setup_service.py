"""The set-up as the server keeps it: folders confined, answers written at once, coverage told, a start at the end."""

from __future__ import annotations

import asyncio
import json
import os
import shutil
import socket
from collections.abc import Callable, Coroutine
from pathlib import Path
from typing import Any

import pytest
import shapely

from moonless.boat.file import read_boat
from moonless.boat.keys import keys_of
from moonless.errors import InputError, MoonlessError
from moonless.helm.setup import coverage
from moonless.helm.setup.folders import count_cells, default_roots, look
from moonless.helm.setup.launch import NoSource, live_source, next_free
from moonless.helm.setup.questions import ASSUMED, QUESTIONS, asked, change_for, lights_asked
from moonless.helm.setup.service import SetupService
from moonless.helm.setup.settings import HelmSettings, read_settings
from moonless.helm.web.protocol import FanFrame
from moonless.scene.file import demo_folder
from moonless.units import NS_PER_S
from moonless.watch.link_survey.discovery import LinkDiscovery
from moonless.wire.links import ReceiptClock
from moonless.wire.nmea_write import write_hdg, write_hdt

NOW_NS = 1_930_000_000 * NS_PER_S  # 2031-02-27


class FakeHub:
    """A hub that remembers what it was told."""

    def __init__(self) -> None:
        self.source: Any = NoSource()
        self.heard: list[Any] = []
        self.fans: list[list[FanFrame]] = []
        self.without: tuple[str, ...] = ()

    def change_source(self, source: Any, without: tuple[str, ...]) -> None:
        self.source, self.without = source, without

    def show_heard(self, body: Any, fans: list[Any]) -> None:
        self.heard.append(body)
        self.fans.append(fans)


def do(service: SetupService, *requests: Any, hub: FakeHub | None = None) -> Any:
    async def go() -> Any:
        last: Any = {}
        for request in requests:
            last = await service.do(request, hub or FakeHub())
        return last

    return asyncio.run(go())


# ---- questions ----------------------------------------------------------------------------------------------------


def test_every_question_stands_on_a_key_and_says_one_plain_sentence() -> None:
    for question in QUESTIONS:
        table, _, name = question.key.partition(".")
        assert question.ask.endswith("?") and question.ask.count("?") == 1 and len(question.ask) < 70
        if question.key in ("light", "screen.length_unit", "boat.stopping", "boat.fuel"):
            continue
        assert name in keys_of(table), question.key
    assert len({question.key for question in QUESTIONS}) == len(QUESTIONS)


def test_nothing_answered_is_said_to_be_default_or_unknown() -> None:
    by_key = {one["key"]: one for one in asked({}, "metres")}
    assert by_key["boat.length_m"]["state"] == "unknown" and by_key["boat.length_m"]["is_needed"]
    assert by_key["skipper.keep_off_m"]["state"] == "default" and by_key["skipper.keep_off_m"]["default"] == 463.0
    assert by_key["skipper.night_limit_kn"]["state"] == "unknown"
    # The radar's figures stand at those of its kind, in the file's units.
    assert by_key["radar.peak_power_w"]["default"] == 4000.0 and by_key["radar.rotation_rpm"]["default"] == 24.0
    other = {one["key"]: one for one in asked({"radar.set": "open array"}, "metres")}
    assert other["radar.peak_power_w"]["default"] == 10000.0
    assert other["radar.beam_horizontal_deg"]["default"] == pytest.approx(1.9)


def test_what_nobody_knows_is_assumed_and_named_and_an_answer_takes_that_back() -> None:
    changes = change_for("boat.draught_m", None, {})
    assert changes == {"boat.draught_m": ASSUMED["boat.draught_m"], "boat.assumed": ["draught_m"]}
    changes = change_for("boat.draught_m", 0.8, {"boat.assumed": ["beam_m", "draught_m"]})
    assert changes == {"boat.draught_m": 0.8, "boat.assumed": ["beam_m"]}


def test_the_smallest_thing_brings_its_height() -> None:
    assert change_for("skipper.smallest_rcs_m2", 0.5, {})["skipper.smallest_height_m"] == 0.5


def test_what_is_not_asked_cannot_be_answered() -> None:
    with pytest.raises(InputError, match="nothing that is asked"):
        change_for("boat.assumed", ["x"], {})


def test_the_lights_asked_are_those_of_the_rules() -> None:
    # Rule 23(a): masthead, sidelights, sternlight; 23(d) lets a boat under 12 m show one all-round white instead.
    asked_small = {(row["role"], row["colour"]) for row in lights_asked(9.0)}
    assert {("masthead", "white"), ("port", "red"), ("starboard", "green"), ("stern", "white")} <= asked_small
    assert ("all-round", "white") in asked_small


# ---- folders ------------------------------------------------------------------------------------------------------


@pytest.fixture
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    home = tmp_path / "home"
    (home / "charts" / "north").mkdir(parents=True)
    (home / ".secret").mkdir()
    (home / "charts" / "north" / "XX5MADE1.000").write_bytes(b"made")
    (home / "charts" / "north" / "notes.txt").write_text("mine alone")
    (tmp_path / "outside").mkdir()
    (home / "way out").symlink_to(tmp_path / "outside")
    monkeypatch.setenv("HOME", str(home))
    return home


def test_folders_tell_names_and_cells_and_nothing_else(home: Path) -> None:
    told = look(home / "charts" / "north", [home])
    assert told["cells"] == ["XX5MADE1"] and "notes" not in str(told) and "mine alone" not in str(told)
    top = look(None, [home])
    assert [(f["name"], f["cells"]) for f in top["folders"]] == [("charts", 1)]
    assert top["up"] is None and top["below"] == 1


@pytest.mark.parametrize("path", ["/etc", "/", "{home}/../outside", "{home}/way out", "{home}/charts/../../outside"])
def test_nothing_outside_is_looked_into(home: Path, path: str) -> None:
    with pytest.raises(InputError, match="only your own folders"):
        look(Path(path.format(home=home)), [home])


def test_a_folder_that_is_not_there_is_one_line(home: Path) -> None:
    with pytest.raises(InputError, match="there is no such folder"):
        look(home / "chart", [home])


def test_the_roots_begin_at_home(home: Path) -> None:
    assert default_roots()[0] == home


def test_counting_stops_in_time(tmp_path: Path) -> None:
    deep = tmp_path
    for k in range(9):
        deep = deep / str(k)
    deep.mkdir(parents=True)
    (deep / "A.000").touch()
    assert count_cells(tmp_path) == (0, False)


# ---- coverage -----------------------------------------------------------------------------------------------------


def cell(name: str, scale: int, issued: str, box: tuple[float, float, float, float]) -> Any:
    import json

    return {
        "name": name, "scale": scale, "edition": 3, "update": 2, "issued": issued, "not_for_navigation": True,
        "coverage": json.loads(shapely.to_geojson(shapely.box(*box))),
    }  # fmt: skip


LARGE = cell("MADE5", 12_000, "2031-01-10", (-128.05, -38.05, -127.95, -37.95))
SMALL = cell("MADE3", 90_000, "2019-05-01", (-129.0, -39.0, -127.96, -37.0))


def test_age_overlap_and_navigation_are_said() -> None:
    told = coverage.coverage_body(coverage.Covered((LARGE, SMALL), ()), None, NOW_NS)
    lines = " ".join(told["lines"])
    assert "One cell is more than a year old; MADE3 11 years" in lines
    assert "Not for navigation" in lines
    assert "MADE5 (1:12 000) lies over MADE3 (1:90 000): the larger scale is used" in lines
    assert [c["is_old"] for c in told["cells"]] == [False, True]
    assert told["cells"][0]["age_days"] == 48  # 10 January to 27 February


def test_where_the_charts_end_near_the_boat_is_said() -> None:
    found = coverage.Covered((LARGE,), ())
    inside = coverage.coverage_body(found, (-38.0, -128.0), NOW_NS)["lines"][-1]
    # The cell's edge lies 0.05 degrees north: 3 NM.  East it is 0.05 deg * cos 38 = 2.4 NM: the nearest.
    assert "The charts end 2.4 miles to the" in inside and "every way" in inside
    beside = coverage.coverage_body(found, (-38.0, -127.9), NOW_NS)["lines"][-1]
    assert "No chart covers the boat" in beside and "to the west" in beside and "2.4 miles" in beside
    far = coverage.coverage_body(found, (0.0, 0.0), NOW_NS)["lines"][-1]
    assert "nor anything within 60 miles" in far
    big = coverage.coverage_body(coverage.Covered((SMALL,), ()), (-38.0, -128.5), NOW_NS)["lines"][-1]
    assert big == "The water about the boat is covered for 5 miles every way."
    assert "No position yet" in coverage.coverage_body(found, None, NOW_NS)["lines"][-1]


def test_a_cell_without_a_date_is_called_old() -> None:
    told = coverage.coverage_body(coverage.Covered((cell("M", 1000, "", (0, 0, 1, 1)),), ()), None, NOW_NS)
    assert told["cells"][0]["is_old"] and "no date of issue is given" in " ".join(told["lines"])


# ---- the service -----------------------------------------------------------------------------------------------------


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "config" / "helm.toml"


def test_answers_are_written_at_once(path: Path) -> None:
    service = SetupService(path, HelmSettings())
    told = do(service, {"do": "answer", "key": "boat.length_m", "value": 9.2})
    boat = read_boat(path.parent / "boat.toml")
    assert boat.length_m == 9.2 and boat.name == "the boat"
    assert boat.assumed == ("beam_m", "draught_m", "air_draught_m")
    assert read_settings(path).boat == "boat.toml"
    by_key = {one["key"]: one for one in told["questions"]}
    assert by_key["boat.length_m"]["state"] == "given" and by_key["boat.beam_m"]["state"] == "assumed"
    do(
        service,
        {"do": "answer", "key": "boat.beam_m", "value": 3.1},
        {"do": "answer", "key": "boat.name", "value": "Plover"},
    )
    boat = read_boat(path.parent / "boat.toml")
    assert boat.name == "Plover" and boat.assumed == ("draught_m", "air_draught_m")
    do(service, {"do": "answer", "key": "boat.beam_m", "value": None})
    assert read_boat(path.parent / "boat.toml").assumed == ("draught_m", "air_draught_m", "beam_m")


def test_a_wrong_answer_changes_nothing(path: Path) -> None:
    service = SetupService(path, HelmSettings())
    do(service, {"do": "answer", "key": "boat.length_m", "value": 9.2})
    before = (path.parent / "boat.toml").read_text()
    for value in (900.0, "long", [1]):
        with pytest.raises(InputError, match=r"boat\.length_m"):
            do(service, {"do": "answer", "key": "boat.length_m", "value": value})
    assert (path.parent / "boat.toml").read_text() == before


def test_links_and_a_choice_of_source_are_written(path: Path) -> None:
    service = SetupService(path, HelmSettings())
    told = do(
        service,
        {
            "do": "links", "radar": "udp://0.0.0.0:8600", "nmea": ["udp://0.0.0.0:10110"],
            "prefer": {"heading": {"link": "udp://0.0.0.0:10110", "talker": "HC"},
                       "position": {"link": "udp://0.0.0.0:9999", "talker": "GP"}},
        },
    )  # fmt: skip
    # A source on a link that is not read is no choice.
    assert told["settings"]["prefer"] == {"heading": {"link": "udp://0.0.0.0:10110", "talker": "HC"}}
    assert read_settings(path) == HelmSettings(
        None, (), "udp://0.0.0.0:8600", ("udp://0.0.0.0:10110",), {"heading": ("udp://0.0.0.0:10110", "HC")}
    )


@pytest.mark.parametrize(
    ("request_", "says"),
    [
        ({"do": "dance"}, "nothing that the set-up does"),
        ({"do": "links", "radar": "ftp://x", "nmea": []}, "not known"),
        ({"do": "links", "radar": 3, "nmea": []}, "links are"),
        ({"do": "links", "radar": None, "nmea": [], "prefer": {"depth": {}}}, "nothing whose source is chosen"),
        ({"do": "folder", "path": "/etc"}, "only your own folders"),
        ({"do": "charts", "folders": ["/etc"]}, "only your own folders"),
        ({"do": "add", "text": "8600"}, "nothing listens now"),
        ({"do": "answer", "key": "boat.wings", "value": 2}, "nothing that is asked"),
        ({"do": "start"}, "nothing to watch"),
    ],
)
def test_what_cannot_be_done_is_one_line(path: Path, home: Path, request_: Any, says: str) -> None:
    with pytest.raises(InputError, match=says):
        do(SetupService(path, HelmSettings()), request_)
    assert not path.exists()


def test_a_start_hands_the_hub_a_live_watch(path: Path) -> None:
    hub = FakeHub()
    service = SetupService(path, HelmSettings())
    do(service, {"do": "links", "radar": None, "nmea": ["udp://127.0.0.1:1"], "prefer": {}}, {"do": "start"}, hub=hub)
    assert hub.source.kind == "live"
    assert do(service, {"do": "tell"})["is_as_running"] is True


def test_a_watch_begun_anew_does_not_write_over_its_recording(tmp_path: Path) -> None:
    assert next_free(tmp_path / "run.mcap") == tmp_path / "run.mcap"
    (tmp_path / "run.mcap").touch()
    (tmp_path / "run-2.mcap").touch()
    assert next_free(tmp_path / "run.mcap") == tmp_path / "run-3.mcap"


def test_charts_that_are_not_there_do_not_cost_the_watch(path: Path) -> None:
    source, without = live_source(path, HelmSettings(charts=("/nowhere/charts",), nmea=("udp://127.0.0.1:1",)))
    assert source.kind == "live" and without == ("the charts of /nowhere/charts are not there",)


def test_charts_chosen_are_read_and_their_coverage_told(path: Path, home: Path) -> None:
    (home / "charts" / "demo").mkdir()
    shutil.copy(demo_folder() / "waters.gpkg", home / "charts" / "demo")
    wanted = {"do": "charts", "folders": [str(home / "charts" / "demo")]}

    async def covered(service: SetupService, first: Any) -> Any:
        hub = FakeHub()
        await service.do(first, hub)
        for _ in range(400):
            told = await service.do({"do": "coverage"}, hub)
            if not told["is_reading"]:
                await service.close(hub)
                return told
            await asyncio.sleep(0.1)
        raise AssertionError("still reading")

    for service, first in (
        (SetupService(path, HelmSettings()), wanted),
        # Begun again with what was kept: it is read when it is looked at.
        (SetupService(path, HelmSettings(charts=(str(home / "charts" / "demo"),))), {"do": "coverage"}),
    ):
        found = asyncio.run(covered(service, first))["found"]
        (one,) = found["cells"]
        assert (one["name"], one["scale"]) == ("waters", 12_000) and one["coverage"]["type"].endswith("Polygon")
        assert found["warnings"] == []
    assert read_settings(path).charts == (str(home / "charts" / "demo"),)


def test_the_bow_offset_is_kept_in_the_boat_file_or_said_not_to_be(path: Path) -> None:
    service = SetupService(path, HelmSettings())
    assert "not kept" in service.keep_bow(1.5, "")
    do(service, {"do": "answer", "key": "boat.length_m", "value": 9.2})
    assert service.keep_bow(1.5, "") == "applied, and kept in boat.toml"
    assert read_boat(path.parent / "boat.toml").radar.bow_offset_rad == pytest.approx(0.0261799, abs=1e-6)


def listening(service: SetupService, hub: FakeHub, work: Callable[[], Coroutine[Any, Any, None]]) -> None:
    async def go() -> None:
        service.keep_listening(hub)
        try:
            await work()
        finally:
            await service.close(hub)

    asyncio.run(go())


def test_what_is_heard_goes_to_the_screens_with_its_conflicts(path: Path) -> None:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    link = f"udp://0.0.0.0:{port}"

    def discovery(clock: ReceiptClock, *, watched: Any) -> LinkDiscovery:
        return LinkDiscovery(clock, usual=[link], devices=list, watched=watched)

    hub, service = FakeHub(), SetupService(path, HelmSettings(), make_discovery=discovery)

    async def work() -> None:
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sock:
            for _ in range(100):
                for text in (write_hdt(0.5), write_hdg(0.4)):
                    sock.sendto(text.encode() + b"\r\n", ("127.0.0.1", port))
                await asyncio.sleep(0.02)
                if hub.heard and hub.heard[-1]["things"]:
                    return
        raise AssertionError("nothing heard")

    listening(service, hub, work)
    told = hub.heard[-1]
    (place,) = told["places"]
    assert place["link"] == link and place["carries"] == "nmea" and place["ticker"]
    heading = next(thing for thing in told["things"] if thing["what"] == "heading")
    assert heading["is_conflict"] is False or heading["others"]
    # The compass gives no heading before a position is known, so the true heading stands alone here.
    assert heading["taken"]["kind"] == "HDT"


def test_ports_are_let_go_before_the_watch_begins(path: Path) -> None:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    link = f"udp://0.0.0.0:{port}"

    def discovery(clock: ReceiptClock, *, watched: Any) -> LinkDiscovery:
        return LinkDiscovery(clock, usual=[link], devices=list, watched=watched)

    hub = FakeHub()
    service = SetupService(path, HelmSettings(nmea=(link,)), make_discovery=discovery)

    async def work() -> None:
        for _ in range(100):
            await asyncio.sleep(0.02)
            if hub.heard and hub.heard[-1]["places"]:
                break
        await service.do({"do": "start"}, hub)
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sock:
            sock.bind(("0.0.0.0", port))

    listening(service, hub, work)
    assert hub.source.kind == "live"
    assert os.path.exists(path) is False  # a start writes nothing that was not chosen


# ---- links that a screen may name ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("link", "says"),
    [
        ("/etc/passwd", "a file is no link that a screen may choose"),
        ("{home}/charts/north/notes.txt", "a file is no link that a screen may choose"),
        ("serial:/etc/passwd", "no serial device"),
        ("serial:{home}/charts/north/notes.txt", "no serial device"),
        ("serial:/dev/../etc/passwd", "no serial device"),
        ("serial:/dev/shm", "no serial device"),
        ("picture:/etc/passwd", "only cameras, the screen"),
        ("picture:{home}/way out", "only cameras, the screen"),
        ("picture:http://192.0.2.1/x?range=1", "only cameras, the screen"),
    ],
)
@pytest.mark.parametrize("place", ["radar", "nmea"])
def test_what_lies_on_the_disk_is_no_link_for_a_screen(
    path: Path, home: Path, monkeypatch: pytest.MonkeyPatch, link: str, says: str, place: str
) -> None:
    monkeypatch.chdir("/")
    named = link.format(home=home)
    asking = {"do": "links", "radar": named if place == "radar" else None, "nmea": [named] if place == "nmea" else []}
    with pytest.raises(InputError, match=says):
        do(SetupService(path, HelmSettings()), asking)
    assert not path.exists()


@pytest.mark.parametrize(
    "link", ["serial:/dev/ttyNOTYET?baud=38400", "serial:/dev/tty", "can:can0", "picture:screen", "picture:/dev/video0"]
)
def test_ports_devices_and_cameras_are(path: Path, home: Path, link: str) -> None:
    do(SetupService(path, HelmSettings()), {"do": "links", "radar": None, "nmea": [link]})
    assert read_settings(path).nmea == (link,)


def test_a_file_that_was_named_at_this_computer_stays(path: Path, home: Path) -> None:
    service = SetupService(path, HelmSettings(radar="/media/card/run.cat240"))
    do(service, {"do": "links", "radar": "/media/card/run.cat240", "nmea": ["udp://0.0.0.0:10110"]})
    assert read_settings(path).radar == "/media/card/run.cat240"


def test_a_folder_whose_name_is_no_utf_8_is_counted_and_the_rest_is_told(home: Path) -> None:
    os.mkdir(os.fsencode(home) + b"/caf\xe9")  # Latin-1, as an old memory stick has it
    told = look(None, [home])
    json.dumps(told, ensure_ascii=False).encode()
    assert told["more"] == 1 and [f["name"] for f in told["folders"]] == ["charts"]
    with pytest.raises(InputError, match="not UTF-8"):
        look(Path(os.fsdecode(os.fsencode(home) + b"/caf\xe9")), [home])


def test_what_the_set_up_writes_is_for_its_owner_alone(path: Path) -> None:
    do(SetupService(path, HelmSettings()), {"do": "answer", "key": "boat.length_m", "value": 9.2})
    assert {p.stat().st_mode & 0o777 for p in (path, path.parent / "boat.toml")} == {0o600}
    assert path.parent.stat().st_mode & 0o777 == 0o700


def test_tide_stations_are_offered_taken_and_kept(path: Path, home: Path) -> None:
    station = {
        "kind": "tide", "id": "1", "name": "Pier", "latitude": -38.0, "longitude": -128.0,
        "harmonic_constituents": [{"name": "M2", "amplitude": 1.0, "phase": 0.0}],
    }  # fmt: skip
    (home / "tides").mkdir()
    (home / "tides" / "stations.json").write_text(json.dumps([station]), encoding="utf-8")
    (home / "tides" / "other.json").write_text("[1]", encoding="utf-8")
    told = look(home / "tides", [home])
    assert [one["name"] for one in told["stations"]] == ["other.json", "stations.json"]
    service = SetupService(path, HelmSettings())
    wanted = str(home / "tides" / "stations.json")
    assert do(service, {"do": "tides", "files": [wanted]})["settings"]["tides"] == [wanted]
    assert read_settings(path).tides == (wanted,)
    for wrong, phrase in (
        ([str(home / "tides" / "other.json")], "other.json: holds no tide"),
        (["/etc/passwd"], "only your own folders"),
        ("all", "a list of texts"),
    ):
        with pytest.raises(MoonlessError, match=phrase) as caught:
            do(service, {"do": "tides", "files": wrong})
        assert "\n" not in str(caught.value)
        assert read_settings(path).tides == (wanted,)
    assert do(service, {"do": "tides", "files": []})["settings"]["tides"] == []
