"""What the background does, bearing by bearing and ring by ring, learnt turn by turn.

Rules of this file.  The map lies round the boat, north up: sea clutter goes with range and with the wind's
bearing, so it travels with the boat but does not turn with her.  What stands over the ground is remembered by
`scan_correlation`.  A bin learns two things: the level, and how far its boxes stray above their local reference.  The
second decides the threshold: noise strays little, spiky sea much.

Rows that look into a sector where the set sends nothing, or where own mast stands, do turn with her.  They are found
anew each turn (``shaded.py``) and share one line of bins beside the sectors, so that neither side of such an edge is
held to the other's statistics.

    quantiles of a bin at rates of 0.1 to 0.004        a line  A + B score(p): where the bin lies, how wide it is
    scores (box - A) / B of all bins of one kind       what the kind's tail does, down to the rates that are measured
    threshold at rate p                                A + B tail(p), the tail going on as it bends where it is measured

So a few hundred boxes give a bin its own width, and the picture's hundred thousand give the tail that no bin alone
could show.  Since scores are taken against lines learnt before, the tail answers for the lines' own errors too: what
passes is measured against what is designed, and the threshold follows.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from moonless.constants import TAU
from moonless.echo.background.amplitude_tail import N_SCORE, index_of_score, score, tail_scores
from moonless.echo.background.theory import k_quantile_db
from moonless.echo.grid import Grid

Floats = NDArray[np.float64]

N_SECTOR = 24
N_RING = 16
RATIO_LOW_DB = -10.0
RATIO_STEP_DB = 0.25
N_RATIO = 200  # up to +40 dB: what stands higher is counted there
LEVEL_KEEP = 0.6  # of the level from turn to turn
SHAPE_KEEP = 0.9  # of the counts of exceedances: ten turns
# A bin's own line goes through its exceedances at these rates.
MEASURED_RATES = (0.1, 0.04, 0.02, 0.01, 0.004)
SHADED = N_SECTOR  # the line of bins for rows that look into a shaded sector
# Kinds of bins whose tails are told apart: those hardly wider than noise, whatever their range; the others by range.
QUIET_WIDTH = 1.3  # of the noise's own
N_BAND = 3
# The loop that closes on the designed rate: half of what one turn says, with so many peaks said beforehand; what it
# has learnt fades in some ten turns.  It may go no farther: boats not yet known for such pass too, and may cost no more
# than such a factor is worth, a tenth of a decibel in noise and one in heavy sea.  Own figures.
LOOP_GAIN, LOOP_PRIOR, LOOP_KEEP, LOOP_SPAN = 0.5, 2.0, 0.9, (0.5, 6.0)
REACH = 1e-4
TOLD = 200.0  # boxes: with fewer a bin has no line of its own
ENOUGH = 4000.0  # boxes; until a bin has seen so many it leans on its whole ring
LEVEL_SHARE = 0.4
BLIND_PULSES = 2.0  # a set is blind while it sends, and while its receiver recovers; common practice, no source
# On the first turn echoes cannot be told from spikes at all.  Water as quiet as the receiver is then taken to stray as
# the receiver does, however many echoes lie in the patch: its threshold may rise this far above the least, and by so
# much more as the patch's own clutter rises above noise.  Own figures.
QUIET_SPAN_DB, CLUTTER_SPAN_DB, CLUTTER_SCALE_DB = 4.0, 16.0, 3.0
MOST_DB = 60.0  # what stands so far above all round it is shown whatever the sea does


@dataclass(frozen=True, slots=True)
class NoiseFigures:
    """What boxes of noise alone do, against a perfectly known mean."""

    looks: float  # independent looks in a box
    p_false: float  # the rate of false boxes
    least_db: float  # over the median at that rate: no background strays less
    width_db: float  # a unit of `score`, between the rates that are measured

    @classmethod
    def of(cls, looks: float, p_false: float) -> NoiseFigures:
        """Return the figures of so many looks at a rate."""
        rates = np.array([MEASURED_RATES[0], MEASURED_RATES[-1]])
        ends = [_noise_db(float(rate), looks) for rate in rates]
        return cls(looks, p_false, _noise_db(p_false, looks), (ends[1] - ends[0]) / float(np.diff(score(rates))[0]))


@lru_cache(maxsize=64)
def _noise_db(rate: float, looks: float) -> float:
    """Return how far over its median a box of noise stands at ``rate``."""
    return k_quantile_db(rate, looks, math.inf) - k_quantile_db(0.5, looks, math.inf)


class ClutterMap:
    """The learnt background of one scan geometry."""

    def __init__(self, grid: Grid, looks: float, p_false: float) -> None:
        self.grid = grid
        self.noise = NoiseFigures.of(looks, p_false)
        # Rings grow outward: near the boat the clutter falls fast.
        share = (np.arange(grid.n_col) + 0.5) / max(1, grid.n_col)
        self.ring_of_col = np.minimum((N_RING * np.sqrt(share)).astype(np.int64), N_RING - 1)
        blind = min(grid.n_col - 1, round(BLIND_PULSES * grid.pulse_cells / grid.col_cells))
        self.first_ring = min(int(self.ring_of_col[blind]) + 1, N_RING // 2)
        self.level_db: NDArray[np.float32] | None = None  # (N_SECTOR + 1, N_RING); the last: shaded rows
        self.turns = 0
        self.exceedances = np.zeros((N_SECTOR + 1, N_RING, N_RATIO), dtype=np.float32)
        self.scores = np.zeros((1 + N_BAND, N_SCORE), dtype=np.float64)
        self._is_provisional = True
        self._lines: tuple[Floats, Floats] | None = None  # of the exceedances as they are
        self.median_db = np.zeros((N_SECTOR + 1, N_RING))  # with them
        self._loop = np.zeros(1 + N_BAND)  # logarithm of how many times oftener than designed exceedances pass, by kind
        self.reach_db = np.zeros((N_SECTOR + 1, N_RING))  # how far over the threshold an exceedance may stand
        self._has_echoes = True  # among the exceedances: the first turn's

    @property
    def p_false(self) -> float:
        """The rate of false boxes that the map is kept for."""
        return self.noise.p_false

    def sector_of_row(self, heading_rad: Floats, is_shaded: NDArray[np.bool_]) -> NDArray[np.int64]:
        """Return (n_row,) the true sector of each block row, `SHADED` where so; an unknown heading counts as north."""
        azimuth = np.arange(self.grid.n_row) * (TAU / self.grid.n_row)
        true = azimuth + np.where(np.isfinite(heading_rad), heading_rad, 0.0)
        sector = np.asarray(np.floor(np.mod(true, TAU) / TAU * N_SECTOR), dtype=np.int64) % N_SECTOR
        return np.where(is_shaded, SHADED, sector)

    def update_level(self, strip_db: NDArray[np.float32], sector: NDArray[np.int64]) -> NDArray[np.float32]:
        """Take this turn's levels in and return the background level, (N_SECTOR + 1, N_RING) dB above noise.

        A bin's level is its lower two fifths: echoes that fill less than half of it do not lift it.  Outward
        the sea falls away, so a ring that stands above all rings inside it is land or rain and keeps the inner level.
        """
        now = np.full((N_SECTOR + 1, N_RING), np.nan, dtype=np.float32)
        edges = np.searchsorted(self.ring_of_col, np.arange(N_RING + 1))
        known = np.isfinite(strip_db[:, 0])
        for s in np.unique(sector[known]):
            rows = strip_db[np.flatnonzero(known & (sector == s))[::2]]
            for k in range(N_RING):
                part = rows[:, edges[k] : edges[k + 1]].ravel()
                if part.size:
                    rank = int(LEVEL_SHARE * (part.size - 1))
                    now[s, k] = np.partition(part, rank)[rank]
        # Nearest of all the set is blind, and what is not seen there says nothing of the rings farther out.
        now[:, self.first_ring :] = np.fmin.accumulate(now[:, self.first_ring :], axis=1)
        if self.level_db is None:
            self.level_db = now
        else:
            before = np.where(np.isfinite(self.level_db), self.level_db, now)
            mixed = LEVEL_KEEP * before + (1.0 - LEVEL_KEEP) * now
            self.level_db = np.where(np.isfinite(now), mixed, self.level_db).astype(np.float32)
        # Not known anywhere yet: noise.
        return np.nan_to_num(self.level_db, nan=0.0)

    @property
    def n_bin(self) -> int:
        """Bins of bearing and range."""
        return (N_SECTOR + 1) * N_RING

    def bins(self, sector: NDArray[np.int64]) -> NDArray[np.int64]:
        """Return (n_row, n_col) the flat bin of each box."""
        return np.asarray(sector[:, None] * N_RING + self.ring_of_col[None, :])

    def update_exceedances(
        self,
        ratio_db: NDArray[np.float32],
        usable: NDArray[np.bool_],
        sector: NDArray[np.int64],
        *,
        provisional: bool = False,
    ) -> None:
        """Count this turn's box-over-reference ratios where ``usable``: received, and no lasting echo.

        The first turn cannot know what is an echo; what it counted is dropped when the second comes.  So is what is
        counted as ``provisional``, when it comes again.
        """
        index = np.clip((ratio_db - np.float32(RATIO_LOW_DB)) * np.float32(1.0 / RATIO_STEP_DB), 0, N_RATIO - 1)
        base = self.bins(sector) * N_RATIO
        flat = base[usable] + index[usable].astype(np.int64)
        counts = np.bincount(flat, minlength=self.exceedances.size).reshape(self.exceedances.shape)
        if self._is_provisional:
            self.exceedances[:] = 0.0
            self.scores[:] = 0.0
            self._has_echoes = self.turns == 0
        is_new = self._is_provisional
        if is_new:
            self.exceedances += counts
            self._lines = None
        self._count_scores(counts)
        if not is_new:
            self.exceedances *= SHAPE_KEEP
            self.exceedances += counts
            self._lines = None
        self._is_provisional = provisional or self.turns == 0
        self.turns += not provisional

    def _count_scores(self, counts: NDArray[np.int64]) -> None:
        """Take in the scores of this turn's ``counts`` (N_SECTOR + 1, N_RING, N_RATIO), by the lines as they are."""
        middle, width = self.lines()
        kind = self.kinds(width)
        self.scores *= SHAPE_KEEP
        # Below the rates that are asked it matters only how many they are.
        low = np.clip((middle + width - RATIO_LOW_DB) / RATIO_STEP_DB, 0, N_RATIO)
        s, r, k = np.nonzero(counts)
        high = k >= low[s, r]
        total = np.bincount(kind.ravel(), counts.sum(axis=2).ravel(), minlength=1 + N_BAND)
        s, r, k = s[high], r[high], k[high]
        n = counts[s, r, k]
        self.scores[:, 0] += total - np.bincount(kind[s, r], n, minlength=1 + N_BAND)
        # A step of the ratio covers several of the score.
        for part in (0.125, 0.375, 0.625, 0.875):
            scores = (RATIO_LOW_DB + (k + part) * RATIO_STEP_DB - middle[s, r]) / width[s, r]
            at = kind[s, r] * N_SCORE + index_of_score(scores)
            self.scores += np.bincount(at, 0.25 * n, self.scores.size).reshape(self.scores.shape)

    def close_loop(
        self,
        over: NDArray[np.int64],
        peaks: NDArray[np.int64],
        excess_db: NDArray[np.float32],
        tested: NDArray[np.int64],
    ) -> None:
        """Take in what passed this turn over ground where nothing stood, kind by kind.

        Flat bins of the boxes ``over`` their threshold, of the ``peaks`` among them, and how far those stand over it;
        ``tested``: boxes tested in each flat bin.  A tail that ends steeply lets ten times too many pass for half a
        decibel that the sea has risen since it was counted.  So what passes too often, or too seldom, moves the rate
        that the next thresholds are drawn for.  What stands over the threshold farther than a ten thousandth of what
        passes should is an echo, and does not count.
        """
        kind = self.kinds(self.lines()[1]).ravel()
        n_kind = self.scores.shape[0]
        exceeding = peaks[excess_db <= self.reach_db.ravel()[peaks]]
        boxes, tops = (np.bincount(kind[bins], minlength=n_kind) for bins in (over, peaks))
        seen = np.bincount(kind[exceeding], minlength=n_kind)
        due = self.p_false * np.bincount(kind, tested, minlength=n_kind) / np.maximum(1.0, boxes / np.maximum(tops, 1))
        step = LOOP_GAIN * np.log((seen + LOOP_PRIOR) / (due + LOOP_PRIOR))
        self._loop = np.clip(LOOP_KEEP * self._loop + step, *np.log(LOOP_SPAN))
        self._loop[0] = min(float(self._loop[0]), 0.0)

    @property
    def loud_db(self) -> float:
        """How far over its floor a box stands that noise alone lifts so far once in a hundred times."""
        return self.noise.least_db * float(score(0.01) / score(self.p_false)) + RATIO_STEP_DB

    def kinds(self, width: Floats) -> NDArray[np.int64]:
        """Return the kind of each bin by its line's ``width``: 0 no wider than noise, else 1 + its band of rings."""
        band = np.minimum(np.arange(N_RING) * N_BAND // N_RING, N_BAND - 1)
        return np.where(width < QUIET_WIDTH * self.noise.width_db, 0, 1 + band[None, :])

    def lines(self) -> tuple[Floats, Floats]:
        """Return (middle, width) of each bin's line, dB at a score of 0 and dB a score, (N_SECTOR + 1, N_RING)."""
        if self._lines is not None:
            return self._lines
        counts, total = self._pooled()
        cumulative = np.cumsum(counts, axis=2)
        # Echoes are in the first turn's counts: it leans on the rates that a few echoes do not reach.
        rates = np.asarray(MEASURED_RATES[:2] if self._has_echoes else MEASURED_RATES)
        levels = np.stack([_level_of(counts, cumulative, total, 1.0 - p) for p in rates])
        at = score(rates)
        lean = at - at.mean()
        width = np.maximum(np.tensordot(lean, levels, axes=1) / float(lean @ lean), 0.5 * self.noise.width_db)
        middle = levels.mean(axis=0) - width * at.mean()
        told = total > TOLD
        median = _level_of(counts, cumulative, total, 0.5)
        noise_middle = self.loud_db - self.noise.width_db * float(score(0.01))
        # A bin that has seen too little is taken to be like the next ring that has seen enough: outward first.
        at = np.broadcast_to(np.arange(N_RING), told.shape)
        outward = np.minimum.accumulate(np.where(told, at, N_RING)[:, ::-1], axis=1)[:, ::-1]
        like = np.where(outward < N_RING, outward, np.maximum.accumulate(np.where(told, at, -1), axis=1))
        has = like >= 0
        sector, like = np.arange(told.shape[0])[:, None], np.maximum(like, 0)
        self.median_db = np.where(has, median[sector, like], 0.0)
        self._lines = (
            np.where(has, middle[sector, like], noise_middle),
            np.where(has, width[sector, like], self.noise.width_db),
        )
        return self._lines

    def _pooled(self) -> tuple[Floats, Floats]:
        """Return (counts of each bin with its neighbours', and its ring's where those are few; how many)."""
        pooled = self.exceedances.copy()
        pooled[:, 1:] += self.exceedances[:, :-1]
        pooled[:, :-1] += self.exceedances[:, 1:]
        open_ = pooled[:N_SECTOR]
        pooled[:N_SECTOR] = open_ + np.roll(open_, 1, axis=0) + np.roll(open_, -1, axis=0)
        ring = np.repeat(self.exceedances[:N_SECTOR].sum(axis=0, keepdims=True), N_SECTOR + 1, axis=0)
        ring[N_SECTOR] = self.exceedances[N_SECTOR].sum(axis=0)[None, :]
        have = pooled.sum(axis=2, keepdims=True)
        lean = np.maximum(0.0, ENOUGH - have) / np.maximum(ring.sum(axis=2, keepdims=True), 1.0)
        counts = pooled + np.minimum(lean, 1.0) * ring
        return counts, counts.sum(axis=2)

    def thresholds_db(self, *p_false: float) -> tuple[Floats, ...]:
        """Return the threshold of box over reference for each false-alarm rate, (N_SECTOR + 1, N_RING) dB."""
        middle, width = self.lines()
        kind = self.kinds(width)
        asked = np.array([*p_false, REACH * self.p_false])
        # The candidates' rate is counted, and needs no loop.
        rates = np.where(asked > MEASURED_RATES[-1], asked, asked * np.exp(-self._loop[:, None]))
        if not self._has_echoes:
            tails = np.stack([tail_scores(*one) for one in zip(self.scores, rates, strict=True)])
        else:
            tails = score(rates)
        self.reach_db = width * (tails[kind, -1] - tails[kind, list(p_false).index(self.p_false)])
        out = []
        for k, rate in enumerate(p_false):
            least = _noise_db(rate, self.noise.looks)
            seen = middle + width * tails[kind, k]
            most = np.full(seen.shape, MOST_DB)
            if self._has_echoes:
                most[:, self.first_ring :] = least + self._span_db()[:, self.first_ring :]
            out.append(np.clip(seen, self.median_db + least, np.maximum(most, self.median_db + least)))
        return tuple(out)

    def _span_db(self) -> Floats:
        """Return (N_SECTOR + 1, N_RING) how far above the least the threshold may rise, by the clutter's own level."""
        level = np.zeros((N_SECTOR + 1, N_RING)) if self.level_db is None else np.nan_to_num(self.level_db, nan=0.0)
        rough = 1.0 - np.exp(-np.maximum(level - 0.5, 0.0) / CLUTTER_SCALE_DB)
        return np.asarray(QUIET_SPAN_DB + CLUTTER_SPAN_DB * rough, dtype=np.float64)


def _level_of(counts: Floats, cumulative: Floats, total: Floats, share: float) -> Floats:
    """Return the dB level below which ``share`` of the counts lie, interpolated within its step."""
    wanted = share * total
    index = np.argmax(cumulative >= wanted[:, :, None], axis=2)
    here = np.take_along_axis(counts, index[:, :, None], axis=2)[:, :, 0]
    above = np.take_along_axis(cumulative, index[:, :, None], axis=2)[:, :, 0]
    part = 1.0 - (above - wanted) / np.maximum(here, 1e-9)
    return np.asarray(RATIO_LOW_DB + (index + np.clip(part, 0.0, 1.0)) * RATIO_STEP_DB)
