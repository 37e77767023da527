"""The deviation card of the steering compass: what to steer by it for a magnetic course.

Easterly deviation is positive, as variation is: magnetic = compass + deviation, true = magnetic + variation (Bowditch,
The American Practical Navigator, and every other book of the trade).  Between the headings of the card deviation is
taken to change evenly.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

# Headings of a card farther apart than this say too little of what lies between them.  Cards are made every 15 to 45
# degrees (common practice).
WIDEST_GAP_DEG = 90.0

Card = Sequence[tuple[float, float]]
"""(compass heading, deviation), degrees, by rising heading."""


def card_fault(card: Card) -> str:
    """Return why a card cannot be used, in words; "" where it can, or is empty."""
    if not card:
        return ""
    headings = [heading % 360.0 for heading, _ in card]
    for before, after in itertools.pairwise((*headings, headings[0] + 360.0)):
        if after - before < 1e-9:
            return f"heading {before:g} is there twice"
        if after - before > WIDEST_GAP_DEG + 1e-9:
            return f"nothing between {before:g} and {after % 360.0:g}; {WIDEST_GAP_DEG:g} degrees apart is the most"
    magnetic = [heading + deviation for heading, deviation in card]
    for before, after in itertools.pairwise((*magnetic, magnetic[0] + 360.0)):
        if after <= before:
            return f"two headings stand for one magnetic course, near {before % 360.0:.0f}: is a sign wrong?"
    return ""


def deviation_deg(card: Card, compass_deg: float) -> float:
    """Return the deviation on a compass heading, degrees, positive east."""
    headings, magnetic = _round(card)
    return float(np.interp(compass_deg % 360.0, headings, magnetic - headings))


def compass_deg(card: Card, magnetic_deg: float) -> float:
    """Return what to steer by compass for a magnetic course, degrees from 0 up to 360."""
    headings, magnetic = _round(card)
    return float(np.interp(magnetic_deg % 360.0, magnetic, headings)) % 360.0


def _round(card: Card) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return (compass, magnetic) of the card's headings, a whole turn more either way."""
    rows = np.array(card, dtype=np.float64)
    headings = np.concatenate([rows[:, 0] + turn for turn in (-360.0, 0.0, 360.0)])
    return headings, headings + np.tile(rows[:, 1], 3)
