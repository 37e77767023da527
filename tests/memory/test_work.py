"""Recordings given out and taken back: broken ones passed by, dead workers made good, nothing learned twice."""

from __future__ import annotations

import os
import signal
from pathlib import Path

import pytest
from test_one_run import echo, turn

from moonless.errors import InputError, LinkError
from moonless.memory.work import Outcome, ReduceJob, number_of, over_cluster, over_cores, reduce_one
from moonless.wire.recording import RecordingWriter


def made(path: Path, east: float = 300.0) -> str:
    writer = RecordingWriter(path)
    for k in range(10):
        one = turn(k, [echo(1, east, 100.0)])
        full = one.line | {"seeing": [], "faults": [], "calls": [], "stopping_m": None}
        writer.reading(full, one.time_ns)
    writer.close()
    return str(path)


@pytest.fixture
def recordings(tmp_path: Path) -> list[str]:
    return [made(tmp_path / f"{k}.mcap", 200.0 + 50.0 * k) for k in range(3)]


def dies_once(job: ReduceJob, recording: str, known: frozenset[str]) -> Outcome:
    flag = Path(f"{recording}.tried")
    if recording.endswith("1.mcap") and not flag.exists():
        flag.touch()
        os.kill(os.getpid(), signal.SIGKILL)
    return reduce_one(job, recording, known)


def test_a_broken_recording_is_told_and_the_others_are_read(recordings: list[str], tmp_path: Path) -> None:
    (tmp_path / "bad.mcap").write_bytes(b"not a recording at all")
    outcomes = list(
        over_cores(ReduceJob(), [*recordings, str(tmp_path / "bad.mcap"), str(tmp_path / "none.mcap")], frozenset(), 1)
    )
    assert [o.summary is not None for o in outcomes] == [True, True, True, False, False]
    assert "does not begin as an MCAP file" in (outcomes[3].problem or "")
    assert "not there" in (outcomes[4].problem or "")


def test_the_same_bytes_are_the_same_run(recordings: list[str], tmp_path: Path) -> None:
    copy = tmp_path / "copy.mcap"
    copy.write_bytes(Path(recordings[0]).read_bytes())
    number = number_of(copy)
    assert number == number_of(Path(recordings[0])) != number_of(Path(recordings[1]))
    outcome = reduce_one(ReduceJob(), str(copy), frozenset({number}))
    assert outcome.summary is None and outcome.problem is None


def test_a_recording_may_lie_anywhere_fsspec_reaches(recordings: list[str]) -> None:
    import fsspec

    with fsspec.open("memory://club/run.mcap", "wb") as file:
        file.write(Path(recordings[0]).read_bytes())
    far, near = reduce_one(ReduceJob(), "memory://club/run.mcap"), reduce_one(ReduceJob(), recordings[0])
    assert far.summary is not None and near.summary is not None
    assert far.summary.sightings == near.summary.sightings and far.number == near.number
    assert "cannot be read" in (reduce_one(ReduceJob(), "memory://club/none.mcap").problem or "")


@pytest.mark.slow
def test_a_worker_that_dies_changes_nothing(recordings: list[str]) -> None:
    alone = {o.recording: o.summary for o in over_cores(ReduceJob(), recordings, frozenset(), 1)}
    pair = {o.recording: o.summary for o in over_cores(ReduceJob(), recordings, frozenset(), 2, dies_once)}
    assert Path(f"{recordings[1]}.tried").exists(), "nobody died"
    assert pair == alone and None not in alone.values()


def test_a_cluster_that_does_not_answer_is_one_line() -> None:
    with pytest.raises(LinkError, match="no scheduler answers"):
        list(over_cluster(ReduceJob(), ["a.mcap"], frozenset(), "tcp://127.0.0.1:9", wait_s=0.5))


@pytest.mark.slow
@pytest.mark.filterwarnings("ignore")  # the scheduler's own, of its sockets at the end
def test_a_cluster_gives_what_one_process_does(recordings: list[str]) -> None:
    from distributed import LocalCluster

    with LocalCluster(n_workers=2, threads_per_worker=1, processes=False, dashboard_address=None) as cluster:
        far = {
            o.recording: o.summary
            for o in over_cluster(ReduceJob(), recordings, frozenset(), cluster.scheduler_address)
        }
    assert far == {o.recording: o.summary for o in over_cores(ReduceJob(), recordings, frozenset(), 1)}


def test_a_far_recording_that_cannot_be_read_is_told_by_its_own_name(tmp_path: Path) -> None:
    (tmp_path / "bad.mcap").write_bytes(b"no recording")
    far = f"file://{tmp_path}/bad.mcap"
    told = reduce_one(ReduceJob(), far).problem
    assert told is not None and told.startswith(f"{far} is not a recording")


@pytest.mark.parametrize("address", ["nonsense", "tcp://[::1]", "tcp://host", "host:port", ""])
def test_what_is_no_address_of_a_cluster_is_refused_before_it_is_asked(address: str) -> None:
    with pytest.raises(InputError, match="no address of a scheduler"):
        list(over_cluster(ReduceJob(), ["run.mcap"], frozenset(), address))
