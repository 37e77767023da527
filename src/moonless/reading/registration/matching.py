"""One turn's sightings held against what the chart would give: the fit of heading bias and position offset.

Shore edges are fitted point to line, single echoes to the marks they lie nearest, together, with weights that let what
does not fit fall out (iteratively reweighted least squares).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from moonless.reading.registration.observations import Sightings

Floats = NDArray[np.float64]

# How far off a compass may be before this was first looked at, one sigma.  Larger than the boat file's figure, because
# being wrong is what is looked for.
START_HEADING_SIGMA = math.radians(3.0)
SEARCH_HEADING = np.radians(np.arange(-7.0, 7.01, 0.5))
# A sighting this far from its match, in metres, has half the say.
ROBUST_M = 14.0
SHORE_SIGMA_M = 12.0
# Shore points a few metres apart see the same stretch and the same error of the chart.
SHORE_POINTS_PER_INDEPENDENT = 12.0
# What is left less than this of its say is not counted.
LEAST_SAY = 0.1
# A mark that should show and has no echo speaks against by half: a hull may lie before it.
MARK_UNSEEN = 0.5


@dataclass(frozen=True, slots=True, eq=False)
class Expected:
    """Where the chart would put echoes, seen from about here."""

    edge: Floats  # (k, 2) points of the near edge of land and structures
    edge_normal: Floats  # (k, 2) unit
    marks: Floats  # (j, 2)
    mark_sigma_m: Floats  # (j,)


def turned_back(rel: Floats, bias: float) -> Floats:
    """Return vectors (n, 2) with their bearings lessened by the bias."""
    c, s = math.cos(bias), math.sin(bias)
    return np.column_stack([rel[:, 0] * c - rel[:, 1] * s, rel[:, 1] * c + rel[:, 0] * s])


class Matcher:
    """One turn's sightings against what is expected."""

    def __init__(self, seen: Sightings, expected: Expected) -> None:
        self.seen = seen
        self.expected = expected
        self.edge_tree = cKDTree(expected.edge) if len(expected.edge) else None
        self.mark_tree = cKDTree(expected.marks) if len(expected.marks) else None
        self.rel = np.vstack([seen.shore_rel, seen.plot_rel])
        self.own = np.vstack([seen.shore_own, seen.plot_own])
        self.n_shore = len(seen.shore_rel)

    def places(self, state: Floats) -> Floats:
        """Return where the sightings lie under a registration, (n, 2)."""
        return np.asarray(self.own - state[1:] + turned_back(self.rel, float(state[0])))

    def search(self, around: Floats, relative_to_prior: bool) -> Floats:
        """Return the best of a comb of headings, by how many sightings come to lie near something expected."""
        best, best_score = around, -1.0
        for step in SEARCH_HEADING:
            trial = np.array([around[0] + step if relative_to_prior else step, around[1], around[2]])
            score = self._score(trial)
            # A slight leaning to the heading that was reported, so that a featureless view does not wander.
            score *= math.exp(-0.5 * (trial[0] / (3.0 * START_HEADING_SIGMA)) ** 2)
            if score > best_score:
                best, best_score = trial, score
        return best

    def _score(self, state: Floats) -> float:
        at = self.places(state)
        total = 0.0
        if self.edge_tree is not None and self.n_shore:
            distance, _ = self.edge_tree.query(at[: self.n_shore])
            total += float(np.exp(-0.5 * (distance / 30.0) ** 2).sum()) / SHORE_POINTS_PER_INDEPENDENT * 3.0
        if self.mark_tree is not None and len(at) > self.n_shore:
            distance, _ = self.mark_tree.query(at[self.n_shore :])
            total += float(np.exp(-0.5 * (distance / 30.0) ** 2).sum())
        return total

    def fit(self, start: Floats, prior: Floats, prior_cov: Floats) -> tuple[Floats, Floats, int]:
        """Return the state, its covariance and how many gaps had a say; weights narrow as it settles.

        A shore point has one gap, a mark two.  Each is asked by itself: a well charted mark weighs as much as twenty
        shore points, and takes no word from them.
        """
        state = start.copy()
        prior_info = np.linalg.inv(prior_cov)
        info = prior_info
        used = 0
        for robust in (5.0 * ROBUST_M, 3.0 * ROBUST_M, 2.0 * ROBUST_M, ROBUST_M, ROBUST_M, ROBUST_M):
            rows, residual, weight, say = self._rows(state, robust)
            # rows @ (state - x) = residual: how each residual falls when the state moves.
            info = prior_info + (rows * weight[:, None]).T @ rows
            pull = (rows * weight[:, None]).T @ residual + prior_info @ (prior - state)
            step = np.linalg.solve(info, pull)
            state = state + step
            used = int((say > LEAST_SAY).sum())
        return state, np.linalg.inv(info), used

    def _rows(self, state: Floats, robust: float) -> tuple[Floats, Floats, Floats, Floats]:
        """Return (m, 3) how each gap falls as the state moves, (m,) gaps, weights, and share of say that each has."""
        at = self.places(state)
        turned = at - (self.own - state[1:])
        rows: list[Floats] = []
        residuals: list[Floats] = []
        weights: list[Floats] = []
        says: list[Floats] = []
        if self.edge_tree is not None and self.n_shore:
            p = at[: self.n_shore]
            distance, index = self.edge_tree.query(p)
            normal = self.expected.edge_normal[index]
            gap = np.sum((p - self.expected.edge[index]) * normal, axis=1)
            rows.append(_derivative(turned[: self.n_shore], normal))
            residuals.append(gap)
            fall = 1.0 / (1.0 + (gap / robust) ** 2) ** 2
            fall = np.where(distance < 4.0 * robust, fall, 0.0)
            weights.append(fall / (SHORE_SIGMA_M**2 * SHORE_POINTS_PER_INDEPENDENT))
            says.append(fall)
        if self.mark_tree is not None and len(at) > self.n_shore:
            p = at[self.n_shore :]
            distance, index = self.mark_tree.query(p)
            # One mark, one echo: the nearest has it.
            order = np.argsort(distance)
            first = np.zeros(len(p), dtype=np.bool_)
            _, nearest = np.unique(index[order], return_index=True)
            first[order[nearest]] = True
            reach = np.hypot(turned[self.n_shore :, 0], turned[self.n_shore :, 1])
            variance = (
                self.seen.plot_range_sigma**2
                + (reach * self.seen.plot_azimuth_sigma) ** 2
                + self.expected.mark_sigma_m[index] ** 2
            )
            fall = np.where(first & (distance < 4.0 * robust), 1.0 / (1.0 + (distance / robust) ** 2) ** 2, 0.0)
            gap = p - self.expected.marks[index]
            for axis in (np.array([1.0, 0.0]), np.array([0.0, 1.0])):
                rows.append(_derivative(turned[self.n_shore :], np.broadcast_to(axis, p.shape)))
                residuals.append(gap @ axis)
                weights.append(fall / variance)
                says.append(fall)
        if not rows:
            return np.zeros((0, 3)), np.zeros(0), np.zeros(0), np.zeros(0)
        return np.vstack(rows), np.concatenate(residuals), np.concatenate(weights), np.concatenate(says)

    def share_fitting(self, state: Floats) -> tuple[float, float]:
        """Return the share of shore sightings on the expected edge, and how many independent ones were judged."""
        if self.edge_tree is None or self.n_shore == 0:
            return 1.0, 0.0
        distance, _ = self.edge_tree.query(self.places(state)[: self.n_shore])
        return float(np.mean(distance < 3.0 * ROBUST_M)), self.n_shore / 3.0

    def agreeing(self, state: Floats) -> Floats:
        """Return how many independent sightings lie where the chart has something, and how many were judged."""
        at = self.places(state)
        fits = judged = 0.0
        if self.edge_tree is not None and self.n_shore:
            share, _ = self.share_fitting(state)
            judged = self.n_shore / SHORE_POINTS_PER_INDEPENDENT
            fits = share * judged
        if self.mark_tree is not None and len(at) > self.n_shore:
            distance, index = self.mark_tree.query(at[self.n_shore :])
            near = distance < ROBUST_M + 2.0 * self.expected.mark_sigma_m[index]
            seen = len(np.unique(index[near]))
            fits += seen
            judged += seen + MARK_UNSEEN * (len(self.expected.marks) - seen)
        return np.array([fits, judged])


def _derivative(turned: Floats, normal: Floats) -> Floats:
    """Return (n, 3): how the gap along the normal falls per unit of bias, east and north offset.

    A place is own - offset + turned back; its bearing falls as the bias grows, so d/d bias of (e, n) is (-n, e).
    """
    by_bias = turned[:, 1] * normal[:, 0] - turned[:, 0] * normal[:, 1]
    return np.column_stack([by_bias, normal[:, 0], normal[:, 1]])
