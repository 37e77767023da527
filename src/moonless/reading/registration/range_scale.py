"""Is a metre of the picture a metre?  The range scale of a set, by the boat's own motion and by the coast.

A set that says its cells are half as long as they are shows every vessel at half her range, and no shift or turn of the
picture mends it.  Two witnesses tell, and neither is AIS:

- **own motion**: over a stretch of way, what stands still comes nearer by as much as the boat went (`scan.own_motion`);
- **the coast**: at which scale do the near edges of shore fit the charted one, whatever the bias and shift?

Rules of this file:
- Range scales go by halves and doubles, and so do the errors of what is said of them: 1/4, 1/2, 2 and 4 are looked for.
- Own motion never decides without the coast: rain that drifts with the wind, or one ship that is all there is to see,
  moves too.  The coast alone decides only when it fits well at one scale, no better than chance at the one told and
  plainly worse at all others, three looks at each, and own motion does not say otherwise.
- What is found holds for the cell length that was told: a set may be right on one scale and wrong on the next.
- Where the told scale is borne out nothing is asked any more, until another cell length is told.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from moonless.reading.chart_around import Place
from moonless.reading.own import OwnPlane
from moonless.reading.registration.bearing_bias import (
    BIAS,
    BIAS_SIGMA,
    FITS_AT,
    SHIFT_PRIOR,
    Coast,
    first_edges,
    shore_likelihood,
)
from moonless.reading.registration.observations import Sightings
from moonless.scan.own_motion import Look, look, passed
from moonless.scan.types import Scan
from moonless.units import NS_PER_S

Floats = NDArray[np.float64]

FACTORS = (0.25, 0.5, 1.0, 2.0, 4.0)
# Each is looked at beside two near it: a fit that grows on past it is no fit at it.
BESIDE = (0.8, 1.0, 1.25)
MOST_EDGES = 80
# The chart is laid out no farther than this for it.
MOST_REACH_M = 16_000.0

# A stretch of way: so long, by receiver and in cells; the antenna and the receiver turn about each other in a turn.
LEAST_WAY_M, LEAST_WAY_CELLS, MOST_S, MOST_TURN = 25.0, 4.0, 90.0, math.radians(15.0)
# A stretch speaks where so many sectors (of 72) bear it out and the picture does not slide sideways.
LEAST_SECTORS, MOST_DRIFT = 8, 0.25
# Of the way, by the picture: as told; a power of two other than one, within.  Measured: 0.40 to 0.62 where the cells
# were told half as long as they are, 0.82 to 1.03 where they were right (two real runs).
AS_TOLD, NEAR_FACTOR = 1.2, 1.35
STRETCHES = 5

# In log likelihood a vote, meaned over the looks (the margins were chosen on the strait and on its picture turned and
# scaled; design/range_scale.py).
LEAST_LOOKS, ALONE_LOOKS = 2, 3
LEAST_VOTES, FOUND_VOTES = 8.0, 12.0
AHEAD, ALONE_AHEAD, PEAKS = 0.1, 0.25, 0.05
ALONE_FITS = FITS_AT + 0.1


@dataclass(slots=True)
class _Fit:
    """How the coast fits at one scale, meaned over its looks."""

    looks: int = 0
    evidence: float = 0.0  # log likelihood a vote, bias, shift and the chart's own error summed out
    best: float = 0.0  # at the best of them
    votes: float = 0.0

    def take(self, evidence: float, best: float, votes: float) -> None:
        self.looks += 1
        part = 1.0 / self.looks
        self.evidence += part * (evidence - self.evidence)
        self.best += part * (best - self.best)
        self.votes += part * (votes - self.votes)


@dataclass(slots=True)
class _Told:
    """What was learnt of one cell length as told."""

    cell_m: float
    fits: dict[float, _Fit] = field(default_factory=dict)
    shares: deque[float] = field(default_factory=lambda: deque(maxlen=STRETCHES))
    begun: tuple[OwnPlane, Look] | None = None  # of the stretch of way going on
    turns: int = 0
    borne_out: bool = False


class RangeScale:
    """Keeps what own motion and coast say of the range scale; ``found`` is by how much a told metre is to be taken."""

    def __init__(self) -> None:
        self._told: _Told | None = None
        self._coast: Coast | None = None
        self.found: float | None = None

    def update(self, scan: Scan, seen: Sightings, own: OwnPlane, lay_out: Callable[[float], Place | None]) -> None:
        """Take in one turn, placed as reported.  ``lay_out``: the chart to a reach, metres."""
        if self._told is None or abs(scan.cell_m - self._told.cell_m) > 1e-3 * scan.cell_m:
            self._told, self._coast, self.found = _Told(scan.cell_m), None, None
        told = self._told
        if told.borne_out or self.found is not None:
            return
        _look_at_way(told, scan, own)
        if len(seen.shore_rel):
            self._look_at_coast(told, scan, seen, own, lay_out)
        told.turns += 1
        told.borne_out = _is_borne_out(told)
        self.found = None if told.borne_out else _found(told)

    def _look_at_coast(
        self, told: _Told, scan: Scan, seen: Sightings, own: OwnPlane, lay_out: Callable[[float], Place | None]
    ) -> None:
        """Look at one factor and its neighbours; all of them come round in as many turns."""
        factors = [f for f in FACTORS if f <= 1.0 or f * scan.max_range_m <= MOST_REACH_M]
        if self._coast is None or not self._coast.place.serves(own.frame, own.east_m, own.north_m, scan.max_range_m):
            place = lay_out(max(factors[-1], 1.0) * scan.max_range_m)
            if place is None or place.shore.tree is None:
                return
            self._coast = Coast(place)
        factor = factors[told.turns % len(factors)]
        rel, at = first_edges(seen)
        thin = slice(None, None, -(-len(rel) // MOST_EDGES))
        for beside in BESIDE:
            fit = told.fits.setdefault(factor * beside, _Fit())
            likely, votes = shore_likelihood(self._coast, factor * beside * rel[thin], at[thin])
            laid = likely + SHIFT_PRIOR - 0.5 * (BIAS[:, None] / BIAS_SIGMA) ** 2
            top = float(laid.max())
            evidence = top + math.log(float(np.exp(laid - top).mean()))
            fit.take(evidence / votes, float(likely.max()) / votes, votes)


def _look_at_way(told: _Told, scan: Scan, own: OwnPlane) -> None:
    """Begin a stretch of way, end one, or go on."""
    begun = told.begun
    if begun is not None:
        before, first = begun
        way_m = math.hypot(own.east_m - before.east_m, own.north_m - before.north_m)
        lasted_s = (scan.end_ns - first.time_ns) / NS_PER_S
        turned = 0.0
        if own.heading_rad is not None and before.heading_rad is not None:
            turned = abs(math.remainder(own.heading_rad - before.heading_rad, math.tau))
        if own.frame == before.frame and 0.0 <= lasted_s <= MOST_S and turned <= MOST_TURN:
            if way_m < max(LEAST_WAY_M, LEAST_WAY_CELLS * scan.cell_m):
                return
            now = look(scan)
            said = None if now is None else passed(first, now)
            if said is not None and said.speaking >= LEAST_SECTORS and abs(said.drift) <= MOST_DRIFT:
                told.shares.append(said.share)
            told.begun = None if now is None else (own, now)
            return
    now = look(scan)
    told.begun = None if now is None else (own, now)


def _is_borne_out(told: _Told) -> bool:
    """Return whether the told scale is right, by the coast or by own motion, and neither says otherwise."""
    as_told = [1.0 / AS_TOLD < share < AS_TOLD for share in told.shares]
    if len(as_told) >= 3 and all(as_told):
        return True
    fit = told.fits.get(1.0)
    if fit is None or fit.looks < LEAST_LOOKS or fit.votes < LEAST_VOTES or fit.best < FITS_AT or not all(as_told):
        return False
    return all(
        fit.evidence > other.evidence + AHEAD
        for factor, other in told.fits.items()
        if not 0.75 < factor < 1.3 and other.votes >= LEAST_VOTES
    )


def _found(told: _Told) -> float | None:
    """Return the factor by which a told metre is to be taken; None: as told, as far as is known."""
    said = _by_way(told)
    one = told.fits.get(1.0)
    if said == 1.0 or one is None:
        return None
    best, lead = None, -math.inf
    for factor in FACTORS:
        fit = told.fits.get(factor)
        if factor != 1.0 and fit is not None and fit.votes >= FOUND_VOTES and fit.evidence > lead:
            best, lead = factor, fit.evidence
    if best is None:
        return None
    fit = told.fits[best]
    beside = [told.fits[best * b] for b in BESIDE if b != 1.0]
    ahead = fit.evidence - one.evidence
    if said is not None:
        agree = said == best and fit.looks >= LEAST_LOOKS and ahead > AHEAD and one.looks >= LEAST_LOOKS
        return best if agree else None
    others = [f.evidence for k, f in told.fits.items() if not 0.75 < k / best < 1.3 and f.votes >= LEAST_VOTES]
    alone = (
        fit.looks >= ALONE_LOOKS
        and one.votes >= LEAST_VOTES
        and one.best <= FITS_AT <= ALONE_FITS <= fit.best
        and all(fit.evidence > other + ALONE_AHEAD for other in others)
        and all(fit.evidence > side.evidence + PEAKS for side in beside)
    )
    return best if alone else None


def _by_way(told: _Told) -> float | None:
    """Return the factor that the last stretches of way tell of; 1.0: not one of them, or none alike; None: no word."""
    if not told.shares:
        return None
    factor = 1.0 / float(np.median(told.shares))
    nearest = min(FACTORS, key=lambda f: abs(math.log(factor / f)))
    alike = all(1.0 / NEAR_FACTOR < nearest * share < NEAR_FACTOR for share in told.shares)
    return nearest if alike else 1.0
