"""Wrong input to every command: one plain line on standard error, exit 2, and nothing written."""

from __future__ import annotations

import random
import shutil
import socket
from importlib.resources import files
from pathlib import Path

import pytest

from moonless.cli import main

DEMO = Path(str(files("moonless"))) / "data" / "demo"
WATERS = str(DEMO / "waters.gpkg")
PLAN = ["plan", "ok.gpx", "--chart", WATERS, "--boat", "ok.toml", "--depart", "2031-03-02T19:00", "--out", "b.html"]
PREDICT = ["predict", "--chart", WATERS, "--at", "10,-150", "--heading", "0", "--range", "1", "--png", "p"]
KINDS = ("toml", "gpkg", "000", "gpx", "json", "mcap", "cat240", "nmea")
BOAT = """
[boat]
name = "Test"
length_m = 9.0
beam_m = 3.0
draught_m = 0.9
air_draught_m = 3.5
eye_height_m = 2.2
"""


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder of what is no chart, no boat, no route and no recording, under every name."""
    chance = random.Random(5)
    odd = {"junk": chance.randbytes(3000), "empty": b"", "zeros": bytes(4096), "text": b"hello = = [\nworld"}
    for kind in KINDS:
        for name, data in odd.items():
            (tmp_path / f"{name}.{kind}").write_bytes(data)
    whole = (DEMO / "waters.gpkg").read_bytes()
    (tmp_path / "cut.gpkg").write_bytes(whole[: len(whole) // 2])
    (tmp_path / "folder").mkdir()
    (tmp_path / "broken").symlink_to("nowhere")
    shutil.copy(DEMO / "route.gpx", tmp_path / "ok.gpx")
    (tmp_path / "ok.toml").write_text(BOAT)
    (tmp_path / "ok.nmea").write_text("")
    (tmp_path / "none.json").write_text('[{"kind": "tide"}]')
    monkeypatch.chdir(tmp_path)
    return tmp_path


def _refused(argv: list[str], here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    before = {(path, path.stat().st_mtime_ns) for path in here.rglob("*") if path.exists()}
    with pytest.raises(SystemExit) as leaving:
        main(argv)
    said = capsys.readouterr().err.strip().splitlines()
    assert leaving.value.code == 2, (argv, said)
    # Progress may be told before; the refusal itself is the last line, and names the program.
    assert said and said[-1].startswith("moonless: ") and sum(line.startswith("moonless: ") for line in said) == 1, said
    assert "Traceback" not in " ".join(said)
    assert {(path, path.stat().st_mtime_ns) for path in here.rglob("*") if path.exists()} == before, argv


def _odd(kind: str) -> list[str]:
    return [*(f"{name}.{kind}" for name in ("junk", "empty", "zeros", "text")), f"missing.{kind}", "folder", "broken"]


def test_the_boat_of_this_test_is_a_boat(here: Path) -> None:
    from moonless.boat.file import read_boat

    assert read_boat(here / "ok.toml").length_m == 9.0


@pytest.mark.parametrize("command", ["lights", "predict", "plan", "read"])
def test_a_boat_file_that_is_none(command: str, here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    rest = {
        "lights": [],
        "predict": ["--chart", WATERS, "--at", "10,-150", "--heading", "0", "--range", "1", "--png", "p.png"],
        "plan": ["ok.gpx", "--chart", WATERS, "--depart", "2031-03-02T19:00", "--out", "b.html"],
        "read": ["--nmea", "ok.nmea", "--out", "o.jsonl"],
    }[command]
    for name in _odd("toml"):
        if command == "lights" and name == "empty.toml":
            continue
        _refused([command, *rest, "--boat", name], here, capsys)


@pytest.mark.parametrize("kind", ["gpkg", "000"])
def test_a_chart_that_is_none(kind: str, here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for name in [*_odd(kind), "cut.gpkg"]:
        _refused(["read", "--nmea", "ok.nmea", "--chart", name, "--out", "o.jsonl"], here, capsys)


def test_a_recording_or_feed_that_is_none(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for name in _odd("mcap"):
        _refused(["read", name, "--out", "o.jsonl"], here, capsys)
    for name in _odd("cat240"):
        _refused(["read", "--radar", name, "--out", "o.jsonl"], here, capsys)


def test_what_is_known_beside_the_chart_is_none(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for name in _odd("gpkg"):
        _refused(["read", "--nmea", "ok.nmea", "--knowledge", name, "--out", "o.jsonl"], here, capsys)
    for name in _odd("json"):
        _refused(["read", "--nmea", "ok.nmea", "--tides", name, "--out", "o.jsonl"], here, capsys)


def test_a_route_that_is_none(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    rest = ["--chart", WATERS, "--boat", "ok.toml", "--depart", "2031-03-02T19:00", "--out", "b.html"]
    for name in _odd("gpx"):
        _refused(["plan", name, *rest], here, capsys)


def test_a_scene_that_is_none(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for name in _odd("toml"):
        _refused(["scene", name, "--out", "run"], here, capsys)
        _refused(["demo", "--scene", name, "--no-browser", "--port", "0"], here, capsys)


@pytest.mark.parametrize(
    "argv",
    [
        ["read", "--nmea", "ok.nmea", "--out", "/proc/none/o"], ["read", "--nmea", "ok.nmea", "--out", "folder"],
        ["read", "--nmea", "ok.nmea", "--out", "no/such/folder"],
        ["read", "--nmea", "ok.nmea", "--out", "o", "--geojson", "/proc/none/o"],
        ["read", "--nmea", "ok.nmea", "--out", "o", "--gpx", "folder"],
        ["lights", "--length", "9", "--svg", "/proc/none/o"], ["scene", "demo", "--out", "junk.gpx"],
        ["helm", "--config", "empty.toml", "--nmea", "udp://127.0.0.1:9911", "--record", "no/folder/run.mcap"],
        ["lights", "--length", "-3"], ["lights", "--length", "nan"], ["lights", "--seen", "purple"],
        ["predict", "--chart", WATERS, "--at", "95,0", "--heading", "0", "--range", "1", "--png", "p"],
        ["predict", "--chart", WATERS, "--at", "nan,nan", "--heading", "0", "--range", "1", "--png", "p"],
        ["plan", "ok.gpx", "--chart", WATERS, "--boat", "ok.toml", "--depart", "tomorrow"],
        *(
            [*PLAN, option, value]
            for option, value in (
                ("--waves", "nan"), ("--waves", "500"), ("--waves", "-1"), ("--wind", "nan"), ("--wind", "-3"),
                ("--wind-from", "400"), ("--rain", "nan"), ("--rain", "-2"), ("--visibility", "nan"),
                ("--visibility", "0"), ("--visibility", "-4"), ("--speed", "nan"), ("--cloud", "nan"),
                ("--window", "nan"),
            )
        ),
        *(
            [*PREDICT, option, value]
            for option, value in (("--waves", "nan"), ("--waves", "500"), ("--rain", "nan"), ("--wind", "inf"))
        ),
        ["lights", "--length", "9", "--from", "nan"],
        ["doctor", "--radar", "udp://nohost"], ["helm", "--radar", "ftp://x:1"], ["helm", "--port", "70000"],
        ["demo", "--speed", "0"], ["nothing"], ["read"],
    ],
)  # fmt: skip
def test_what_cannot_be_asked_or_written(argv: list[str], here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    _refused(argv, here, capsys)


@pytest.mark.parametrize("command", ["demo", "helm"])
def test_a_port_in_use(command: str, here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = str(taken.getsockname()[1])
        more = ["--no-browser"] if command == "demo" else ["--config", "empty.toml"]
        _refused([command, "--port", port, *more], here, capsys)


@pytest.mark.parametrize("kind", ["toml", "gpx", "json", "gpkg", "000", "nmea", "knowledge", "png"])
def test_a_sparse_file_of_fifty_gigabytes_is_refused_unread(
    kind: str, here: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with (here / f"big.{kind}").open("wb") as file:
        file.truncate(50 * 10**9)
    given = {
        "toml": ["plan", "ok.gpx", "--chart", WATERS, "--boat", "big.toml", "--depart", "2031-03-02T19:00"],
        "gpx": ["plan", "big.gpx", *PLAN[2:]],
        "json": [*PLAN, "--tides", "big.json"],
        "gpkg": ["predict", "--chart", "big.gpkg", *PREDICT[3:]],
        "000": ["predict", "--chart", "big.000", *PREDICT[3:]],
        "nmea": ["read", "--nmea", "big.nmea", "--out", "o"],
        "knowledge": [*PLAN, "--knowledge", "big.knowledge"],
        "png": ["picture", "big.png"],
    }[kind]
    _refused(given, here, capsys)


def test_a_device_without_an_end_is_refused(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    _refused(["plan", "/dev/zero", *PLAN[2:]], here, capsys)


@pytest.mark.parametrize(
    "argv",
    [
        ["predict", *PREDICT[1:-1], "same", "--cat240", "./same"],
        ["read", "--nmea", "ok.nmea", "--out", "same", "--geojson", "same"],
        ["read", "--nmea", "ok.nmea", "--out", "same", "--gpx", "folder/../same"],
        ["read", "--radar", "udp://999.1.1.1:99", "--out", "o"], [*PLAN, "--tides", "none.json"],
        ["read", "--nmea", "tcp://1.2.3:99", "--out", "o"],
        ["lights", "--length", "nan", "--from", "10"],
    ],
)
def test_outputs_of_one_name_and_addresses_that_cannot_be(
    argv: list[str], here: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    _refused(argv, here, capsys)


@pytest.mark.parametrize("candela", ['"x"', "-3.0", "nan"])
def test_a_fitted_light_of_no_strength(candela: str, here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (here / "light.toml").write_text(f'{BOAT}\n[[light]]\nrole = "masthead"\ncandela = {candela}\n')
    _refused(["lights", "--boat", "light.toml"], here, capsys)


def test_a_chart_that_is_none_is_told_in_our_own_words(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit):
        main(["predict", "--chart", "text.gpkg", *PREDICT[3:]])
    said = capsys.readouterr().err
    assert "text.gpkg: is no chart" in said and "driver" not in said and "GDAL" not in said


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs a device that is always full")
def test_a_second_output_that_fails_leaves_nothing_of_the_first(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    _refused([*PREDICT, "--cat240", "/dev/full"], here, capsys)


def test_the_program_alone_shows_its_help_as_it_is_set(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as leaving:
        main([])
    said = capsys.readouterr().err
    assert leaving.value.code == 2 and len(said.splitlines()) > 10 and "  plan " in said


def test_no_empty_line_stands_before_what_is_said(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit):
        main(["plan", "ok.gpx", "--chart", "text.gpkg", *PLAN[4:]])
    assert capsys.readouterr().err.startswith("moonless: ")


def test_a_scene_in_a_year_no_clock_tells(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    shutil.copytree(DEMO, here / "late")
    story = here / "late" / "story.toml"
    lines = story.read_text().splitlines(keepends=True)
    story.write_text(
        "".join("start = 9999-12-31T23:59:00Z\n" if line.startswith("start = ") else line for line in lines)
    )
    _refused(["scene", str(story), "--out", "run", "--quiet"], here, capsys)
    assert not (here / "run").exists()
