"""Marks drawn at one place of the screen: what is taken for one, and what never is.  Made turns, plain geometry."""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.typing import NDArray

from moonless.constants import TAU
from moonless.picture.over.fixed import FixedMarks

SHAPE = (1024, 256)
S = 1_000_000_000
Echo = NDArray[np.uint8]

# Places over the ground, cells east and north of where the boat begins: buoys, and a shore to the west.
BUOYS = [(60.0, 90.0), (-30.0, 150.0), (100.0, 20.0), (40.0, -120.0), (150.0, 100.0), (20.0, 60.0), (-20.0, -60.0)]
MARK = (-70.0, 48.0)  # on the screen, cells from the boat


def _angles() -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    angle = np.arange(SHAPE[0])[:, None] / SHAPE[0] * TAU
    reach = np.arange(SHAPE[1])[None, :] + 0.5
    return (reach * np.sin(angle)).astype(np.float64), (reach * np.cos(angle)).astype(np.float64)


EAST, NORTH = _angles()


def _seen(at: tuple[float, float], rng: np.random.Generator) -> Echo:
    """Return what a radar shows of buoys and a shore from a place: a beam of 3 degrees, no edge twice alike."""
    out = np.zeros(SHAPE, np.uint8)
    for east, north in BUOYS:
        x, y = east - at[0], north - at[1]
        reach, bearing = math.hypot(x, y), math.atan2(x, y)
        half = math.radians(1.5) * rng.uniform(0.6, 1.4)
        off = (np.arange(SHAPE[0]) / SHAPE[0] * TAU - bearing + math.pi) % TAU - math.pi
        cells = np.abs(np.arange(SHAPE[1]) + 0.5 - reach) <= rng.uniform(1.5, 3.0)
        out[np.ix_(np.abs(off) <= half, cells)] = 220
    ground = EAST + at[0]
    along = NORTH + at[1]
    shore = ground < -130.0 + 20.0 * np.sin(along / 15.0) + 6.0 * np.sin(along / 4.0)
    out[shore] = rng.choice(np.array([120, 255], np.uint8), int(shore.sum()))
    return out


def _mark() -> NDArray[np.bool_]:
    """Return a cross of two arms, eleven cells long."""
    x, y = np.abs(EAST - MARK[0]), np.abs(NORTH - MARK[1])
    return ((x <= 5.5) & (y <= 1.0)) | ((y <= 5.5) & (x <= 1.0))


def _line(bearing: float) -> NDArray[np.bool_]:
    """Return a bearing line: dashes of nine cells with nine between, two cells wide from the boat to the edge."""
    off = np.abs(EAST * math.cos(bearing) - NORTH * math.sin(bearing))
    ahead = EAST * math.sin(bearing) + NORTH * math.cos(bearing)
    return (off <= 1.2) & (ahead > 0.0) & (ahead % 18.0 < 9.0)


def _run(speed: float, marks: NDArray[np.bool_] | None, turns: int = 70, seed: int = 0) -> tuple[FixedMarks, Echo]:
    """Return what is learnt over turns of two seconds with a boat that goes north by ``speed`` cells a turn."""
    rng, fixed = np.random.default_rng(seed), FixedMarks(SHAPE)
    echo = np.zeros(SHAPE, np.uint8)
    for k in range(turns):
        echo = _seen((0.0, speed * k), rng)
        if marks is not None:
            echo[marks] = 180
        covered = fixed.look(echo, None, 2 * k * S)
        echo = np.where(covered, 0, echo).astype(np.uint8)
    return fixed, echo


def test_a_mark_goes_when_the_boat_does_and_no_echo_with_it() -> None:
    mark = _mark()
    fixed, left = _run(1.5, mark)
    # She went 69 times 1.5 cells; what is measured is that to a part.
    assert fixed.gone_cells == pytest.approx(103.5, rel=0.15)
    assert not left[mark].any()
    there = _seen((0.0, 1.5 * 69), np.random.default_rng(9)) > 0
    beside = there & ~_dilated(mark, 4)
    assert (left[beside] > 0).mean() > 0.9


def test_what_a_boat_lying_still_sees_stays() -> None:
    mark = _mark()
    fixed, left = _run(0.0, mark, turns=120)
    assert fixed.gone_cells == 0.0
    # Not even the mark is taken: a pile beside her would look so.
    assert left[mark].all()
    there = _seen((0.0, 0.0), np.random.default_rng(9)) > 0
    assert (left[there] > 0).mean() > 0.9


@pytest.mark.parametrize("speed", [0.0, 1.5])
@pytest.mark.parametrize("bearing", [0.9, 2.1, 0.0])
def test_a_bearing_line_goes_whether_she_goes_or_not(bearing: float, speed: float) -> None:
    line = _line(bearing)
    _, left = _run(speed, line, turns=40)
    outside = np.hypot(EAST, NORTH) > 25.0
    echoes = _seen((0.0, speed * 39), np.random.default_rng(9)) > 0
    near = _dilated(line, 3)
    assert (left[line & outside & ~_dilated(echoes, 6)] > 0).mean() < 0.03
    assert (left[echoes & ~near] > 0).mean() > 0.85


def test_a_row_of_buoys_seen_end_on_is_no_bearing_line() -> None:
    # Eight in a row on one bearing, lying still: each is as wide as the beam makes it, and short.
    fixed, echo = FixedMarks(SHAPE), np.zeros(SHAPE, np.uint8)
    rng = np.random.default_rng(3)
    for k in range(60):
        echo = np.zeros(SHAPE, np.uint8)
        for reach in range(30, 250, 28):
            half = 0.02 * rng.uniform(0.8, 1.2)
            off = (np.arange(SHAPE[0]) / SHAPE[0] * TAU - 1.0 + math.pi) % TAU - math.pi
            echo[np.ix_(np.abs(off) <= half, np.arange(reach, reach + 5))] = 230
        assert not fixed.look(echo, None, 2 * k * S).any()
    assert echo.any()


def test_beside_the_heading_line_nothing_is_learnt() -> None:
    line = _line(0.0)
    fixed = FixedMarks(SHAPE)
    beside = np.abs(EAST) < 9.0
    for k in range(60):
        echo = _seen((0.0, 1.5 * k), np.random.default_rng(k))
        echo[line] = 180
        covered = fixed.look(echo, beside & (NORTH > 0.0), 2 * k * S)
        assert not covered[beside & (NORTH > 12.0)].any()


def test_a_vessel_in_company_stays() -> None:
    # She keeps her place off the boat to the cell for 70 turns; no two turns show her quite alike.
    fixed, rng = FixedMarks(SHAPE), np.random.default_rng(11)
    row, reach = 860, 90
    for k in range(70):
        echo = _seen((0.0, 1.5 * k), rng)
        half, long = rng.integers(5, 9), rng.integers(2, 4)
        echo[row - half : row + half + 1, reach - long : reach + long + 1] = rng.choice([85, 170, 255])
        covered = fixed.look(echo, None, 2 * k * S)
    assert fixed.gone_cells > 80.0
    assert not covered[row, reach]
    # As strong at every turn, her edges still differ.
    fixed = FixedMarks(SHAPE)
    for k in range(70):
        echo = _seen((0.0, 1.5 * k), rng)
        half, long = rng.integers(5, 9), rng.integers(2, 4)
        echo[row - half : row + half + 1, reach - long : reach + long + 1] = 255
        covered = fixed.look(echo, None, 2 * k * S)
    assert not covered[row, reach]


def test_a_mark_that_is_gone_is_forgotten() -> None:
    mark = _mark()
    fixed, left = _run(1.5, mark)
    assert not left[mark].any()
    rng = np.random.default_rng(5)
    for k in range(70, 74):
        covered = fixed.look(_seen((0.0, 1.5 * k), rng), None, 2 * k * S)
    assert not covered[mark].any()


def _dilated(what: NDArray[np.bool_], cells: int) -> NDArray[np.bool_]:
    out = what.copy()
    for _ in range(cells):
        out |= np.roll(out, 1, axis=0) | np.roll(out, -1, axis=0)
        out[:, 1:] |= out[:, :-1].copy()
        out[:, :-1] |= out[:, 1:].copy()
    return out
