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
# The two witnesses are not independent: their log odds are weighed, not summed.
OWN_SHARE = 0.65
CAP = 5.0


@dataclass(slots=True)
class _Past:
    time_ns: deque[int] = field(default_factory=deque)
    place: deque[tuple[float, float]] = field(default_factory=deque)


class Motion:
    """Remembers where tracks were."""

    def __init__(self) -> None:
        self._past: dict[int, _Past] = {}
        self._frame: LocalFrame | None = None

    def enter(self, frame: LocalFrame) -> None:
        """Say which plane the places to come are of; what is remembered of another is carried over."""
        if self._frame is not None and frame != self._frame:
            for past in self._past.values():
                old = np.array(past.place).reshape(-1, 2)
                lat, lon = self._frame.to_geographic(old[:, 0], old[:, 1])
                east, north = frame.to_plane(lat, lon)
                past.place = deque(zip(east.tolist(), north.tolist(), strict=True))
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
    ) -> Floats:
        """Return (n,) the probability that each moves.

        ``sigma_m``: of one place of each, without what all turns share.  ``tracked``: the tracker's own probability.
        ``is_fresh``: that it was seen this turn; a coasted place is no evidence.
        """
        out = np.empty(len(ids))
        kept: dict[int, _Past] = {}
        for i, track in enumerate(ids.tolist()):
            past = self._past.get(track) or _Past()
            if is_fresh[i]:
                past.time_ns.append(time_ns)
                past.place.append((float(place_en[i, 0]), float(place_en[i, 1])))
            while past.time_ns and (time_ns - past.time_ns[0]) / NS_PER_S > KEEP_S:
                past.time_ns.popleft()
                past.place.popleft()
            kept[track] = past
            out[i] = _blend(float(tracked[i]), _log_odds(past, float(sigma_m[i])))
        self._past = kept
        return out


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
