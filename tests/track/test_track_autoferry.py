"""Real radar detections with truth: a small ferry in harbour with two boats, and one weaving target (both CC0)."""

from __future__ import annotations

import os
import sys
from pathlib import Path

import numpy as np
import pytest

ROOT = Path(__file__).parents[2]
DATA = Path(os.environ.get("MOONLESS_DATA", ROOT.parent / "shared" / "data")) / "radar" / "autoferry"


# The better of the peers in each, over the same five scenarios (`python -m bench.autoferry DIR`).
PEER_ALL, PEER_MOVING = 14.58, 11.64
PEER_JOYRIDE_HELD, PEER_JOYRIDE_SWITCHES = 0.51, 12


@pytest.mark.data
@pytest.mark.skipif(not DATA.is_dir(), reason=f"no radar detections at {DATA}")
def test_real_detections_are_held_better_than_by_the_peers() -> None:
    sys.path.insert(0, str(ROOT))
    try:
        from bench.autoferry import compare as autoferry
        from bench.autoferry.data import read_all
    finally:
        sys.path.remove(str(ROOT))
    found = read_all(DATA)
    assert len(found) == 5
    scored = {one.name: autoferry.scores(one, autoferry.ours()) for one in found}
    means = np.array([[autoferry.figure(one, s) for s in scored[one.name]] for one in found]).mean(axis=0)
    assert means[0] <= PEER_ALL
    assert means[1] <= PEER_MOVING
    joyride = scored["joyride"][0]
    assert joyride.n_joined / (joyride.n_joined + joyride.n_missed) > PEER_JOYRIDE_HELD + 0.05
    assert joyride.switches < PEER_JOYRIDE_SWITCHES / 2
