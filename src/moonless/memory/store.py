"""Where summaries are kept: a folder of Parquet files, on this machine or on any path that fsspec knows.

Rules of this file:
- One file is one run, named by its number, or some runs put together.  A run is there or not: files are put in whole.
- Two stores are put together by putting their files together; a run that is in both counts once.
- Reading goes file by file and run by run: what is held at once does not grow with the number of runs.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

from moonless.errors import InputError, SourceError
from moonless.files import write_whole
from moonless.memory.columns import HEAD, read_parquet, run_of, summary_of, to_parquet
from moonless.memory.summary import Run, RunSummary, better

if TYPE_CHECKING:
    from fsspec import AbstractFileSystem

_ENDING = ".parquet"


class Store:
    """A folder of summaries."""

    def __init__(self, place: str) -> None:
        """Name a folder; it need not be there yet.  Raises InputError if no program here can reach such a place."""
        self.place = place.rstrip("/")
        self._remote: AbstractFileSystem | None = None if "://" not in place else file_system(place)
        if self._remote is None and Path(place).exists() and not Path(place).is_dir():
            raise InputError(f"{place} is a file; what was learned is kept in a folder")

    def files(self) -> list[str]:
        """Return the names of the files, sorted."""
        if self._remote is not None:
            with _Reaching(self.place):
                self._remote.invalidate_cache()
                if not self._remote.exists(self.place):
                    return []
                found = self._remote.ls(self.place, detail=False)
            return sorted(str(name).rsplit("/", 1)[-1] for name in found if str(name).endswith(_ENDING))
        folder = Path(self.place)
        names = [p.name for p in folder.iterdir()] if folder.is_dir() else []
        # A draft that a crash left begins with a point.
        return sorted(name for name in names if name.endswith(_ENDING) and not name.startswith("."))

    def runs(self) -> dict[str, Run]:
        """Return the runs that are kept, by number."""
        out: dict[str, Run] = {}
        for name in self.files():
            for row in read_parquet(self._bytes(name), self._where(name), HEAD):
                out.setdefault(row["number"], run_of(row))
        return out

    def summaries(self) -> Iterator[RunSummary]:
        """Yield every run once, file by file.  Of a run kept twice the better one is taken."""
        twice = self._kept_twice()
        waiting: dict[str, RunSummary] = {}
        for name in self.files():
            for row in read_parquet(self._bytes(name), self._where(name)):
                one = summary_of(row)
                number = one.run.number
                if number not in twice:
                    yield one
                    continue
                waiting[number] = better(waiting[number], one) if number in waiting else one
                twice[number] -= 1
                if twice[number] == 0:
                    yield waiting.pop(number)

    def put(self, summary: RunSummary) -> None:
        """Keep a run.  Raises InputError if it cannot be written; nothing is then half-written."""
        self._write(f"{summary.run.number}{_ENDING}", to_parquet([summary]))

    def put_together(self, summaries: list[RunSummary]) -> None:
        """Keep some runs in one file, named by what is in it."""
        numbers = " ".join(sorted(one.run.number for one in summaries))
        name = hashlib.sha256(numbers.encode()).hexdigest()[:16]
        self._write(f"runs-{name}{_ENDING}", to_parquet(sorted(summaries, key=lambda one: one.run.number)))

    def take_in(self, other: Store) -> int:
        """Take in what another store keeps; return how many runs are new here.

        Raises SourceError if a file of it cannot be read: then none of that file is taken.
        """
        here, n_new = set(self.runs()), 0
        for name in other.files():
            data = other._bytes(name)
            found = [row["number"] for row in read_parquet(data, other._where(name), HEAD)]
            if here.issuperset(found):
                continue
            self._write(name, data)
            n_new += len(set(found) - here)
            here.update(found)
        return n_new

    def _kept_twice(self) -> dict[str, int]:
        count: dict[str, int] = {}
        for name in self.files():
            for row in read_parquet(self._bytes(name), self._where(name), ("number",)):
                count[row["number"]] = count.get(row["number"], 0) + 1
        return {number: n for number, n in count.items() if n > 1}

    def _where(self, name: str) -> str:
        return f"{self.place}/{name}"

    def _bytes(self, name: str) -> bytes:
        if self._remote is not None:
            with _Reaching(self._where(name)):
                return bytes(self._remote.cat_file(self._where(name)))
        try:
            return Path(self.place, name).read_bytes()
        except OSError as problem:
            raise SourceError(f"{self._where(name)} cannot be read: {problem.strerror}") from problem

    def _write(self, name: str, data: bytes) -> None:
        if self._remote is None:
            write_whole(Path(self.place, name), data, make_folders=True)
            return
        with _Reaching(self._where(name)):
            self._remote.makedirs(self.place, exist_ok=True)
            self._remote.pipe_file(self._where(name), data)


class _Reaching:
    """Turns whatever a remote place raises into one plain line."""

    def __init__(self, where: str) -> None:
        self._where = where

    def __enter__(self) -> None:
        return None

    def __exit__(self, kind: object, error: BaseException | None, _: object) -> None:
        if isinstance(error, Exception) and not isinstance(error, SourceError | InputError):
            said = " ".join(str(error).split())[:160] or type(error).__name__
            raise SourceError(f"{self._where} cannot be reached: {said}") from error


def file_system(url: str) -> AbstractFileSystem:
    """Return the file system of a URL.  Raises InputError if there is none here that knows it."""
    try:
        import fsspec
    except ImportError:
        raise InputError(f"{url}: needs the fsspec package: pip install 'moonless[learn]'") from None
    try:
        return fsspec.core.url_to_fs(url)[0]
    except (ImportError, ValueError) as problem:
        raise InputError(f"{url}: {' '.join(str(problem).split())[:160]}") from problem
