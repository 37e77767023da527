"""The only place that replaces a file: whole or not at all, and on the disk before it takes the old one's place.

Power fails on a boat.  After it there is the old file or the new one, never half of one: the new bytes go into a draft
beside the file, the draft is flushed to the disk, it takes the name, and the folder that holds the name is flushed too
(the recipe of POSIX rename and fsync; on Windows a folder cannot be flushed, and the rename is left to the system).

What is the user's own is private: a file for its owner alone (600), in folders that nobody else can open (700).

What a link points at is written and the link stays; a file keeps its mode; a device or a pipe (``/dev/stdout``) is
written to and never replaced.
"""

from __future__ import annotations

import contextlib
import os
import secrets
import shutil
import tempfile
from collections.abc import Iterable, Iterator
from pathlib import Path
from types import TracebackType
from typing import IO, Self, TextIO, cast

from moonless.errors import InputError

PRIVATE_FILE, PRIVATE_FOLDER = 0o600, 0o700  # for the owner alone


def read_small(file: Path | str, most_bytes: int) -> bytes:
    """Return a file's bytes; its size is looked at before a byte is read.

    Raises InputError if it is larger than it can sensibly be; OSError if it cannot be opened.
    """
    path = Path(file)
    size = path.stat().st_size
    if size > most_bytes:
        raise InputError(f"{path}: {size} bytes are too many; {most_bytes} are the most for such a file")
    # A device says no size; an endless one would fill the memory.
    with path.open("rb") as stream:
        data = stream.read(most_bytes + 1)
    if len(data) > most_bytes:
        raise InputError(f"{path}: it has no end within {most_bytes} bytes, the most for such a file")
    return data


class Drafts:
    """Some files that are begun together and kept together.

    >>> import tempfile
    >>> folder = Path(tempfile.mkdtemp())
    >>> with Drafts() as drafts:
    ...     _ = drafts.text(folder / "a.txt").write("whole")
    ...     (folder / "a.txt").exists()
    False
    >>> (folder / "a.txt").read_text()
    'whole'

    All are flushed to the disk before the first takes its name.  When the block ends with an exception all are removed
    and what was there before is as it was.

    Raises InputError in one plain line if one cannot be written.
    """

    def __init__(self, *, make_folders: bool = False, private: bool = False) -> None:
        self._make_folders = make_folders
        self._is_private = private
        self._begun: list[tuple[Path, Path]] = []  # (draft, file)
        self._streams: list[IO[bytes] | TextIO] = []

    def path(self, file: Path | str) -> Path:
        """Return a name beside a file, with its ending, at which nothing is yet: what is put there takes its place."""
        named = Path(file)
        target = Path(os.path.realpath(named))
        try:
            if target.is_dir():
                raise IsADirectoryError(21, "is a folder")
            if self._make_folders:
                make_folder(target.parent, private=self._is_private)
        except OSError as problem:
            raise not_written(named, problem) from problem
        draft = target.parent / f".{target.stem[:80]}.{secrets.token_hex(4)}.part{target.suffix}"
        if _is_device(named):
            draft = Path(tempfile.gettempdir()) / draft.name
        self._begun.append((draft, named))
        return draft

    def text(self, file: Path | str) -> TextIO:
        """Begin a text file, UTF-8, lines ended as written."""
        draft = self.path(file)
        try:
            stream = draft.open("x", encoding="utf-8", newline="")
        except OSError as problem:
            raise not_written(file, problem) from problem
        self._streams.append(cast(TextIO, stream))
        return cast(TextIO, stream)

    def binary(self, file: Path | str) -> IO[bytes]:
        """Begin a file of bytes."""
        draft = self.path(file)
        try:
            stream = draft.open("xb")
        except OSError as problem:
            raise not_written(file, problem) from problem
        self._streams.append(stream)
        return stream

    def __enter__(self) -> Self:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, _: TracebackType | None) -> None:
        try:
            if kind is None:
                self._keep()
            elif isinstance(error, OSError) and self._begun:
                raise not_written(self._begun[-1][1], error) from error
        finally:
            self._drop()

    def _keep(self) -> None:
        named: Path | str = ""
        try:
            for stream in self._streams:
                named = next((file for draft, file in self._begun if str(draft) == stream.name), "")
                stream.close()
            for draft, file in self._begun:
                named = file
                with draft.open("rb+") as written:
                    flush_to_disk(written)
            # Devices first: they alone can still refuse, and then nothing has been replaced.
            for draft, file in sorted(self._begun, key=lambda begun: not _is_device(begun[1])):
                named = file
                _replace(draft, file, private=self._is_private)
        except OSError as problem:
            raise not_written(named, problem) from problem

    def _drop(self) -> None:
        for stream in self._streams:
            with contextlib.suppress(OSError):
                stream.close()
        for draft, _ in self._begun:
            with contextlib.suppress(OSError):
                draft.unlink(missing_ok=True)
        self._streams.clear()
        self._begun.clear()


@contextlib.contextmanager
def replacing(path: Path | str, *, make_folders: bool = False, private: bool = False) -> Iterator[Path]:
    """Yield a name beside ``path``; what the block puts there takes its place, whole, when the block ends.

    Raises InputError in one plain line if it cannot be written; so does any OSError of the block.
    """
    with Drafts(make_folders=make_folders, private=private) as drafts:
        yield drafts.path(path)


def write_whole(path: Path | str, data: bytes | str, *, make_folders: bool = False, private: bool = False) -> None:
    """Put a file in place whole; text as UTF-8.  Raises InputError in one plain line if it cannot be written."""
    with Drafts(make_folders=make_folders, private=private) as drafts:
        drafts.binary(path).write(data.encode() if isinstance(data, str) else data)


def write_new(candidates: Iterable[Path], data: bytes | str, *, private: bool = False) -> Path | None:
    """Put a file in place whole under the first of some names that is free; what is there is never written over.

    Returns the name, None if none was free.  The names lie in one folder, which is made.  Raises InputError.
    """
    draft: Path | None = None
    try:
        for target in candidates:
            if draft is None:
                make_folder(target.parent, private=private)
                draft = target.parent / f".{secrets.token_hex(6)}.part"
                with draft.open("xb") as stream:
                    if private:
                        draft.chmod(PRIVATE_FILE)
                    stream.write(data.encode() if isinstance(data, str) else data)
                    flush_to_disk(stream)
            try:
                # A link fails where a rename would write over.
                os.link(draft, target)
            except FileExistsError:
                continue
            _flush_folder(target.parent)
            return target
    except OSError as problem:
        raise not_written(target, problem) from problem
    finally:
        if draft is not None:
            with contextlib.suppress(OSError):
                draft.unlink(missing_ok=True)
    return None


def make_folder(folder: Path, *, private: bool = False) -> None:
    """Make a folder and those above it; private: what is made, and the folder itself, is its owner's alone.

    Raises OSError.
    """
    if not private:
        folder.mkdir(parents=True, exist_ok=True)
        return
    missing = [one for one in (folder, *folder.parents) if not one.exists()]
    for one in reversed(missing):
        one.mkdir(mode=PRIVATE_FOLDER, exist_ok=True)


def flush_to_disk(stream: IO[bytes] | TextIO) -> None:
    """Have what was written to an open file on the disk before this returns.  Raises OSError."""
    stream.flush()
    os.fsync(stream.fileno())


def not_written(path: Path | str, problem: OSError) -> InputError:
    """Return the error of a file that cannot be written."""
    return InputError(f"{path}: cannot be written: {problem.strerror or problem}")


def _is_device(named: Path) -> bool:
    return named.exists() and not named.is_file() and not named.is_dir()


def _replace(draft: Path, named: Path, *, private: bool) -> None:
    if _is_device(named):
        with draft.open("rb") as source, named.open("wb") as device:
            shutil.copyfileobj(source, device)
        draft.unlink()
        return
    target = Path(os.path.realpath(named))
    if private:
        os.chmod(draft, PRIVATE_FILE)
    elif target.exists():
        os.chmod(draft, target.stat().st_mode & 0o777)
    os.replace(draft, target)
    _flush_folder(target.parent)


def _flush_folder(folder: Path) -> None:
    # The file is in place by now; a file system that cannot flush a folder makes it no less so.
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
