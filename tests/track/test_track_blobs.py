"""Blobs of real radar video straight to the tracker: it holds what a plain tracker holds, and tells less."""

from __future__ import annotations

import os
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
DATA = Path(os.environ.get("MOONLESS_DATA", ROOT.parent / "shared" / "data")) / "real-radar"


@pytest.mark.data
@pytest.mark.skipif(not DATA.is_dir(), reason=f"no real radar at {DATA}")
def test_real_vessels_are_held() -> None:
    sys.path.insert(0, str(ROOT))
    try:
        from bench.at_sea import blob_sets as _blobs
        from bench.at_sea import blobs
    finally:
        sys.path.remove(str(ROOT))
    # The strait alone: in the inlet no moving vessel with AIS gives an echo of her own, and all is chance.
    folder = DATA / "01_001"
    run, scorer = _blobs.read_run(folder), blobs.scorer_of(DATA)
    ours = blobs.figures(scorer, folder, [_blobs.reading(t, x, run) for t, x in _blobs.tracked(run)], ())
    plain = blobs.figures(scorer, folder, blobs.plain(scorer, run), ())
    assert ours["moving_of_shown"] >= plain["moving_of_shown"] > 0.9
    assert ours["tracks_a_turn"] < 0.9 * plain["tracks_a_turn"]
    assert ours["switches_per_100"] <= 2.0
    assert ours["speed_error_kn"] <= 1.5
