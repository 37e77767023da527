"""Whether each track moves over the ground, from where it has been lately.

The tracker says so too; this asks the plain question beside it: over the last minute or two, has it gone anywhere?  A
straight line through its places, put right by the registration turn by turn, has a slope and a spread; a still thing's
slope is nought within that spread.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

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


class Motion:
    """Remembers where tracks were: a table of the last turns by the tracks of the newest."""

    def __init__(self) -> None:
        self._frame: LocalFrame | None = None
        self._ids: NDArray[np.int64] = np.zeros(0, dtype=np.int64)
        self._turns = _Turns.none(0)

    def enter(self, frame: LocalFrame) -> None:
        """Say which plane the places to come are of; what is remembered of another is carried over."""
        if self._frame is not None and frame != self._frame:
            turns, old = self._turns, self._frame
            self._turns = replace(
                turns,
                place=_carried(turns.place, old, frame),
                own=_carried(turns.own, old, frame),
                plot=_carried(turns.plot, old, frame),
            )
        self._frame = frame

    def roamed_m(self, ids: NDArray[np.int64]) -> Floats:
        """Return (n,) how far each has come from the first third of its remembered places to the last; 0: too few."""
        place = self._turns.of(_columns(self._ids, ids)).place
        seen = np.isfinite(place[..., 0])
        order, n = np.cumsum(seen, axis=0), seen.sum(axis=0)
        third = n // 3
        first, last = seen & (order <= third), seen & (order > n - third)
        gap = _mean(place, last) - _mean(place, first)
        return np.where(third >= 1, np.hypot(gap[:, 0], gap[:, 1]), 0.0)

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
        turns = self._turns.of(_columns(self._ids, ids)).since(time_ns - round(KEEP_S * NS_PER_S))
        plot = np.full((len(ids), 2), np.nan) if plot_en is None else plot_en
        fresh = is_fresh[:, None]
        self._turns = turns.with_turn(time_ns, np.where(fresh, place_en, np.nan), own_en, np.where(fresh, plot, np.nan))
        self._ids = ids.copy()
        return _blend(tracked, _log_odds(self._turns, sigma_m))

    def late_log_odds(self, ids: NDArray[np.int64], interval_m: float, sigma_m: Floats) -> Floats:
        """Return (n,) the log odds of a still thing heard one pulse late against a vessel on her course; 0: too few.

        ``interval_m``: range that a pulse interval is worth; ``sigma_m`` (n,): of one place of each, across.
        """
        return _late(self._turns.of(_columns(self._ids, ids)), interval_m, sigma_m)


@dataclass(frozen=True, slots=True)
class _Turns:
    """The last turns, oldest first, by track; NaN where a track was not seen."""

    time_ns: NDArray[np.int64]  # (n_turn,)
    place: Floats  # (n_turn, n, 2)
    own: Floats  # (n_turn, 2), the boat then
    plot: Floats  # (n_turn, n, 2) where its echo lay, NaN where not known

    @classmethod
    def none(cls, n: int) -> _Turns:
        """Return no turns of ``n`` tracks."""
        return cls(np.zeros(0, dtype=np.int64), np.zeros((0, n, 2)), np.zeros((0, 2)), np.zeros((0, n, 2)))

    def of(self, columns: NDArray[np.int64]) -> _Turns:
        """Return the turns of these tracks, a column each; -1: not remembered."""
        missing = np.broadcast_to(np.nan, (len(self.time_ns), 1, 2))
        place, plot = (np.concatenate([one, missing], axis=1)[:, columns] for one in (self.place, self.plot))
        return replace(self, place=place, plot=plot)

    def since(self, time_ns: int) -> _Turns:
        """Return the turns no older than that."""
        kept = self.time_ns >= time_ns
        return _Turns(self.time_ns[kept], self.place[kept], self.own[kept], self.plot[kept])

    def with_turn(self, time_ns: int, place: Floats, own: tuple[float, float], plot: Floats) -> _Turns:
        """Return the turns with one more."""
        return _Turns(
            np.append(self.time_ns, time_ns),
            np.concatenate([self.place, place[None]]),
            np.concatenate([self.own, np.array([own])]),
            np.concatenate([self.plot, plot[None]]),
        )


def _columns(known: NDArray[np.int64], ids: NDArray[np.int64]) -> NDArray[np.int64]:
    """Return (n,) where each of ``ids`` stands among the known, -1: nowhere."""
    at = {track: k for k, track in enumerate(known.tolist())}
    return np.array([at.get(track, -1) for track in ids.tolist()], dtype=np.int64)


def _carried(places: Floats, old: LocalFrame, new: LocalFrame) -> Floats:
    """Return (..., 2) places of one plane in another; NaN stays."""
    at = places.reshape(-1, 2)
    out = np.full_like(at, np.nan)
    known = np.isfinite(at[:, 0])
    out[known] = np.column_stack(new.to_plane(*old.to_geographic(at[known, 0], at[known, 1])))
    return out.reshape(places.shape)


def _mean(values: Floats, counted: NDArray[np.bool_]) -> Floats:
    """Return (n, ...) the means over turns of what is counted (n_turn, n); 0: nothing is."""
    shape = counted.shape + (1,) * (values.ndim - 2)
    total = np.where(counted.reshape(shape), values, 0.0).sum(axis=0)
    return np.asarray(total / np.maximum(counted.sum(axis=0), 1).reshape(shape[1:]))


@dataclass(frozen=True, slots=True)
class _Line:
    """A straight line through the places of each of n tracks, by least squares over the turns that are counted."""

    counted: NDArray[np.bool_]  # (n_turn, n)
    total: Floats  # (n,) sum of the squares of the times from their mean, s^2
    slope: Floats  # (n, 2) m/s
    off: Floats  # (n_turn, n, 2) of each place from its line, 0 where not counted
    is_long: NDArray[np.bool_]  # (n,) enough turns over a long enough time

    @classmethod
    def through(cls, time_ns: NDArray[np.int64], places: Floats) -> _Line:
        """Fit each track's places (n_turn, n, 2), NaN where it has none."""
        counted = np.isfinite(places[..., 0])
        seconds = np.broadcast_to(((time_ns - time_ns[:1]) / NS_PER_S)[:, None], counted.shape)
        last = np.where(counted, seconds, -np.inf).max(axis=0, initial=-np.inf)
        first = np.where(counted, seconds, np.inf).min(axis=0, initial=np.inf)
        is_long = (counted.sum(axis=0) >= LEAST_TURNS) & (last - first >= LEAST_S)
        t = np.where(counted, seconds - _mean(seconds, counted), 0.0)
        total = (t**2).sum(axis=0)
        apart = np.where(counted[..., None], places - _mean(places, counted), 0.0)
        slope = (t[..., None] * apart).sum(axis=0) / np.where(is_long, total, 1.0)[:, None]
        return cls(counted, total, slope, apart - t[..., None] * slope, is_long)


def _late(turns: _Turns, interval_m: float, sigma_m: Floats) -> Floats:
    """Return (n,) the log odds of a still thing a pulse interval farther off than it seems against a vessel.

    Its bearing hardly changes and its range changes by the boat's own way alone, so that it seems to run beside her,
    and to turn when she turns; a vessel keeps her course.  Source: geometry,
    elementary; Bayes factor by Laplace's method.
    """
    line = _Line.through(turns.time_ns, turns.plot)
    out = np.zeros(turns.plot.shape[1])
    at = np.flatnonzero(line.is_long)
    if not at.size:
        return out
    counted, sigma2, slope = line.counted[:, at], sigma_m[at] ** 2, line.slope[at]
    own = np.broadcast_to(turns.own[:, None], (*counted.shape, 2))
    rel = turns.plot[:, at] - own
    toward = _mean(rel, counted)
    unit = toward / np.maximum(np.hypot(toward[:, 0], toward[:, 1]), 1.0)[:, None]
    side = np.stack([unit[:, 1], -unit[:, 0]], axis=-1)
    way = own - _mean(own, counted)
    away = np.hypot(rel[..., 0], rel[..., 1])
    middle = _mean(away, counted)
    # Where it truly lies, along and across the bearing, less what the boat's own way makes of it.
    along = away + _dot(way, unit)
    across = _dot(rel, side) + _dot(way, side) * (middle / (middle + interval_m))
    late = _variance(along, counted) / LATE_RANGE_SIGMA_M**2 + _variance(across, counted) / sigma2
    off = line.off[:, at]
    steady = (
        _mean(_dot(off, unit) ** 2, counted) / LATE_RANGE_SIGMA_M**2 + _mean(_dot(off, side) ** 2, counted) / sigma2
    )
    gain = -0.5 * (counted.sum(axis=0) / TURNS_PER_INDEPENDENT) * (late - steady)
    spread2 = np.maximum(LATE_VELOCITY_SIGMA**2, sigma2 * TURNS_PER_INDEPENDENT / line.total[at])
    occam = np.log(MOVING_SIGMA**2 / spread2) + 0.5 * _dot(slope, slope) / MOVING_SIGMA**2
    out[at] = np.minimum(LATE_STRAIGHT, occam) + np.clip(gain, -2.0 * LATE_TURNED, LATE_TURNED)
    return out


def _dot(a: Floats, b: Floats) -> Floats:
    """Return the products of vectors (..., 2)."""
    return np.asarray(a[..., 0] * b[..., 0] + a[..., 1] * b[..., 1])


def _variance(values: Floats, counted: NDArray[np.bool_]) -> Floats:
    """Return (n,) the variances over turns of what is counted (n_turn, n)."""
    return _mean((values - _mean(values, counted)) ** 2, counted)


def _log_odds(turns: _Turns, sigma_m: Floats) -> Floats:
    """Return (n,) the log odds of moving against still, NaN where the past is too short."""
    line = _Line.through(turns.time_ns, turns.place)
    n, total = line.counted.sum(axis=0), np.where(line.is_long, line.total, 1.0)
    left = np.sqrt((line.off**2).sum(axis=(0, 2)) / np.maximum(1, 2 * (n - 2)))
    slope_variance = np.maximum(sigma_m, left) ** 2 * TURNS_PER_INDEPENDENT / total
    still = STILL_SIGMA**2 + slope_variance
    moving = MOVING_SIGMA**2 + slope_variance
    odds = np.log(still / moving) + 0.5 * _dot(line.slope, line.slope) * (1.0 / still - 1.0 / moving)
    return np.where(line.is_long, np.clip(odds, -CAP, CAP), np.nan)


def _blend(tracked: Floats, own: Floats) -> Floats:
    p = np.clip(tracked, 1e-3, 1.0 - 1e-3)
    said = np.clip(np.log(p / (1.0 - p)), -CAP, CAP)
    return np.where(np.isnan(own), p, 1.0 / (1.0 + np.exp(-(OWN_SHARE * own + (1.0 - OWN_SHARE) * said))))
