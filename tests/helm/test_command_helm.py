"""``moonless helm`` from the command line: what it is given, what it has kept, and when it sets up."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from moonless.cli import group
from moonless.errors import MoonlessError


@pytest.fixture
def served(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> dict[str, Any]:
    """Catch what would be served, instead of serving it."""
    told: dict[str, Any] = {}

    def serve(source: Any, **more: Any) -> None:
        told.update(more, source=source)
        more["on_open"]("http://x/")
        if hasattr(source, "close"):
            source.close()

    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    monkeypatch.setattr("moonless.helm.web.serve.serve", serve)
    monkeypatch.setattr("moonless.helm.web.app.check_built", lambda *_: None)
    monkeypatch.setattr("moonless.helm.process.worker_process.WorkerProcess.begin", lambda _: None)
    return told


def helm(*arguments: str) -> str:
    told = CliRunner().invoke(group, ["helm", *arguments], catch_exceptions=False)
    assert told.exit_code == 0, told.output
    return told.output


def kept(tmp_path: Path, text: str) -> Path:
    path = tmp_path / "config" / "moonless" / "helm.toml"
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(text)
    return path


def test_with_nothing_kept_it_sets_up(served: dict[str, Any]) -> None:
    assert "Nothing is connected yet" in helm()
    assert served["source"].kind == "none" and served["setup"] is not None


def test_with_links_kept_it_watches(served: dict[str, Any], tmp_path: Path) -> None:
    kept(tmp_path, 'nmea = ["udp://127.0.0.1:1"]\ncharts = ["/nowhere"]\n')
    helm()
    assert served["source"].kind == "live"
    assert served["without"] == ("the charts of /nowhere are not there",)
    assert served["setup"].body()["is_as_running"] is True


def test_links_on_the_command_line_are_whole_in_themselves(served: dict[str, Any], tmp_path: Path) -> None:
    kept(tmp_path, 'nmea = ["udp://127.0.0.1:1"]\nboat = "not there.toml"\n')
    helm("--nmea", "udp://127.0.0.1:2")
    assert served["setup"].settings.nmea == ("udp://127.0.0.1:2",) and served["setup"].settings.boat is None


def test_a_config_named_outright_is_used_with_what_is_added(served: dict[str, Any], tmp_path: Path) -> None:
    path = tmp_path / "other.toml"
    path.write_text('nmea = ["udp://127.0.0.1:1"]\n')
    helm("--config", str(path), "--radar", "udp://127.0.0.1:3")
    settings = served["setup"].settings
    assert settings.nmea == ("udp://127.0.0.1:1",) and settings.radar == "udp://127.0.0.1:3"


def test_a_config_that_is_not_there_yet_is_where_the_set_up_writes(served: dict[str, Any], tmp_path: Path) -> None:
    helm("--config", str(tmp_path / "new.toml"))
    assert served["setup"].path == tmp_path / "new.toml"


@pytest.mark.parametrize(
    ("text", "arguments", "says"),
    [
        ('radr = "x"', [], 'did you mean "radar"'),
        ('boat = "none.toml"\nnmea = ["udp://127.0.0.1:1"]', [], "none.toml: cannot be read"),
        ("", ["--nmea", "udp://nowhere"], "give both host and port"),
        ("", ["--chart", "/no/such"], "no such file"),
        ("", ["--boat", "/no/such.toml"], "no such file"),
    ],
)
def test_what_cannot_be_used_is_one_line(
    served: dict[str, Any], tmp_path: Path, text: str, arguments: list[str], says: str
) -> None:
    kept(tmp_path, text)
    told = CliRunner().invoke(group, ["helm", *arguments])
    assert isinstance(told.exception, MoonlessError) and says in str(told.exception)
    assert served == {}
