"""The deviation card, against a page of a magnetic compass record book and the rule of the books."""

from __future__ import annotations

import math
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from moonless.boat.compass import card_fault, compass_deg, deviation_deg
from moonless.boat.file import read_boat
from moonless.errors import TableError

LEAST = '[boat]\nname = "P"\nlength_m = 9\nbeam_m = 3\ndraught_m = 0.9\nair_draught_m = 4\n'

# NAVEDTRA 14220 (US Navy, public), chapter 2, "Practical Application", the excerpt of a Magnetic Compass Record Book:
# true heading 121 and 271, variation 14 W, magnetic 135 and 285; standard compass 136, deviation 1 W, and 289, 4 W;
# steering compass 134, 1 E, and 283, 2 E.  The other two rows of each card are made up to close the circle.
STANDARD = ((40.0, 0.0), (136.0, -1.0), (212.0, -2.0), (289.0, -4.0))
STEERING = ((40.0, 0.0), (134.0, 1.0), (212.0, 1.5), (283.0, 2.0))


@pytest.mark.parametrize(
    ("card", "true_deg", "magnetic", "by_compass", "deviation"),
    [
        (STANDARD, 121.0, 135.0, 136.0, -1.0),
        (STANDARD, 271.0, 285.0, 289.0, -4.0),
        (STEERING, 121.0, 135.0, 134.0, 1.0),
        (STEERING, 271.0, 285.0, 283.0, 2.0),
    ],
)
def test_the_record_book_of_the_navy_manual(
    card: tuple[tuple[float, float], ...], true_deg: float, magnetic: float, by_compass: float, deviation: float
) -> None:
    assert true_deg - -14.0 == magnetic  # true = magnetic + variation, west negative
    assert compass_deg(card, magnetic) == pytest.approx(by_compass)
    assert deviation_deg(card, by_compass) == pytest.approx(deviation)


def test_error_west_compass_best_error_east_compass_least() -> None:
    # Draper, Lectures in Navigation (1918): variation 10 W and deviation 5 W are an error of 15 W; 10 W and 5 E of 5 W.
    for deviation, error in ((-5.0, -15.0), (5.0, -5.0)):
        card = tuple((heading, deviation) for heading in (0.0, 90.0, 180.0, 270.0))
        assert compass_deg(card, 200.0 + 10.0) == pytest.approx(200.0 - error)


@given(
    amplitudes=st.tuples(*(st.floats(-5.0, 5.0) for _ in range(5))),
    step=st.sampled_from([15, 30, 45, 90]),
    magnetic=st.floats(-720.0, 720.0),
)
def test_what_is_steered_stands_for_the_course(amplitudes: tuple[float, ...], step: int, magnetic: float) -> None:
    # A card as compasses have them: the coefficients A to E of the books.
    a, b, c, d, e = amplitudes
    card = []
    for heading in range(0, 360, step):
        h = math.radians(heading)
        swing = a + b * math.sin(h) + c * math.cos(h) + d * math.sin(2 * h) + e * math.cos(2 * h)
        card.append((float(heading), swing))
    assert card_fault(card) == ""
    steered = compass_deg(card, magnetic)
    assert 0.0 <= steered < 360.0
    off = steered + deviation_deg(card, steered) - magnetic
    assert math.remainder(off, 360.0) == pytest.approx(0.0, abs=1e-6)


@pytest.mark.parametrize(
    ("rows", "phrase"),
    [
        ([(0, 1), (90, 2), (180, 3)], "nothing between 180 and 0"),
        ([(0, 1), (360, 2), (90, 0), (180, 0), (270, 0)], "heading 0 is there twice"),
        ([(0, 50), (20, -20), (90, 0), (180, 0), (270, 0)], "is a sign wrong"),
        ([(0, 1)], "nothing between 0 and 0"),
        ([(0, 90)], "allowed is -60 to 60"),
    ],
)
def test_a_card_that_cannot_be_used_is_refused(tmp_path: Path, rows: list[tuple[float, float]], phrase: str) -> None:
    path = tmp_path / "boat.toml"
    path.write_text(LEAST + "".join(f"[[boat.deviation]]\ncompass_deg = {h}\ndeviation_deg = {d}\n" for h, d in rows))
    with pytest.raises(TableError, match=phrase) as caught:
        read_boat(path)
    assert caught.value.key.startswith("boat.deviation")


def test_a_card_is_read_in_any_order(tmp_path: Path) -> None:
    path = tmp_path / "boat.toml"
    rows = [(270, -1), (0, 2), (180, 0.5), (90, 3)]
    path.write_text(LEAST + "".join(f"[[boat.deviation]]\ncompass_deg = {h}\ndeviation_deg = {d}\n" for h, d in rows))
    assert read_boat(path).deviation == ((0.0, 2.0), (90.0, 3.0), (180.0, 0.5), (270.0, -1.0))
