"""Whether each track moves over the ground, from where it has been lately.

The tracker says so too; this asks the plain question beside it: over the last minute or two, has it gone anywhere?  A
straight line through its places, put right by the registration turn by turn, has a slope and a spread; a still thing's
slope is nought within that spread.
"""

from __future__ import annotations

import math
from collections import deque
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from moonless.frames import LocalFrame
from moonless.units import NS_PER_S

Floats = NDArray[np.float64]

KEEP_S = 75.0
# With a shorter past than this the tracker alone is asked.
LEAST_S = 15.0
LEAST_TURNS = 6
# Speeds of what moves, one sigma each axis; own figure, no source.
MOVING_SIGMA = 4.0
# A swinging boat at anchor and a wandering echo have some slope of their own.
STILL_SIGMA = 0.12
# Neighbouring turns share their errors: so many count as one.
TURNS_PER_INDEPENDENT = 3.0
# What is heard a pulse late lies a whole pulse interval farther off: what a straight run of the boat can say for it,
# and what a turn of hers can; log odds, own figures.
LATE_STRAIGHT, LATE_TURNED = 3.0, 4.0
LATE_RANGE_SIGMA_M, LATE_VELOCITY_SIGMA = 12.0, 0.5
# The two witnesses are not independent: their log odds are weighed, not summed.
OWN_SHARE = 0.65
CAP = 5.0


@dataclass(slots=True)
class _Past:
    time_ns: deque[int] = field(default_factory=deque)
    place: deque[tuple[float, float]] = field(default_factory=deque)
    own: deque[tuple[float, float]] = field(default_factory=deque)  # the boat then
    plot: deque[tuple[float, float]] = field(default_factory=deque)  # where its echo lay, NaN where not known


class Motion:
    """Remembers where tracks were."""

    def __init__(self) -> None:
        self._past: dict[int, _Past] = {}
        self._frame: LocalFrame | None = None

    def enter(self, frame: LocalFrame) -> None:
        """Say which plane the places to come are of; what is remembered of another is carried over."""
        if self._frame is not None and frame != self._frame:
            for past in self._past.values():
                past.place, past.own, past.plot = (
                    _carried(one, self._frame, frame) for one in (past.place, past.own, past.plot)
                )
        self._frame = frame

    def roamed_m(self, ids: NDArray[np.int64]) -> Floats:
        """Return (n,) how far each has come from the first third of its remembered places to the last; 0: too few."""
        out = np.zeros(len(ids))
        for i, track in enumerate(ids.tolist()):
            past = self._past.get(track)
            third = 0 if past is None else len(past.place) // 3
            if past is not None and third >= 1:
                place = np.array(past.place)
                out[i] = float(np.hypot(*(place[-third:].mean(axis=0) - place[:third].mean(axis=0))))
        return out

    def p_moving(
        self,
        time_ns: int,
        ids: NDArray[np.int64],
        place_en: Floats,
        sigma_m: Floats,
        tracked: Floats,
        is_fresh: NDArray[np.bool_],
        own_en: tuple[float, float],
        plot_en: Floats | None = None,
    ) -> Floats:
        """Return (n,) the probability that each moves.

        ``sigma_m``: of one place of each, without what all turns share.  ``tracked``: the tracker's own probability.
        ``is_fresh``: that it was seen this turn; a coasted place is no evidence.  ``own_en``: the boat; ``plot_en``
        (n, 2): where this turn's echo of each lay, NaN where it has none.
        """
        out = np.empty(len(ids))
        kept: dict[int, _Past] = {}
        for i, track in enumerate(ids.tolist()):
            past = self._past.get(track) or _Past()
            if is_fresh[i]:
                past.time_ns.append(time_ns)
                past.place.append((float(place_en[i, 0]), float(place_en[i, 1])))
                past.own.append(own_en)
                past.plot.append((math.nan, math.nan) if plot_en is None else (plot_en[i, 0], plot_en[i, 1]))
            while past.time_ns and (time_ns - past.time_ns[0]) / NS_PER_S > KEEP_S:
                past.time_ns.popleft()
                past.place.popleft()
                past.own.popleft()
                past.plot.popleft()
            kept[track] = past
            out[i] = _blend(float(tracked[i]), _log_odds(past, float(sigma_m[i])))
        self._past = kept
        return out

    def late_log_odds(self, ids: NDArray[np.int64], interval_m: float, sigma_m: Floats) -> Floats:
        """Return (n,) the log odds of a still thing heard one pulse late against a vessel on her course; 0: too few.

        ``interval_m``: range that a pulse interval is worth; ``sigma_m`` (n,): of one place of each, across.
        """
        out = np.zeros(len(ids))
        for i, track in enumerate(ids.tolist()):
            past = self._past.get(track)
            if past is not None:
                out[i] = _late(past, interval_m, float(sigma_m[i]))
        return out


def _carried(places: deque[tuple[float, float]], old: LocalFrame, new: LocalFrame) -> deque[tuple[float, float]]:
    """Return places of one plane in another."""
    at = np.array(places).reshape(-1, 2)
    east, north = new.to_plane(*old.to_geographic(at[:, 0], at[:, 1]))
    return deque(zip(np.atleast_1d(east).tolist(), np.atleast_1d(north).tolist(), strict=True))


def _late(past: _Past, interval_m: float, sigma_m: float) -> float:
    """Return the log odds of a still thing a pulse interval farther off than it seems against a vessel on her course.

    Its bearing hardly changes and its range changes by the boat's own way alone, so that it seems to run beside her,
    and to turn when she turns.  Source: geometry, elementary; Bayes factor by Laplace's method.
    """
    place = np.array(past.plot).reshape(-1, 2)
    known = np.isfinite(place[:, 0])
    n = int(known.sum())
    if n < LEAST_TURNS:
        return 0.0
    t = (np.array(past.time_ns, dtype=np.int64)[known] - past.time_ns[0]) / NS_PER_S
    if t[-1] - t[0] < LEAST_S:
        return 0.0
    t = t - t.mean()
    total = float(t @ t)
    place, own = place[known], np.array(past.own)[known]
    rel = place - own
    away = np.hypot(rel[:, 0], rel[:, 1])
    unit = rel.mean(axis=0) / max(float(np.hypot(*rel.mean(axis=0))), 1.0)
    side = np.array([unit[1], -unit[0]])
    way = own - own.mean(axis=0)
    # Where it truly lies, along and across the bearing, less what the boat's own way makes of it.
    along = away + way @ unit
    across = rel @ side + (way @ side) * away.mean() / (away.mean() + interval_m)
    late = np.var(along) / LATE_RANGE_SIGMA_M**2 + np.var(across) / sigma_m**2
    slope = t @ (place - place.mean(axis=0)) / total
    off = place - place.mean(axis=0) - t[:, None] * slope
    steady = np.mean((off @ unit) ** 2) / LATE_RANGE_SIGMA_M**2 + np.mean((off @ side) ** 2) / sigma_m**2
    gain = -0.5 * (n / TURNS_PER_INDEPENDENT) * float(late - steady)
    spread2 = max(LATE_VELOCITY_SIGMA**2, sigma_m**2 * TURNS_PER_INDEPENDENT / total)
    occam = math.log(MOVING_SIGMA**2 / spread2) + 0.5 * float(slope @ slope) / MOVING_SIGMA**2
    return min(LATE_STRAIGHT, occam) + max(-2.0 * LATE_TURNED, min(LATE_TURNED, gain))


def _log_odds(past: _Past, sigma_m: float) -> float | None:
    """Return the log odds of moving against still, None when the past is too short."""
    n = len(past.time_ns)
    if n < LEAST_TURNS:
        return None
    t = (np.array(past.time_ns, dtype=np.int64) - past.time_ns[0]) / NS_PER_S
    if t[-1] < LEAST_S:
        return None
    place = np.array(past.place)
    t = t - t.mean()
    total = float(t @ t)
    slope = t @ (place - place.mean(axis=0)) / total
    off = place - place.mean(axis=0) - t[:, None] * slope
    spread = max(sigma_m, math.sqrt(float((off**2).sum()) / max(1, 2 * (n - 2))))
    slope_variance = spread**2 * TURNS_PER_INDEPENDENT / total
    still = STILL_SIGMA**2 + slope_variance
    moving = MOVING_SIGMA**2 + slope_variance
    squared = float(slope @ slope)
    odds = math.log(still / moving) + 0.5 * squared * (1.0 / still - 1.0 / moving)
    return max(-CAP, min(CAP, odds))


def _blend(tracked: float, own: float | None) -> float:
    p = min(max(tracked, 1e-3), 1.0 - 1e-3)
    said = math.log(p / (1.0 - p))
    if own is None:
        return p
    odds = OWN_SHARE * own + (1.0 - OWN_SHARE) * max(-CAP, min(CAP, said))
    return 1.0 / (1.0 + math.exp(-odds))
