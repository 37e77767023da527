"""When a range scale is believed, case by case: each row is worked by hand from the rules at the head of `range_scale`.

The limits are the project's own (`design/range_scale.py`), written out here as figures so that no slip moves them.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pytest
from reading_fakes import FRAME, T0, S

from moonless.frames import LocalFrame
from moonless.reading.own import OwnPlane
from moonless.reading.registration import range_scale
from moonless.reading.registration.range_scale import RangeScale, _by_way, _Fit, _found, _is_borne_out, _Told
from moonless.scan.own_motion import Look, Passed


def _said(shares: list[float], **fits: tuple[float, float, int, float]) -> _Told:
    """``fits``: by the factor in hundredths, (evidence, best, looks, votes)."""
    told = _Told(10.0)
    told.shares.extend(shares)
    for name, (evidence, best, looks, votes) in fits.items():
        told.fits[int(name[1:]) / 100.0] = _Fit(looks, evidence, best, votes)
    return told


# By the picture the boat has gone so much of her way: of cells told half as long as they are, half.
WAY: list[tuple[list[float], float | None]] = [
    ([], None), ([1.0], 1.0), ([0.5], 2.0), ([0.25], 4.0), ([2.0], 0.5), ([4.0], 0.25),
    # The middle of them: 0.5, of 0.45, 0.5 and 0.62; each within a third of it.
    ([0.45, 0.62, 0.5], 2.0), ([2.3, 1.9, 1.8], 0.5),
    # One that is more than 1.35 times off makes all of them no word for another scale.
    ([0.5, 0.5, 0.68], 1.0), ([0.5, 0.5, 0.67], 2.0), ([0.5, 0.5, 0.365], 1.0), ([0.5, 0.5, 0.375], 2.0),
    ([0.5, 0.5, 1.0], 1.0), ([0.9, 1.1, 1.0], 1.0), ([0.2, 0.2, 0.3], 4.0),
    # Between two factors the nearer in ratio: 1/0.335 = 2.99 is 1.34 times less than 4 and 1.49 times more than 2.
    ([0.335], 4.0),
]  # fmt: skip


@pytest.mark.parametrize(("shares", "factor"), WAY)
def test_what_stretches_of_way_tell(shares: list[float], factor: float | None) -> None:
    assert _by_way(_said(shares)) == factor


BORNE: list[tuple[str, _Told, bool]] = [
    ("nothing is known", _said([]), False),
    ("three stretches as told", _said([1.0, 0.85, 1.15]), True),
    ("two are too few", _said([1.0, 1.0]), False),
    ("one is a fifth longer", _said([1.0, 1.0, 1.21]), False),
    ("one is a fifth shorter", _said([1.0, 1.0, 0.83]), False),
    ("the coast fits", _said([], f100=(0.0, -0.2, 2, 8.0)), True),
    ("at one look", _said([], f100=(0.0, -0.2, 1, 8.0)), False),
    ("with too few votes", _said([], f100=(0.0, -0.2, 2, 7.9)), False),
    ("no better than chance", _said([], f100=(0.0, -0.21, 2, 8.0)), False),
    ("and a stretch says so", _said([1.1], f100=(0.0, -0.2, 2, 8.0)), True),
    ("but a stretch says otherwise", _said([0.5], f100=(0.0, -0.2, 2, 8.0)), False),
    ("another scale fits as well", _said([], f100=(0.0, 0.0, 2, 8.0), f200=(-0.09, 0.0, 1, 8.0)), False),
    ("another fits less", _said([], f100=(0.0, 0.0, 2, 8.0), f200=(-0.11, 0.0, 1, 8.0)), True),
    ("another fits less, and it is a shorter", _said([], f100=(0.0, 0.0, 2, 8.0), f50=(-0.11, 0.0, 1, 8.0)), True),
    ("a shorter fits as well", _said([], f100=(0.0, 0.0, 2, 8.0), f50=(0.3, 0.0, 1, 8.0)), False),
    ("by too few votes to say", _said([], f100=(0.0, 0.0, 2, 8.0), f50=(0.3, 0.0, 1, 7.9)), True),
    ("its neighbours are it", _said([], f100=(0.0, 0.0, 2, 8.0), f80=(0.3, 0, 2, 9.0), f125=(1, 0, 2, 9.0)), True),
]  # fmt: skip


@pytest.mark.parametrize(("why", "told", "is_so"), BORNE, ids=[b[0] for b in BORNE])
def test_when_the_scale_as_told_is_borne_out(why: str, told: _Told, is_so: bool) -> None:
    assert _is_borne_out(told) is is_so


# The coast alone: it fits well at 2 (at -0.1 or more), no better than chance at 1 (at -0.2 or less), plainly worse at
# all others (by 0.25) and beside (by 0.05), three looks.
ALONE = {
    "f100": (-0.8, -0.2, 3, 8.0), "f200": (-0.1, -0.1, 3, 12.0), "f160": (-0.2, 0.0, 3, 12.0),
    "f250": (-0.2, 0.0, 3, 12.0), "f400": (-0.4, 0.0, 3, 12.0), "f50": (-0.5, 0.0, 3, 12.0),
}  # fmt: skip

FOUND: list[tuple[str, list[float], dict[str, tuple[float, float, int, float]], float | None]] = [
    ("the coast alone", [], {}, 2.0),
    ("at two looks", [], {"f200": (-0.1, -0.1, 2, 12.0)}, None),
    ("by too few votes", [], {"f200": (-0.1, -0.1, 3, 11.9)}, None),
    ("not well enough", [], {"f200": (-0.1, -0.11, 3, 12.0)}, None),
    ("the told one is no worse than chance", [], {"f100": (-0.8, -0.19, 3, 8.0)}, None),
    ("too little is known of the told one", [], {"f100": (-0.8, -0.2, 3, 7.9)}, None),
    ("another is nearly as good", [], {"f400": (-0.34, 0.0, 3, 12.0)}, None),
    ("another plainly is not", [], {"f400": (-0.36, 0.0, 3, 12.0)}, 2.0),
    ("another would be, by few votes", [], {"f400": (-0.34, 0.0, 3, 7.9)}, 2.0),
    ("it grows on past it", [], {"f250": (-0.14, 0.0, 3, 12.0)}, None),
    ("it grows on short of it", [], {"f160": (-0.14, 0.0, 3, 12.0)}, None),
    ("there is a peak", [], {"f160": (-0.16, 0.0, 3, 12.0), "f250": (-0.16, 0.0, 3, 12.0)}, 2.0),
    ("own motion says that it is as told", [1.0], {}, None),
    ("own motion says otherwise", [0.25], {}, None),
    ("own motion is of no one mind", [0.5, 0.5, 1.0], {}, None),
    # With own motion two looks and a tenth ahead of the told one are enough, wherever the others lie.
    ("both", [0.5], {"f200": (-0.1, -0.9, 2, 12.0), "f100": (-0.21, 0.9, 2, 8.0), "f400": (-0.11, 0.0, 3, 12.0)}, 2.0),
    ("both, at one look", [0.5], {"f200": (-0.1, -0.1, 1, 12.0)}, None),
    ("both, at one look of the told one", [0.5], {"f100": (-0.8, -0.2, 1, 8.0)}, None),
    ("both, hardly ahead", [0.5], {"f100": (-0.19, -0.2, 3, 8.0)}, None),
    ("a shorter one fits best", [2.0], {"f50": (-0.05, 0.0, 3, 12.0), "f400": (-0.5, 0.0, 3, 12.0)}, 0.5),
]  # fmt: skip


@pytest.mark.parametrize(("why", "shares", "changed", "factor"), FOUND, ids=[f[0] for f in FOUND])
def test_when_another_scale_is_found(
    why: str, shares: list[float], changed: dict[str, tuple[float, float, int, float]], factor: float | None
) -> None:
    told = _said(shares, **{**ALONE, **changed})
    for beside in (0.625, 0.4, 3.2, 5.0):
        told.fits.setdefault(beside, _Fit(3, -0.6, 0.0, 12.0))
    assert _found(told) == factor
    # Of the told scale nothing is known yet: nothing is found.
    del told.fits[1.0]
    assert _found(told) is None


@dataclass
class _Turn:
    """A turn that knows nothing but its cells and its end."""

    cell_m: float
    end_ns: int


def _look(time_ns: int) -> Look:
    return Look(time_ns, np.zeros((1, 1), dtype=np.float32), 0.0, 0.0, 0.0, 0.0, 10.0)


def _way(
    monkeypatch: pytest.MonkeyPatch, *, gone_m: float = 60.0, after_s: float = 30.0, cell_m: float = 10.0,
    turned_deg: float = 0.0, frame: LocalFrame = FRAME, passed: Passed | None = None, heading: float | None = 6.2,
) -> _Told:  # fmt: skip
    """Begin a stretch of way and come to its end: north-east, so that neither axis alone is the way."""
    said = passed or Passed(gone_m, 0.5, 0.0, 8, 8)
    monkeypatch.setattr(range_scale, "look", lambda scan: _look(scan.end_ns))
    monkeypatch.setattr(range_scale, "passed", lambda before, now: said)
    told = _Told(cell_m)
    begun = OwnPlane(FRAME, 100.0, -40.0, heading, 0.0, 5.0)
    ended = replace(begun, frame=frame, east_m=100.0 + 0.6 * gone_m, north_m=-40.0 + 0.8 * gone_m)
    if heading is not None:
        # Through north: 6.2 rad is 355.2 degrees.
        ended = replace(ended, heading_rad=(heading + math.radians(turned_deg)) % math.tau)
    turn: Any = _Turn(cell_m, T0)
    range_scale._look_at_way(told, turn, begun)
    assert told.begun is not None and told.begun[0] is begun
    turn = _Turn(cell_m, T0 + round(after_s * S))
    range_scale._look_at_way(told, turn, ended)
    return told


# name, what is other, whether it is a share, whether a new stretch has begun.
STRETCH: list[tuple[str, dict[str, Any], bool, bool]] = [
    ("a stretch", {}, True, True),
    ("not four cells yet", {"gone_m": 39.0}, False, False),
    ("four cells", {"gone_m": 41.0}, True, True),
    ("of short cells 25 m", {"gone_m": 26.0, "cell_m": 3.0}, True, True),
    ("of short cells not 25 m", {"gone_m": 24.0, "cell_m": 3.0}, False, False),
    ("in a minute and a half", {"after_s": 89.0}, True, True),
    ("longer than that", {"after_s": 91.0}, False, True),
    ("the clock was put back", {"after_s": -2.0}, False, True),
    ("turned by 14 degrees", {"turned_deg": 14.0}, True, True),
    ("turned by 14 degrees to port", {"turned_deg": -14.0}, True, True),
    ("turned by 16 degrees", {"turned_deg": 16.0}, False, True),
    ("turned by 16 degrees to port", {"turned_deg": -16.0}, False, True),
    ("no heading to turn", {"heading": None}, True, True),
    ("in another plane", {"frame": LocalFrame(10.5, -150.0)}, False, True),
    ("seven sectors", {"passed": Passed(60.0, 0.5, 0.0, 7, 7)}, False, True),
    ("slides to one side", {"passed": Passed(60.0, 0.5, 0.3, 8, 8)}, False, True),
    ("slides to the other", {"passed": Passed(60.0, 0.5, -0.3, 8, 8)}, False, True),
    ("slides a little", {"passed": Passed(60.0, 0.5, -0.2, 8, 8)}, True, True),
]


@pytest.mark.parametrize(("why", "other", "is_share", "is_anew"), STRETCH, ids=[s[0] for s in STRETCH])
def test_which_stretches_of_way_speak(
    why: str, other: dict[str, Any], is_share: bool, is_anew: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    told = _way(monkeypatch, **other)
    assert list(told.shares) == ([0.5] if is_share else [])
    assert told.begun is not None and (told.begun[0].east_m != 100.0) is is_anew


def test_the_last_five_stretches_count() -> None:
    told = _said([0.5] * 3 + [1.0] * 5)
    assert list(told.shares) == [1.0] * 5


def test_a_turn_that_cannot_be_looked_at_ends_a_stretch(monkeypatch: pytest.MonkeyPatch) -> None:
    told = _way(monkeypatch)
    monkeypatch.setattr(range_scale, "look", lambda scan: None)
    own = OwnPlane(FRAME, 900.0, 900.0, 6.2, 0.0, 5.0)
    turn: Any = _Turn(10.0, T0 + 50 * S)
    range_scale._look_at_way(told, turn, own)
    assert told.begun is None and list(told.shares) == [0.5]


def test_what_was_found_goes_with_the_cell_length_that_was_told(monkeypatch: pytest.MonkeyPatch) -> None:
    """Another range of the set: nothing is known of it.  The same one again, to a thousandth: all stays."""
    monkeypatch.setattr(range_scale, "_look_at_way", lambda *a: None)
    scale, seen = RangeScale(), type("Seen", (), {"shore_rel": np.zeros((0, 2))})()
    own = OwnPlane(FRAME, 0.0, 0.0, 0.0, 0.0, 5.0)

    def turn(cell_m: float) -> None:
        one: Any = _Turn(cell_m, T0)
        none: Any = seen
        scale.update(one, none, own, lambda reach_m: None)

    turn(10.0)
    scale.found = 2.0
    turn(10.009)
    assert scale.found == 2.0
    turn(9.991)
    assert scale.found == 2.0
    turn(10.02)
    assert scale.found is None
    scale.found = 2.0
    turn(9.9)
    assert scale.found is None
