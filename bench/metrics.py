"""How good a set of tracks is: GOSPA, OSPA, and what became of each truth over time.

Sources
-------
GOSPA: Rahmathullah, Garcia-Fernandez, Svensson, "Generalized optimal sub-pattern assignment metric", FUSION 2017
(arXiv 1601.05585), definition 1 and, for alpha = 2, proposition 1.
OSPA: Schuhmacher, Vo, Vo, "A consistent metric for performance evaluation of multi-object filters", IEEE Trans. SP 56
(2008) 3447, equation 3.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import linear_sum_assignment

from moonless.errors import InputError

Floats = NDArray[np.float64]


class Gospa(NamedTuple):
    """``distance`` = (localisation + missed + false) ** (1/p); the three parts are p-th powers, metres**p."""

    distance: float
    localisation: float
    missed: float
    false: float
    pairs: tuple[tuple[int, int], ...]  # (estimate, truth) joined


def gospa(estimates_m: ArrayLike, truths_m: ArrayLike, c: float = 20.0, p: float = 2.0) -> Gospa:
    """Return the GOSPA distance with alpha = 2 and its parts.

    Parameters
    ----------
    estimates_m, truths_m : shape (n, d) and (m, d), metres; n or m may be 0
    c : cut-off, metres: a pair further apart counts as one missed and one false, c**p / 2 each

    Raises
    ------
    InputError  If c or p is not positive (p below 1 is no metric), or the shapes differ in d.
    """
    est, tru = _points(estimates_m), _points(truths_m)
    _check(c, p)
    n, m = est.shape[0], tru.shape[0]
    pairs: list[tuple[int, int]] = []
    localisation = 0.0
    if n and m:
        cost = np.minimum(_distances(est, tru), c) ** p
        for i, j in zip(*linear_sum_assignment(cost), strict=True):
            if cost[i, j] < c**p:
                pairs.append((int(i), int(j)))
                localisation += float(cost[i, j])
    missed = (m - len(pairs)) * c**p / 2.0
    false = (n - len(pairs)) * c**p / 2.0
    return Gospa((localisation + missed + false) ** (1.0 / p), localisation, missed, false, tuple(pairs))


def ospa(estimates_m: ArrayLike, truths_m: ArrayLike, c: float = 20.0, p: float = 2.0) -> float:
    """Return the OSPA distance of order p with cut-off c, metres; 0 for two empty sets."""
    est, tru = _points(estimates_m), _points(truths_m)
    _check(c, p)
    n, m = est.shape[0], tru.shape[0]
    if max(n, m) == 0:
        return 0.0
    joined = 0.0
    if n and m:
        cost = np.minimum(_distances(est, tru), c) ** p
        joined = float(cost[linear_sum_assignment(cost)].sum())
    return float(((joined + abs(n - m) * c**p) / max(n, m)) ** (1.0 / p))


@dataclass(slots=True)
class Score:
    """Adds up a run, moment by moment."""

    c: float = 20.0
    p: float = 2.0
    distances: list[float] = field(default_factory=list)
    localisation: float = 0.0
    missed: float = 0.0
    false: float = 0.0
    n_joined: int = 0
    n_false: int = 0
    n_missed: int = 0
    switches: int = 0
    breaks: int = 0
    first_s: dict[int, float] = field(default_factory=dict)  # truth -> seconds until first held
    _began_s: dict[int, float] = field(default_factory=dict)
    _holder: dict[int, int] = field(default_factory=dict)
    _lost: set[int] = field(default_factory=set)

    def add(
        self, time_s: float, ids: NDArray[np.int64], estimates_m: ArrayLike, truth_ids: list[int], truths_m: ArrayLike
    ) -> None:
        """Take in one moment.  ``ids`` (n,) name the estimates, ``truth_ids`` (m,) the truths, across moments."""
        g = gospa(estimates_m, truths_m, self.c, self.p)
        self.distances.append(g.distance)
        self.localisation += g.localisation
        self.missed += g.missed
        self.false += g.false
        self.n_joined += len(g.pairs)
        self.n_false += len(ids) - len(g.pairs)
        self.n_missed += len(truth_ids) - len(g.pairs)
        held = {truth_ids[j]: int(ids[i]) for i, j in g.pairs}
        for truth in truth_ids:
            self._began_s.setdefault(truth, time_s)
            if truth not in held:
                if truth in self._holder:
                    self._lost.add(truth)
                continue
            self.first_s.setdefault(truth, time_s - self._began_s[truth])
            # A break: held, then not, then held again.  A switch: held by another track than the last time.
            if truth in self._lost:
                self.breaks += 1
                self._lost.discard(truth)
            if self._holder.get(truth, held[truth]) != held[truth]:
                self.switches += 1
            self._holder[truth] = held[truth]

    @property
    def mean(self) -> float:
        """Mean GOSPA over the moments; NaN when there were none."""
        return float(np.mean(self.distances)) if self.distances else float("nan")

    @property
    def rms_m(self) -> float:
        """Root mean square distance of the joined pairs (for p = 2); NaN when none was joined."""
        return float((self.localisation / self.n_joined) ** (1.0 / self.p)) if self.n_joined else float("nan")


def _distances(a: Floats, b: Floats) -> Floats:
    return np.asarray(np.linalg.norm(a[:, None, :] - b[None, :, :], axis=-1), dtype=np.float64)


def _points(value: ArrayLike) -> Floats:
    out = np.asarray(value, dtype=np.float64)
    if out.size == 0:
        return out.reshape(0, out.shape[1] if out.ndim == 2 else 2)
    if out.ndim != 2:
        raise InputError(f"points must have shape (n, d), not {out.shape}")
    return out


def _check(c: float, p: float) -> None:
    if not (c > 0.0 and p >= 1.0):
        raise InputError(f"cut-off {c} and order {p}: the cut-off must be positive and the order at least 1")
