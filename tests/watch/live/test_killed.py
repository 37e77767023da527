"""A watch that is killed keeps what it took in, but for the last second."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from bench.rooms.killed import killed

pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(not hasattr(os, "fork"), reason="the child is a fork"),
    # The child of a fork has none of the threads of this process, and needs none.
    pytest.mark.filterwarnings("ignore:.*use of fork.*:DeprecationWarning"),
]


@pytest.mark.parametrize("after_s", [0.4, 5.0, 6.3])
def test_at_most_the_last_second_is_lost(tmp_path: Path, after_s: float) -> None:
    # One second by the format's own rule, and what a slower machine adds; what is there is whole, in order.
    assert killed(tmp_path / "run.mcap", after_s) < min(3.0, after_s + 1.0)
