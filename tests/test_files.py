"""Files are written whole or not at all, and are on the disk before they take the old one's place."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from moonless.errors import InputError
from moonless.files import Drafts, replacing, write_new, write_whole


def names(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


def test_a_file_is_replaced_and_nothing_else_is_left(tmp_path: Path) -> None:
    path = tmp_path / "a.txt"
    write_whole(path, "old")
    write_whole(path, b"new")
    assert path.read_bytes() == b"new" and names(tmp_path) == ["a.txt"]


def test_the_draft_keeps_the_ending_and_is_not_there_yet(tmp_path: Path) -> None:
    with replacing(tmp_path / "waters.gpkg") as draft:
        assert draft.suffix == ".gpkg" and draft.parent == tmp_path and not draft.exists()
        draft.write_bytes(b"x")
        assert not (tmp_path / "waters.gpkg").exists()
    assert names(tmp_path) == ["waters.gpkg"]


def test_what_fails_leaves_the_old_file(tmp_path: Path) -> None:
    path = tmp_path / "a.txt"
    path.write_text("old")
    with pytest.raises(ZeroDivisionError), replacing(path) as draft:
        draft.write_text("half")
        _ = 1 / 0
    with pytest.raises(InputError, match=r"a\.txt: cannot be written: No space"), replacing(path) as draft:
        draft.write_text("half")
        raise OSError(28, "No space left on device")
    with pytest.raises(InputError, match="cannot be written"), replacing(path):
        pass  # nothing was put there
    assert path.read_text() == "old" and names(tmp_path) == ["a.txt"]


def test_several_are_kept_together_or_not_at_all(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"nowhere.*cannot be written"), Drafts() as drafts:
        drafts.text(tmp_path / "a.txt").write("a")
        drafts.binary(tmp_path / "nowhere" / "b.bin").write(b"b")
    assert names(tmp_path) == []
    with Drafts(make_folders=True) as drafts:
        drafts.text(tmp_path / "a.txt").write("a")
        drafts.binary(tmp_path / "made" / "b.bin").write(b"b")
        assert (tmp_path / "a.txt").exists() is False
    assert (tmp_path / "a.txt").read_text() == "a" and (tmp_path / "made" / "b.bin").read_bytes() == b"b"


def test_the_bytes_are_flushed_before_the_name_and_the_folder_after(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    done: list[str] = []
    fsync, replace = os.fsync, os.replace

    def flushed(handle: int) -> None:
        done.append("folder" if os.path.isdir(f"/proc/self/fd/{handle}") else "file")
        fsync(handle)

    def replaced(a: Path, b: Path) -> None:
        done.append("name")
        replace(a, b)

    monkeypatch.setattr(os, "fsync", flushed)
    monkeypatch.setattr(os, "replace", replaced)
    write_whole(tmp_path / "a", "x")
    assert done == ["file", "name", "folder"]


def test_a_link_stays_and_the_mode_is_kept(tmp_path: Path) -> None:
    real, link = tmp_path / "real", tmp_path / "link"
    real.write_text("old")
    real.chmod(0o640)
    link.symlink_to(real)
    write_whole(link, "new")
    assert link.is_symlink() and real.read_text() == "new" and real.stat().st_mode & 0o777 == 0o640


def test_a_new_file_has_the_mode_of_any_new_file(tmp_path: Path) -> None:
    (tmp_path / "plain").touch()
    write_whole(tmp_path / "ours", "x")
    assert (tmp_path / "ours").stat().st_mode == (tmp_path / "plain").stat().st_mode


def test_a_folder_is_refused_and_a_device_is_written_to(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="is a folder"):
        write_whole(tmp_path, "x")
    code = "from moonless.files import write_whole; write_whole('/dev/stdout', 'through')"
    assert subprocess.run([sys.executable, "-c", code], capture_output=True, text=True).stdout == "through"
    before = os.stat(os.devnull)
    write_whole(os.devnull, "gone")
    assert os.stat(os.devnull).st_ino == before.st_ino


def test_a_new_file_never_writes_over_one(tmp_path: Path) -> None:
    wanted = [tmp_path / "r" / f"{n}.gpx" for n in (1, 2)]
    assert write_new(wanted, "first") == wanted[0]
    assert write_new(wanted, "second") == wanted[1]
    assert write_new(wanted, "third") is None
    assert [path.read_text() for path in wanted] == ["first", "second"] and names(tmp_path / "r") == ["1.gpx", "2.gpx"]


def mode(path: Path) -> int:
    return path.stat().st_mode & 0o777


@pytest.fixture
def open_umask() -> Iterator[None]:
    before = os.umask(0o000)
    yield
    os.umask(before)


def test_what_is_private_is_for_its_owner_alone(tmp_path: Path, open_umask: None) -> None:
    path = tmp_path / "own" / "deep" / "a.txt"
    write_whole(path, "mine", make_folders=True, private=True)
    assert (mode(path), mode(path.parent), mode(path.parent.parent)) == (0o600, 0o700, 0o700)
    path.chmod(0o644)
    write_whole(path, "mine again", private=True)
    assert mode(path) == 0o600
    route = write_new([tmp_path / "routes" / "a.gpx"], "way", private=True)
    assert route is not None and (mode(route), mode(route.parent)) == (0o600, 0o700)
    with replacing(tmp_path / "own" / "b.gpkg", private=True) as draft:
        draft.write_text("made by a library")
    assert mode(tmp_path / "own" / "b.gpkg") == 0o600


def test_what_is_made_to_be_handed_on_keeps_the_customs_of_the_system(tmp_path: Path, open_umask: None) -> None:
    write_whole(tmp_path / "brief.html", "plan")
    assert mode(tmp_path / "brief.html") == 0o666
