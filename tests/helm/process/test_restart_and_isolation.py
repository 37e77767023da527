"""A watch process that dies is started anew; charts and knowledge that cannot be read cost themselves alone."""

from __future__ import annotations

import asyncio
import os
import signal
import threading
from dataclasses import dataclass, replace
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any

import pytest
from helm_made import MadeSource

from moonless.chart.index import open_index
from moonless.clock import steady_s
from moonless.errors import LinkError, SourceError
from moonless.helm.process import worker_process
from moonless.helm.process.chart_opening import open_charts
from moonless.helm.process.events import Event, Notice, SourceState
from moonless.helm.process.worker import Left, without_scan
from moonless.helm.process.worker_process import WorkerProcess
from moonless.scene.story import demo_chart
from moonless.watch.types import ChainKept, LinkNow


@dataclass(frozen=True)
class Dies:
    """Says a word and is killed, as by the system when memory runs out; ``is_last``: ends well instead."""

    word: str
    is_last: bool = False
    then: str = ""  # the word of the next, which ends well

    def ready(self) -> Dies:
        return self

    def going_on(self, left: Left) -> Dies:
        return Dies(self.then, is_last=True) if self.then else self

    def run(self, pipe: Connection) -> None:
        pipe.send(Notice(self.word))
        if not self.is_last:
            os.kill(os.getpid(), signal.SIGKILL)


@dataclass(frozen=True)
class Hangs(Dies):
    """Gives a reading and then says nothing any more."""

    def run(self, pipe: Connection) -> None:
        pipe.send(without_scan(MadeSource().turn()))
        threading.Event().wait()


def _events(source: WorkerProcess) -> list[Event]:
    async def go() -> list[Event]:
        return [event async for event in source.events()]

    return asyncio.run(go())


def test_a_watch_that_is_killed_is_started_anew_and_told() -> None:
    source = WorkerProcess("live", Dies("first"), {}, Dies("first", then="second"))
    events = _events(source)
    words = [e.text for e in events if isinstance(e, Notice)]
    assert words == ["first", "second"]
    assert [e.state for e in events if isinstance(e, LinkNow)] == ["lost"]
    # What was shown is of before.
    assert [e.restarted for e in events if isinstance(e, SourceState)] == [True]


def test_a_watch_that_hangs_is_ended_and_gone_on_with(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(worker_process, "HUNG_S", 1.0)
    events = _events(WorkerProcess("live", Hangs("first"), {}, Dies("first", then="second")))
    assert [e.text for e in events if isinstance(e, Notice)] == ["second"]
    lost = [e.text for e in events if isinstance(e, LinkNow) and e.state == "lost"]
    assert len(lost) == 1 and "said nothing for 1 s" in lost[0]


@dataclass(frozen=True)
class StoodBy(Dies):
    """A job that says whether it was made ready before it was needed, and what was left to it."""

    is_ready: bool = False
    left: Left = Left()  # noqa: RUF009  frozen

    def ready(self) -> StoodBy:
        return replace(self, is_ready=True)

    def going_on(self, left: Left) -> StoodBy:
        return replace(self, word="next", left=left, is_last=True)

    def run(self, pipe: Connection) -> None:
        if not self.is_last:
            pipe.send(without_scan(MadeSource().turn()))
            pipe.send(ChainKept(b"state", b"layout"))
            pipe.send(ChainKept(b"newer", None))
            threading.Event().wait(1.0)  # the next turn finds it well
            pipe.send(without_scan(MadeSource().turn()))
            threading.Event().wait(3.0)
            os.kill(os.getpid(), signal.SIGKILL)
        kept = self.left.kept
        pipe.send(Notice(f"{self.is_ready} {None if kept is None else (kept.state, kept.layout)}"))


@pytest.mark.parametrize("poisoned_s", [0.1, 60.0])
def test_a_process_that_stands_by_goes_on_from_what_was_kept(
    monkeypatch: pytest.MonkeyPatch, poisoned_s: float
) -> None:
    monkeypatch.setattr(worker_process, "SPARE_AFTER_S", 0.1)
    monkeypatch.setattr(worker_process, "POISONED_S", poisoned_s)
    monkeypatch.setattr(worker_process, "has_room", lambda: True)
    job = StoodBy("first")
    events = _events(WorkerProcess("live", job, {}, job))
    # What may be what killed it is not gone on from.
    kept = (b"newer", b"layout") if poisoned_s < 1.0 else None
    assert [e.text for e in events if isinstance(e, Notice)] == [f"True {kept}"]


def test_one_that_dies_again_and_again_is_given_up() -> None:
    began_s = steady_s()
    source = WorkerProcess("live", Dies("x"), {}, Dies("x"))
    with pytest.raises(LinkError, match="ended by itself"):
        _events(source)
    assert steady_s() - began_s < worker_process.WITHIN_S


def test_one_that_may_not_is_not_started_again() -> None:
    with pytest.raises(LinkError, match="exit code -9"):
        _events(WorkerProcess("demo", Dies("x"), {}))


def test_a_bad_chart_and_bad_knowledge_cost_themselves_alone(tmp_path: Path) -> None:
    (tmp_path / "bad.000").write_bytes(b"no cell at all" * 100)
    (tmp_path / "known.gpkg").write_bytes(b"no knowledge at all")
    told: list[tuple[str, str]] = []
    chart, knowledge = open_charts([tmp_path / "bad.000"], tmp_path / "known.gpkg", lambda *one: told.append(one))
    assert chart is None and knowledge is None
    assert [what for what, _ in told] == ["the chart", "local knowledge"]
    assert all("goes on without" in line for _, line in told)
    with pytest.raises(SourceError):
        open_charts([tmp_path / "bad.000"], None)


def test_what_the_geometry_library_raises_costs_one_chart(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    whole = open_index
    bad = tmp_path / "bad.gpkg"
    bad.write_bytes(demo_chart().read_bytes())

    def flipped(source: Any, *args: Any) -> Any:
        if str(bad) in str(source):
            raise RuntimeError("IllegalArgumentException: point array must contain 0 or >1 elements")
        return whole(source, *args)

    monkeypatch.setattr("moonless.chart.library.open_index", flipped)
    told: list[tuple[str, str]] = []
    chart, _ = open_charts([bad, demo_chart()], None, lambda *one: told.append(one))
    assert chart is not None and len(chart.cells) >= 1
    assert len(told) == 1 and "point array" in told[0][1] and str(bad) in told[0][1]
