"""How a reported pose goes against the still world: against plain geometry of still things seen from two places."""

from __future__ import annotations

import math

import numpy as np
import pytest

from moonless.echo.still_world import Against, Laid, against
from moonless.frames import LocalFrame

FRAME = LocalFrame(10.0, 20.0)
WAY = np.array([60.0, 80.0])


def _laid(things: np.ndarray, own: np.ndarray, shift: np.ndarray, turn_deg: float, rng: np.random.Generator) -> Laid:
    """Return things (n, 2) as they are laid down by a position that is ``shift`` off and a heading that is turned."""
    rel = things - own
    reach, bearing = np.hypot(*rel.T), np.arctan2(rel[:, 0], rel[:, 1])
    reach = reach + rng.normal(0.0, 3.0, reach.shape)
    bearing = bearing + math.radians(turn_deg) + rng.normal(0.0, math.radians(0.4), bearing.shape)
    said = own + shift
    place = said + np.stack([reach * np.sin(bearing), reach * np.cos(bearing)], axis=1)
    return Laid(0, place, said, FRAME)


def _said(shift: tuple[float, float], turn_deg: float, n_still: int = 40, n_moving: int = 0) -> Against | None:
    rng = np.random.default_rng(4)
    still = rng.uniform(-1500.0, 1500.0, (n_still, 2))
    moving = rng.uniform(-1500.0, 1500.0, (n_moving, 2))
    later = np.concatenate([still, moving + rng.uniform(-60.0, 60.0, (n_moving, 2))])
    before = _laid(np.concatenate([still, moving]), np.zeros(2), np.zeros(2), 0.0, rng)
    return against(before, _laid(later, WAY, np.array(shift), turn_deg, rng))


@pytest.mark.parametrize("shift", [(0.0, 0.0), (10.0, 0.0), (-6.0, 9.0)])
@pytest.mark.parametrize("turn_deg", [0.0, 2.5, -12.0, 20.0])
def test_the_errors_that_a_pose_takes_on_are_found(shift: tuple[float, float], turn_deg: float) -> None:
    said = _said(shift, turn_deg)
    assert said is not None
    # 40 echoes of 3 m and 0.4 degrees: half a metre and a tenth of a degree; three times as much is let pass.
    assert (said.east_m, said.north_m) == (pytest.approx(shift[0], abs=3.0), pytest.approx(shift[1], abs=3.0))
    assert math.degrees(said.turned_rad) == pytest.approx(turn_deg, abs=0.3)
    assert said.share > 0.4


def test_what_moves_by_itself_has_no_voice() -> None:
    said = _said((8.0, 0.0), 1.5, n_moving=40)
    assert said is not None
    assert math.hypot(said.east_m - 8.0, said.north_m) < 3.0
    assert math.degrees(said.turned_rad) == pytest.approx(1.5, abs=0.3)


def test_two_echoes_are_too_little() -> None:
    assert _said((0.0, 0.0), 0.0, n_still=2) is None


def test_echoes_that_never_stand_bear_nothing_out() -> None:
    rng = np.random.default_rng(5)
    one, other = (Laid(0, rng.uniform(-3000.0, 3000.0, (60, 2)), np.zeros(2), FRAME) for _ in range(2))
    said = against(one, other)
    assert said is None or said.share < 0.12


@pytest.mark.parametrize("within_m", [400.0, 800.0])
def test_what_chance_pairs_is_told_beside_what_is_paired(within_m: float) -> None:
    """Strays of a crowded sea are paired by some shift or turn, but not three times as often as aside of it."""
    rng = np.random.default_rng(6)
    for _ in range(30):
        one, other = (Laid(0, rng.uniform(-within_m, within_m, (60, 2)), np.zeros(2), FRAME) for _ in range(2))
        said = against(one, other)
        assert said is not None and said.paired < max(8.0, 3.0 * said.chance)
    stands = _said((8.0, 0.0), 0.0)
    assert stands is not None and stands.paired > 3.0 * stands.chance


def test_a_turn_that_all_bear_out_is_not_borne_out_as_told() -> None:
    turned, sound = _said((0.0, 0.0), 2.5), _said((0.0, 0.0), 0.0)
    assert turned is not None and sound is not None
    assert turned.paired > 1.4 * turned.as_told and sound.paired < 1.4 * sound.as_told
