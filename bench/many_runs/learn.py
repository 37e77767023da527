"""What learning costs, and that nothing is lost on the way.

``learn.two_workers`` over one, ratio; ``learn.cost_per_run`` of 400 runs against 10, ratio; ``learn.killed_worker``
(1: a cluster whose worker is killed gives the same); ``learn.ten_thousand`` summaries put together, megabytes that
memory grew by; ``learn.fleet``, 1 000 boats over a year on paper: hours of one core with their readings and with the
radar read again, gigabytes of summaries, each from the constants measured here, which are told too.
"""

from __future__ import annotations

import concurrent.futures as futures
import multiprocessing
import os
import signal
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from pathlib import Path

from bench.many_runs.made_summaries import Water, night
from bench.many_runs.nights import ONE_BOAT
from bench.many_runs.nights import night as made_night
from bench.many_runs.record import record
from bench.result import Result
from moonless.chart.library import Chart
from moonless.clock import steady_s
from moonless.memory.store import Store
from moonless.memory.summary import RunSummary
from moonless.memory.teaching.teach import teach
from moonless.memory.work import Outcome, ReduceJob, over_cluster, reduce_one
from moonless.scene.file import demo_folder
from moonless.scene.player import ScenePlayer

NAMES = ("learn.two_workers", "learn.cost_per_run", "learn.killed_worker", "learn.ten_thousand", "learn.fleet")
# A year of a fleet: evenings out, hours each.  Assumed.
BOATS, RUNS_A_YEAR, HOURS_A_RUN = 1000, 60, 2.0
N_RECORDED, N_TURNS = 8, 10
# Of the fleet one recording is read: long enough that what is done once for each does not count for much.
FLEET_TURNS = 96


def run(names: Sequence[str]) -> Iterator[Result]:
    """Yield what was asked for."""
    with tempfile.TemporaryDirectory() as folder:
        recordings = _recordings(Path(folder)) if set(names) & {NAMES[0], NAMES[2]} else []
        if NAMES[0] in names:
            one, two = _timed(recordings, 1), _timed(recordings, 2)
            yield Result(NAMES[0], one / two, "times one worker", "one worker", 1.0, one / two)
        if NAMES[1] in names:
            few, many = _per_run_s(10), _per_run_s(400)
            yield Result(NAMES[1], many / few, "times the cost of a run among 10")
        if NAMES[2] in names:
            yield Result(NAMES[2], float(_survives(recordings)), "1: the same result")
        if NAMES[3] in names:
            yield Result(NAMES[3], _grown_mb(10_000), "MB", "of 1 000 summaries", _grown_mb(1000))
        if NAMES[4] in names:
            yield from _fleet(Path(folder))


def _recordings(folder: Path) -> list[str]:
    """Make short recordings with their video, all of one night's length."""
    chart = Chart.open([demo_folder() / "waters.gpkg"])
    out = []
    for k in range(N_RECORDED):
        path = folder / f"{k}.mcap"
        record(ScenePlayer(made_night(k, ONE_BOAT[0], N_TURNS)), chart, path, with_video=True)
        out.append(str(path))
    return out


def _anew(recording: str) -> Outcome:
    return reduce_one(ReduceJob(charts=(str(demo_folder() / "waters.gpkg"),), anew=True), recording)


def _timed(recordings: list[str], workers: int) -> float:
    """Return seconds for reading all of them again from the radar, once every worker has its kernels and chart."""
    with futures.ProcessPoolExecutor(workers, multiprocessing.get_context("spawn")) as pool:
        list(pool.map(_anew, recordings[:1] * workers * 2))
        began = steady_s()
        for outcome in pool.map(_anew, recordings):
            assert outcome.problem is None, outcome.problem
        return steady_s() - began


def _per_run_s(n: int) -> float:
    """Return processor seconds for keeping and teaching a run, among so many."""
    summaries = [night(k) for k in range(n)]
    with tempfile.TemporaryDirectory() as folder:
        store = Store(folder)
        began = time.process_time()
        for one in summaries:
            store.put(one)
        teach(store.runs(), store.summaries())
        return (time.process_time() - began) / n


def _slow(job: ReduceJob, recording: str, known: frozenset[str]) -> Outcome:
    """Tell which process works, and work; the bench kills it by what it told."""
    Path(f"{recording}.{os.getpid()}.worker").touch()
    return reduce_one(job, recording, known)


def _survives(recordings: list[str]) -> bool:
    """Return whether a cluster of two, one of whose workers is killed on the way, gives what one process does."""
    from distributed import LocalCluster

    alone = [reduce_one(ReduceJob(), one).summary for one in recordings]
    got: list[RunSummary | None] = []
    with LocalCluster(n_workers=2, threads_per_worker=1, dashboard_address=None) as cluster:
        for outcome in over_cluster(ReduceJob(), recordings, frozenset(), cluster.scheduler_address, _slow):
            if not got:
                ours = {int(p.name.split(".")[-2]) for p in Path(recordings[0]).parent.glob("*.worker")}
                os.kill(min(ours), signal.SIGKILL)
            got.append(outcome.summary)

    def key(summary: RunSummary | None) -> str:
        return "" if summary is None else summary.run.number

    return sorted(got, key=key) == sorted(alone, key=key) and None not in got


def _grown_mb(n: int) -> float:
    """Return by how much the peak memory of a process grows that puts so many summaries together and teaches them."""
    context = multiprocessing.get_context("spawn")
    with futures.ProcessPoolExecutor(1, context) as pool:
        return pool.submit(_put_together, n).result()


def _put_together(n: int) -> float:
    with tempfile.TemporaryDirectory() as folder:
        other, mine = Store(f"{folder}/other"), Store(f"{folder}/mine")
        ones = [night(k, Water()) for k in range(100)]
        teach({s.run.number: s.run for s in ones}, ones)  # what is loaded once is loaded
        # Not `getrusage`: its peak is that of the process this one was begun from, where that was larger.
        Path("/proc/self/clear_refs").write_text("5", encoding="ascii")  # the peak begins anew (proc(5))
        before = _peak_mb()
        for part in range(n // 100):
            other.put_together(
                [
                    replace(s, run=replace(s.run, number=f"{part:04d}{k:03d}", boat=f"{part}"))
                    for k, s in enumerate(ones)
                ]
            )
        assert mine.take_in(other) == n
        teach(mine.runs(), mine.summaries())
        return _peak_mb() - before


def _peak_mb() -> float:
    status = Path("/proc/self/status").read_text(encoding="ascii")
    return next(int(line.split()[1]) for line in status.splitlines() if line.startswith("VmHWM")) / 1024.0


def _fleet(folder: Path) -> Iterator[Result]:
    """Yield the constants, and what they come to in a fleet's year: each recorded hour read, all of it taught once."""
    path = folder / "fleet.mcap"
    chart = Chart.open([demo_folder() / "waters.gpkg"])
    record(ScenePlayer(made_night(0, ONE_BOAT[0], FLEET_TURNS)), chart, path, with_video=True)
    hours = FLEET_TURNS * 2.5 / 3600.0
    reduce_one(ReduceJob(), str(path))  # what is loaded once is loaded
    read_s, outcome = _processor_s(lambda: reduce_one(ReduceJob(), str(path)))
    _anew(str(path))
    anew_s, _ = _processor_s(lambda: _anew(str(path)))
    assert outcome.summary is not None
    store = Store(str(folder / "fleet"))
    store.put(outcome.summary)
    kept = sum(p.stat().st_size for p in (folder / "fleet").rglob("*") if p.is_file())
    teach_s = _per_run_s(100)
    runs = BOATS * RUNS_A_YEAR
    yield Result(f"{NAMES[4]}.read", read_s / hours, "s of the processor an hour recorded")
    yield Result(f"{NAMES[4]}.read_anew", anew_s / hours, "s of the processor an hour recorded")
    yield Result(f"{NAMES[4]}.teach", teach_s, "s of the processor a run")
    yield Result(f"{NAMES[4]}.kept", kept / 1024.0, "kB a run")
    taught_h = runs * teach_s / 3600.0
    yield Result(NAMES[4], runs * HOURS_A_RUN * read_s / hours / 3600.0 + taught_h, "core hours a year")
    yield Result(f"{NAMES[4]}.anew", runs * HOURS_A_RUN * anew_s / hours / 3600.0 + taught_h, "core hours a year")
    yield Result(f"{NAMES[4]}.disk", runs * kept / 1e9, "GB a year")


def _processor_s(work: Callable[[], Outcome]) -> tuple[float, Outcome]:
    began = time.process_time()
    outcome = work()
    return time.process_time() - began, outcome
