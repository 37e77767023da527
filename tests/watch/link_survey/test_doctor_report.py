"""What `moonless doctor` says of boat, chart and links."""

from __future__ import annotations

from pathlib import Path

import pytest
from click.testing import CliRunner
from watch_made_run import MadeRun

from moonless.cli.doctor import command


@pytest.fixture(scope="module")
def run_files(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """A made radar file and its NMEA."""
    folder = tmp_path_factory.mktemp("doctor")
    events = list(MadeRun().events(8.0))
    radar, nmea = folder / "radar.cat240", folder / "log.nmea"
    radar.write_bytes(b"".join(d for _, kind, d in events if kind == "radar"))
    nmea.write_bytes(b"".join(d for _, kind, d in events if kind == "nmea") + b"$GPRMC,broken*00\r\n")
    return radar, nmea


def _say(*args: str) -> str:
    result = CliRunner().invoke(command, list(args))
    assert result.exit_code == 0, result.output + repr(result.exception)
    return result.output


def test_links_are_told_by_what_they_carry(run_files: tuple[Path, Path]) -> None:
    radar, nmea = run_files
    said = _say("--radar", str(radar), "--nmea", str(nmea))
    assert "180 spokes a turn of 96 cells of 20.00 m" in said
    assert "24.0 turns a minute" in said
    assert "HDT 40" in said
    assert "1 sentences with a wrong checksum" in said
    assert "no AIS (VDM; groups 129038 to 129810)" in said
    assert "no heading" not in said


def test_what_is_missing_is_said(run_files: tuple[Path, Path], tmp_path: Path) -> None:
    only_radar = _say("--radar", str(run_files[0]))
    assert "no position (RMC or GGA or GLL; group 129029 or 129025)" in only_radar
    assert "no heading" in only_radar
    assert "no radar link is named" in _say("--nmea", str(run_files[1]))
    gone = _say("--nmea", str(tmp_path / "none.nmea"))
    assert "No such file" in gone


def test_settings_say_where_they_come_from(tmp_path: Path) -> None:
    boat = tmp_path / "boat.toml"
    boat.write_text('[boat]\nname = "x"\nlength_m = 8\nbeam_m = 2.5\ndraught_m = 0.6\nair_draught_m = 3\n')
    lines = _say("--boat", str(boat)).splitlines()
    assert any(line.split() == ["boat.length_m", "8", "boat", "file"] for line in lines)
    assert any(line.split() == ["boat.eye_height_m", "2.5", "default"] for line in lines)
    assert any("links: none named" in line for line in lines)


def test_a_link_that_answers_nothing_is_said() -> None:
    said = _say("--nmea", "tcp://127.0.0.1:1", "--seconds", "1")
    assert "Connection refused" in said
