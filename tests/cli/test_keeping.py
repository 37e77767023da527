"""``moonless screens`` and ``moonless private``: what is kept of the user's, told, gathered and forgotten."""

from __future__ import annotations

import zipfile
from pathlib import Path

import pytest

from moonless.cli import main
from moonless.folders import cache_folder, data_folder, routes_folder, screens_file, settings_file
from moonless.helm.door.pairing import Pairings
from moonless.helm.routes.files import RouteFiles


@pytest.fixture(autouse=True)
def own(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    for what in ("CONFIG", "DATA", "CACHE"):
        monkeypatch.setenv(f"XDG_{what}_HOME", str(tmp_path / what.lower()))
    monkeypatch.chdir(tmp_path)
    return tmp_path


def run(capsys: pytest.CaptureFixture[str], *argv: str) -> tuple[int, str, str]:
    with pytest.raises(SystemExit) as leaving:
        main(list(argv))
    out, err = capsys.readouterr()
    assert "Traceback" not in err
    return int(leaving.value.code or 0), out, err


def fill() -> None:
    RouteFiles(routes_folder()).save("home", [(10.0, 20.0), (10.1, 20.0)])
    settings_file().parent.mkdir(parents=True)
    settings_file().write_text('nmea = ["udp://127.0.0.1:1"]\n')
    cache_folder().mkdir(parents=True)
    (cache_folder() / "made").write_bytes(bytes(1000))
    pairings = Pairings(screens_file())
    pairings.keep_address("http://192.0.2.1:8440/")
    assert pairings.accept(pairings.invite("act").code, "tablet") is not None


def test_nothing_kept_is_said_plainly(capsys: pytest.CaptureFixture[str], own: Path) -> None:
    assert run(capsys, "screens") == (0, "No screen is paired.\n", "")
    assert run(capsys, "private", "--forget", "--yes")[1] == "Nothing of yours is kept.\n"
    code, _, err = run(capsys, "private", "--gather", "mine.zip")
    assert code == 2 and err == "moonless: there is nothing of yours to gather\n"
    assert list(own.iterdir()) == []


def test_all_is_gathered_but_keys_and_what_can_be_made_again(capsys: pytest.CaptureFixture[str], own: Path) -> None:
    fill()
    code, out, _ = run(capsys, "private", "--gather", "mine.zip")
    assert code == 0 and "2 of your files: mine.zip" in out
    assert (own / "mine.zip").stat().st_mode & 0o777 == 0o600
    with zipfile.ZipFile(own / "mine.zip") as kept:
        assert sorted(kept.namelist()) == ["data/routes/home.gpx", "settings/helm.toml"]
    assert run(capsys, "private", "--gather", "mine.zip")[0] == 2, "never written over"


def test_forgetting_asks_and_takes_all_and_nothing_else(
    capsys: pytest.CaptureFixture[str], own: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    fill()
    (own / "run.mcap").write_bytes(b"named by the skipper")
    monkeypatch.setattr("click.termui.visible_prompt_func", lambda _: "n")
    code, _, err = run(capsys, "private", "--forget")
    assert code == 130 and "stopped" in err and screens_file().exists()
    code, out, _ = run(capsys, "private", "--forget", "--yes")
    assert code == 0 and "gone" in out
    left = sorted(p.name for p in own.rglob("*") if p.is_file())
    assert left == ["run.mcap"] and not data_folder().exists()


def test_screens_are_listed_invited_and_let_go(capsys: pytest.CaptureFixture[str]) -> None:
    fill()
    number = Pairings(screens_file()).screens[0].id
    _, out, _ = run(capsys, "screens")
    assert out.startswith(f"{number}  tablet: may act")
    _, out, _ = run(capsys, "screens", "--invite", "look")
    assert "open http://192.0.2.1:8440/pair" in out and "only looks" in out
    assert run(capsys, "screens", "--let-go", number)[1] == "tablet is refused from now on.\n"
    assert Pairings(screens_file()).screens == ()


@pytest.mark.parametrize(
    ("argv", "says"),
    [
        (["screens", "--invite", "look"], "start one with --host"),
        (["screens", "--invite", "steer"], "'steer' is not one of"),
        (["screens", "--let-go", "zzzz"], "no screen 'zzzz' is paired"),
        (["private", "--yes"], "--yes goes with --forget"),
        (["helm", "--certificate-key", "a.pem"], "goes with --certificate"),
        (["helm", "--certificate", "none.pem"], "none.pem: cannot be read"),
        (["helm", "--certificate", "junk.pem"], "junk.pem: cannot be used as a certificate"),
    ],
)
def test_wrong_input_is_one_line(capsys: pytest.CaptureFixture[str], own: Path, argv: list[str], says: str) -> None:
    (own / "junk.pem").write_text("hello")
    code, out, err = run(capsys, *argv)
    assert code == 2 and out == "" and err.count("\n") == 1 and says in err
    assert [p.name for p in own.iterdir()] == ["junk.pem"]
