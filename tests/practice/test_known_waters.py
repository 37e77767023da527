"""What was learned of one's own water comes up in the exercises over it, and only there."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from moonless.boat.types import Boat
from moonless.chart.local_knowledge.knowledge import Knowledge
from moonless.practice.ladder import make
from moonless.practice.waters import PracticeWaters, open_waters
from moonless.scene.file import demo_folder


@pytest.mark.slow
def test_what_was_learned_is_put_into_the_scenes(waters: PracticeWaters, boat: Boat, tmp_path: Path) -> None:
    """The same seeds without knowledge never ask for that place; with it, about half of those with anything do."""
    frame = waters.chart.frame
    spot = next((e, n) for e, n, away in waters.navigable.tolist() if 150.0 < away < 600.0)
    lat, lon = (float(v) for v in frame.to_geographic(*spot))
    knowledge = Knowledge(tmp_path / "own.gpkg")
    knowledge.add(lat, lon, "something that swings, as a mooring", seen_ns=0, kind="learned", confidence=0.9)
    charts = [demo_folder() / "waters.gpkg"]
    known = open_waters(charts, boat.draught_m, knowledge=knowledge)
    assert math.dist(known.known[0][0], spot) < 1.0 and waters.known == ()

    def near(some: PracticeWaters, seed: int) -> bool:
        right = make("not_charted", seed, some, boat).key.right.place
        return right is not None and math.dist(right, spot) < 5.0

    seeds = range(300, 306)
    met = [seed for seed in seeds if near(known, seed)]
    assert 1 <= len(met) <= 5
    assert not any(near(waters, seed) for seed in met)
    assert "something that swings" in make("not_charted", met[0], known, boat).because.lower()
