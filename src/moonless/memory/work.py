"""Recordings to summaries: over this machine's cores, or over a Dask cluster.

Rules of this file:
- One piece of work is one recording; it needs nothing of any other, so the pieces may be done anywhere, in any order
  and, where a worker dies, again.
- The store is written by the one who asked, never by a worker: a summary is whole before it is kept.
- A recording that cannot be read is told and passed by.
"""

from __future__ import annotations

import concurrent.futures as futures
import functools
import hashlib
import multiprocessing
import re
import shutil
import tempfile
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

from moonless.boat.file import default_boat, read_boat
from moonless.chart.library import Chart
from moonless.clock import steady_s
from moonless.errors import InputError, LinkError, MoonlessError, SourceError
from moonless.memory.one_run.reduce import summarise
from moonless.memory.store import file_system
from moonless.memory.summary import RunSummary
from moonless.watch.afterwards.told import BesideRecording, PastRun

# Of a recording's bytes its number is made: the beginning, the end and how many there are.
_SAMPLE = 1 << 20
# A worker that dies takes the piece it had with it; it is given out again this often.
_TRIES = 3
# A scheduler's address; within one process, as tests have it, it has no port.
_ADDRESS = re.compile(r"inproc://\S+|([a-z]+://)?[^\s:/]+:\d{1,5}|([a-z]+://)?\[[0-9a-fA-F:]+\]:\d{1,5}")


@dataclass(frozen=True, slots=True)
class ReduceJob:
    """How recordings are reduced; the same for all of them, and small enough to be sent anywhere."""

    boat_file: str | None = None
    charts: tuple[str, ...] = ()
    boat: str = ""  # whose runs they are; "": as the boat file says
    anew: bool = False


@dataclass(frozen=True, slots=True)
class Outcome:
    """What became of one recording."""

    recording: str
    number: str | None
    summary: RunSummary | None  # None: it was learned already, or could not be read
    problem: str | None  # in one line; None: none
    seconds: float


def reduce_one(job: ReduceJob, recording: str, known: frozenset[str] = frozenset()) -> Outcome:
    """Return what one recording comes to; whatever is wrong with it is told in the outcome.

    ``known``: numbers of runs that were learned already; they are not read again.
    """
    began_s, number, near = steady_s(), None, recording
    try:
        with _Nearby(recording) as path:
            near = str(path)
            number = number_of(path)
            if number in known:
                return Outcome(recording, number, None, None, steady_s() - began_s)
            given = _given(job.boat_file, job.charts)
            run = PastRun(path, given, job.anew)
            name = recording.rsplit("/", 1)[-1]
            return Outcome(
                recording, number, summarise(run.turns(), number, job.boat or given.boat.name, name), None,
                steady_s() - began_s,
            )  # fmt: skip
    except MoonlessError as problem:
        # Of a copy that is gone again nobody can make anything: it is told by its own name.
        said = " ".join(str(problem).split()).replace(near, recording)
        return Outcome(recording, number, None, said, steady_s() - began_s)


def number_of(path: Path) -> str:
    """Return the number of a recording: the same bytes are the same run, whatever the file is called."""
    try:
        with path.open("rb") as file:
            size = file.seek(0, 2)
            file.seek(0)
            digest = hashlib.sha256(file.read(_SAMPLE) + size.to_bytes(8, "big"))
            file.seek(max(size - _SAMPLE, 0))
            digest.update(file.read(_SAMPLE))
    except OSError as problem:
        raise SourceError(f"{path} cannot be read: {problem.strerror}") from problem
    return digest.hexdigest()[:16]


@functools.lru_cache(maxsize=2)
def _given(boat_file: str | None, charts: tuple[str, ...]) -> BesideRecording:
    """Return boat and chart, opened once in each worker."""
    boat = default_boat() if boat_file is None else read_boat(Path(boat_file))
    return BesideRecording(boat, Chart.open([Path(one) for one in charts]) if charts else None)


class _Nearby:
    """A recording on this machine: itself, or a copy that goes again."""

    def __init__(self, recording: str) -> None:
        self._recording = recording
        self._folder: tempfile.TemporaryDirectory[str] | None = None

    def __enter__(self) -> Path:
        if "://" not in self._recording:
            path = Path(self._recording)
            if not path.is_file():
                raise InputError(f"{path} is {'a folder' if path.is_dir() else 'not there'}; give a recording")
            return path
        self._folder = tempfile.TemporaryDirectory()
        path = Path(self._folder.name) / "run.mcap"
        try:
            with file_system(self._recording).open(self._recording, "rb") as far, path.open("wb") as near:
                shutil.copyfileobj(far, near, _SAMPLE)
        except Exception as problem:
            self._folder.cleanup()
            if isinstance(problem, MoonlessError):
                raise
            said = " ".join(str(problem).split())[:160] or type(problem).__name__
            raise SourceError(f"{self._recording} cannot be read: {said}") from problem
        return path

    def __exit__(self, *_: object) -> None:
        if self._folder is not None:
            self._folder.cleanup()


def over_cores(
    job: ReduceJob,
    recordings: Sequence[str],
    known: frozenset[str],
    workers: int,
    reduce: Callable[..., Outcome] = reduce_one,
) -> Iterator[Outcome]:
    """Yield what each recording comes to, as it is done, over processes of this machine.

    Raises SourceError if workers die again and again over what is left.
    """
    if workers <= 1 or len(recordings) <= 1:
        for one in recordings:
            yield reduce(job, one, known)
        return
    left = list(recordings)
    for _ in range(_TRIES):
        try:
            # Started anew, not copied: a copy of a process with threads may stand still for ever.
            with futures.ProcessPoolExecutor(workers, multiprocessing.get_context("spawn")) as pool:
                asked = {pool.submit(reduce, job, one, known): one for one in left}
                for done in futures.as_completed(asked):
                    outcome = done.result()
                    left.remove(asked[done])
                    yield outcome
            return
        except BrokenProcessPool:
            continue
    raise SourceError(f"workers died {_TRIES} times over: {', '.join(left[:3])}; not enough memory?")


def over_cluster(
    job: ReduceJob,
    recordings: Sequence[str],
    known: frozenset[str],
    address: str,
    reduce: Callable[..., Outcome] = reduce_one,
    wait_s: float = 10.0,
) -> Iterator[Outcome]:
    """Yield what each recording comes to, as it is done, over a Dask cluster.

    Raises InputError without the package or for what is no address, LinkError if the cluster does not answer.
    """
    # Refused here: a client that cannot read its address says so once more, at length, when it is let go.
    if _ADDRESS.fullmatch(address) is None:
        raise InputError(f"--cluster {address}: is no address of a scheduler; give tcp://HOST:PORT")
    try:
        import distributed
    except ImportError:
        raise InputError("--cluster needs the distributed package: pip install 'moonless[learn]'") from None
    try:
        client = distributed.Client(  # type: ignore[no-untyped-call]
            address, timeout=wait_s, set_as_default=False
        )
    except (OSError, ValueError, TimeoutError) as problem:
        raise LinkError(f"--cluster {address}: no scheduler answers: {' '.join(str(problem).split())[:120]}") from None
    with client:
        asked = [client.submit(reduce, job, one, known, pure=False, retries=_TRIES) for one in recordings]
        for done in distributed.as_completed(asked, loop=client.loop):  # type: ignore[no-untyped-call]
            yield _outcome(done, recordings[asked.index(done)])


class Answering(Protocol):
    """What a cluster gives for work that is under way."""

    def result(self) -> Outcome:
        """Wait for it; raises what the worker raised."""
        ...


def _outcome(done: Answering, recording: str) -> Outcome:
    try:
        outcome: Outcome = done.result()
        return outcome
    except Exception as problem:  # whatever a worker on another machine may raise: told, and the rest goes on
        said = " ".join(str(problem).split())[:200] or type(problem).__name__
        return Outcome(recording, None, None, f"{recording}: the worker failed: {said}", 0.0)
