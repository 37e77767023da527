"""The child that compiles at the very first start, and that nothing is started when nothing needs it."""

from __future__ import annotations

import subprocess
import sys
from typing import Any

import pytest

from moonless.watch.runtime import precompile


def test_no_child_where_the_kernels_are_kept(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(precompile, "is_compiled", lambda: True)
    monkeypatch.setattr(subprocess, "Popen", lambda *a, **k: pytest.fail("a child was started"))
    with precompile.PrecompileProcess() as child:
        assert not child.is_running


def test_a_child_ends_with_its_warming(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(precompile, "is_compiled", lambda: False)
    children: list[subprocess.Popen[bytes]] = []
    popen = subprocess.Popen

    def slow(_: Any, **more: Any) -> subprocess.Popen[bytes]:
        children.append(popen([sys.executable, "-c", "import time; time.sleep(60)"], **more))
        return children[-1]

    monkeypatch.setattr(subprocess, "Popen", slow)
    with precompile.PrecompileProcess() as child:
        assert child.is_running
    # Waited for: no zombie.
    assert children[0].returncode is not None


def test_the_made_turns_give_tracks_which_is_what_compiles(monkeypatch: pytest.MonkeyPatch) -> None:
    from moonless.watch.pipeline.chain import Chain

    turns: list[Any] = []
    feed = Chain.feed_radar

    def listen(self: Chain, *args: Any, **more: Any) -> Any:
        made = feed(self, *args, **more)
        turns.extend(made)
        return made

    monkeypatch.setattr(Chain, "feed_radar", listen)
    precompile.read_made_turns()
    assert len(turns) == precompile.TURNS
    assert all(turn.tracks and turn.reading.faults == () for turn in turns)
    assert precompile.is_compiled()
