"""The knobs against a plain loop, and the examples that the page's TypeScript is held to."""

from __future__ import annotations

import json
import math
from pathlib import Path

import numpy as np
import pytest

from moonless.practice.raw import levels, painted, threshold_db
from moonless.practice.types import Knobs
from moonless.radar.types import ScanGrid

EXAMPLES = Path(__file__).parent / "raw_examples.json"
GRID = ScanGrid(3, 40, 30.0, 30.0)


def plain(counts: np.ndarray, knobs: Knobs) -> list[float]:
    """The knobs as the module's docstring words them, cell by cell."""
    out = []
    width = max(1, round(250.0 / GRID.cell_m))
    for row in counts:
        level = [(int(c) - 20) / 3.0 for c in row]
        for j, value in enumerate(level):
            nearer = [max(v, 0.0) for v in level[max(0, j - width) : j]]
            mean = sum(nearer) / len(nearer) if nearer else 0.0
            range_m = GRID.first_cell_m + j * GRID.cell_m
            far_m = 3704.0 * knobs.sea / 100.0
            taken = 30.0 * math.log10(far_m / range_m) if far_m > range_m else 0.0
            out.append(value - 0.9 * knobs.rain / 100.0 * mean - taken - (30.0 - 0.33 * knobs.gain))
    return out


def test_the_knobs_do_what_their_words_say() -> None:
    shared = json.loads(EXAMPLES.read_text(encoding="utf-8"))
    counts = np.array(shared["counts"], dtype=np.uint8).reshape(GRID.n_spoke, GRID.n_cell)
    grid = shared["grid"]
    assert (grid["n_spoke"], grid["n_cell"], grid["first_m"], grid["cell_m"]) == (3, 40, 30.0, 30.0)
    assert len(shared["cases"]) >= 5
    for case in shared["cases"]:
        knobs = Knobs(**case["knobs"])
        told = plain(counts, knobs)
        assert case["levels"] == pytest.approx(told, abs=1e-4)
        assert levels(counts, GRID, knobs).ravel() == pytest.approx(told, abs=1e-3)


def test_more_gain_paints_more_and_more_sea_or_rain_less() -> None:
    counts = np.random.default_rng(3).integers(0, 200, (3, 40)).astype(np.uint8)
    some = Knobs(50.0, 20.0, 20.0)
    now = painted(counts, GRID, some)
    assert (painted(counts, GRID, Knobs(70.0, 20.0, 20.0)) >= now).all()
    assert (painted(counts, GRID, Knobs(50.0, 60.0, 20.0)) <= now).all()
    assert (painted(counts, GRID, Knobs(50.0, 20.0, 80.0)) <= now).all()
    assert painted(counts, GRID, Knobs(100.0, 0.0, 0.0)).sum() > now.sum()


def test_the_gain_spans_what_the_manual_says() -> None:
    assert threshold_db(0.0) == 30.0 and threshold_db(100.0) == -3.0


def write_examples() -> None:
    """Make the examples anew, by the plain loop: ``python tests/practice/test_raw.py``."""
    counts = np.random.default_rng(11).integers(0, 230, (GRID.n_spoke, GRID.n_cell)).astype(np.uint8)
    cases = []
    for gain, sea, rain in (
        (64.0, 0.0, 0.0),
        (30.0, 50.0, 0.0),
        (80.0, 0.0, 70.0),
        (55.0, 25.0, 40.0),
        (0.0, 100.0, 100.0),
    ):
        told = plain(counts, Knobs(gain, sea, rain))
        knobs = {"gain": gain, "sea": sea, "rain": rain, "scale_nm": 1.5}
        cases.append({"knobs": knobs, "levels": [round(v, 5) for v in told]})
    grid = {"n_spoke": GRID.n_spoke, "n_cell": GRID.n_cell, "first_m": GRID.first_cell_m, "cell_m": GRID.cell_m}
    body = {"grid": grid, "counts": counts.ravel().tolist(), "cases": cases}
    EXAMPLES.write_text(json.dumps(body) + "\n", encoding="utf-8")


if __name__ == "__main__":
    write_examples()
