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

from moonless.boat.file import read_boat
from moonless.errors import InputError, MoonlessError
from moonless.helm.process.live_job import next_free
from moonless.helm.setup.folders import look
from moonless.helm.setup.launch import NoSource, live_source
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
        for _ in range(1200):
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
            for _ in range(3000):
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
        for _ in range(3000):
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
