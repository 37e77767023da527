"""Radar tracks joined with what AIS, or another radar's tracked targets, say of the same vessels.

A report and a track are held to be one vessel when they agree in place and motion again and again; agreement is
counted up and disagreement down, so one stray fit joins nothing and one bad report parts nothing.

AIS tells true places.  The tracks stand where radar and chart agree; when that took an offset out of the own position,
it may have been the receiver's (then AIS lies right among the tracks) or the chart's (then every AIS place is off from
the tracks by the same offset as the own one was).  The vessels themselves tell which.
"""

from __future__ import annotations

import math
from collections.abc import Hashable, Iterable
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import linear_sum_assignment

from moonless.frames import LocalFrame
from moonless.track.track_store import TrackStore
from moonless.track.types import AisTarget, RadarTarget
from moonless.units import NS_PER_S

Floats = NDArray[np.float64]

# Chi-square, 99.9 %, for two and four degrees of freedom.
GATE_2, GATE_4 = 13.8, 18.5
# A report older than this is not compared: an anchored class B vessel reports every three minutes (ITU-R M.1371).
MAX_AGE_S = 200.0
JOIN_AT, MOST, PART_AT = 2.0, 6.0, 0.0
# A turn without a new report still tests the old one against a new radar fix, for less.
OLD_REPORT_WORTH = 0.25
AIS_POSITION_SIGMA_M = 10.0  # each axis; ITU-R M.1371 flags positions as better or worse than 10 m
VELOCITY_SIGMA = 0.4  # m/s, of reported course and speed
AGE_SIGMA = 0.4  # m/s by which a report goes stale
# A smaller offset of the own position joins either way.  Past it: the most log odds that the chart is off, and the
# least to change one's mind.  One report weighs no more than its gate.
LEAST_OFFSET_M, MOST_ODDS, TURN_ODDS = 10.0, 9.0, 3.0


@dataclass(frozen=True, slots=True, eq=False)
class Report:
    """One outside target in the tracker's plane, carried to the tracker's time."""

    key: Hashable
    time_ns: int
    state: Floats  # (4,) east, north, velocity east, north; NaN velocity where not said
    covariance: Floats  # (4, 4)
    target: AisTarget | RadarTarget


@dataclass(slots=True)
class _Known:
    time_ns: int = -1
    score: dict[int, float] = field(default_factory=dict)  # track id -> agreement


class Fusion:
    """Remembers which outside target belongs to which track."""

    def __init__(self, frame: LocalFrame) -> None:
        self.frame = frame
        self._known: dict[Hashable, _Known] = {}
        self._joined: dict[Hashable, int] = {}
        self._chart_odds = 0.0  # log odds that the offset taken out is the chart's
        self._is_chart_off = False

    def update(
        self,
        now_ns: int,
        store: TrackStore,
        ais: Iterable[AisTarget],
        others: Iterable[RadarTarget],
        offset_en: Floats | None = None,
    ) -> None:
        """Compare all reports with all tracks, join and part, and fold new reports into the tracks they belong to.

        ``offset_en`` (2,): what was taken out of the own position to make radar and chart agree; None: nothing.
        """
        targets: list[AisTarget | RadarTarget] = [*ais, *others]
        reports = [r for r in (self._report(now_ns, t) for t in targets) if r is not None]
        alive = {int(i) for i in store.id}
        self._joined = {k: i for k, i in self._joined.items() if i in alive}
        if len(store) == 0 or not reports:
            return
        mean, cov = store.mean()
        at = {int(i): n for n, i in enumerate(store.id)}
        if offset_en is not None and float(np.hypot(*offset_en)) >= LEAST_OFFSET_M:
            self._weigh_offset(reports, store, mean[:, :4], cov[:, :4, :4], offset_en)
            if self._is_chart_off:
                reports = [_moved(r, offset_en) for r in reports]
        new = [self._compare(r, store, mean[:, :4], cov[:, :4, :4], alive) for r in reports]
        self._assign(reports, store, mean[:, :4], cov[:, :4, :4])
        for r, is_new in zip(reports, new, strict=True):
            track = self._joined.get(r.key)
            if is_new and track is not None:
                fold_in(store, at[track], r.state, r.covariance)

    def ais_of(self, targets: Iterable[AisTarget]) -> dict[int, AisTarget]:
        """Return {track id: AIS target} of those joined."""
        found = {}
        for t in targets:
            track = self._joined.get(("ais", t.mmsi))
            if track is not None:
                found[track] = t
        return found

    def others_of(self, targets: Iterable[RadarTarget]) -> dict[int, RadarTarget]:
        """Return {track id: other radar's target} of those joined."""
        found = {}
        for t in targets:
            track = self._joined.get((t.source, t.number))
            if track is not None:
                found[track] = t
        return found

    def _report(self, now_ns: int, t: AisTarget | RadarTarget) -> Report | None:
        age = (now_ns - t.time_ns) / NS_PER_S
        if age > MAX_AGE_S or not (math.isfinite(t.lat_deg) and math.isfinite(t.lon_deg)):
            return None
        sigma, hull, speed = AIS_POSITION_SIGMA_M, 0.0, t.sog
        key: Hashable
        if isinstance(t, AisTarget):
            if t.is_own or t.is_virtual_aid:
                return None
            key = ("ais", t.mmsi)
            # The aerial may be a quarter of her length from the middle of the echo.
            hull = (t.length_m or 0.0) / 4.0
            if t.is_aid:
                speed = 0.0
        else:
            key, sigma = (t.source, t.number), t.position_sigma_m
        east, north = self.frame.to_plane(t.lat_deg, t.lon_deg)
        cov = np.zeros((4, 4))
        cov[0, 0] = cov[1, 1] = sigma**2 + hull**2 + (AGE_SIGMA * age) ** 2
        cov[2, 2] = cov[3, 3] = VELOCITY_SIGMA**2
        v = np.full(2, np.nan)
        if speed is not None and speed < 0.1:
            v = np.zeros(2)
        elif speed is not None and t.cog_rad is not None:
            v = speed * np.array([math.sin(t.cog_rad), math.cos(t.cog_rad)])
        else:
            # Unknown motion: the place may have moved with a small boat's speed since.
            cov[0, 0] += (3.0 * age) ** 2
            cov[1, 1] += (3.0 * age) ** 2
        ahead = np.nan_to_num(v) * age
        return Report(key, t.time_ns, np.array([east + ahead[0], north + ahead[1], v[0], v[1]]), cov, t)

    def _weigh_offset(
        self, reports: list[Report], store: TrackStore, mean: Floats, cov: Floats, offset_en: Floats
    ) -> None:
        """Ask the new reports whether the tracks lie at their places or by the offset beside them."""
        held = np.flatnonzero(store.confirmed)
        for r in reports:
            known = self._known.get(r.key)
            if not isinstance(r.target, AisTarget) or (known is not None and r.time_ns <= known.time_ns):
                continue
            gate, best = GATE_4, [GATE_4, GATE_4]
            for which, one in enumerate((r, _moved(r, offset_en))):
                for i in held[np.hypot(*(mean[held, :2] - one.state[:2]).T) < 500.0]:
                    d2, gate = distance(one, mean[i], cov[i])
                    best[which] = min(best[which], d2)
            odds = self._chart_odds + 0.5 * (min(best[0], gate) - min(best[1], gate))
            self._chart_odds = min(max(odds, -MOST_ODDS), MOST_ODDS)
        if abs(self._chart_odds) > TURN_ODDS:
            self._is_chart_off = self._chart_odds > 0.0

    def _compare(self, r: Report, store: TrackStore, mean: Floats, cov: Floats, alive: set[int]) -> bool:
        known = self._known.setdefault(r.key, _Known())
        is_new = r.time_ns > known.time_ns
        known.time_ns = max(known.time_ns, r.time_ns)
        worth = 1.0 if is_new else OLD_REPORT_WORTH
        known.score = {k: s for k, s in known.score.items() if k in alive}
        near = np.flatnonzero(np.hypot(*(mean[:, :2] - r.state[:2]).T) < 2000.0)
        for i in near:
            track = int(store.id[i])
            d2, gate = distance(r, mean[i], cov[i])
            before = known.score.get(track, 0.0)
            if d2 <= gate:
                known.score[track] = min(before + worth, MOST)
            elif track in known.score:
                known.score[track] = before - 1.5 * worth
                if known.score[track] <= PART_AT:
                    del known.score[track]
                    if self._joined.get(r.key) == track:
                        del self._joined[r.key]
        return is_new

    def _assign(self, reports: list[Report], store: TrackStore, mean: Floats, cov: Floats) -> None:
        """One track to one report of a kind, by agreement first and nearness second; a standing match is kept."""
        for kind in (AisTarget, RadarTarget):
            kin = [r for r in reports if isinstance(r.target, kind)]
            held = {self._joined[r.key] for r in kin if r.key in self._joined}
            free = [r for r in kin if r.key not in self._joined]
            tracks = [i for i in range(len(store)) if store.confirmed[i] and int(store.id[i]) not in held]
            if not free or not tracks:
                continue
            cost = np.full((len(free), len(tracks)), 1e6)
            for a, r in enumerate(free):
                scores = self._known[r.key].score
                for b, i in enumerate(tracks):
                    s = scores.get(int(store.id[i]), 0.0)
                    if s >= JOIN_AT:
                        cost[a, b] = distance(r, mean[i], cov[i])[0] - 2.0 * s
            for a, b in zip(*linear_sum_assignment(cost), strict=True):
                if cost[a, b] < 1e5:
                    self._joined[free[a].key] = int(store.id[tracks[b]])


def _moved(r: Report, offset_en: Floats) -> Report:
    """Return an AIS report by so much less; another radar's target is placed by the caller."""
    if not isinstance(r.target, AisTarget):
        return r
    return replace(r, state=np.concatenate([r.state[:2] - offset_en, r.state[2:]]))


def distance(r: Report, mean: Floats, cov: Floats) -> tuple[float, float]:
    """Return (squared Mahalanobis distance, its gate) between a report and a track (4,), (4, 4)."""
    n = 4 if bool(np.isfinite(r.state[2])) else 2
    d = r.state[:n] - mean[:n]
    s = cov[:n, :n] + r.covariance[:n, :n]
    return float(d @ np.linalg.solve(s, d)), GATE_4 if n == 4 else GATE_2


def fold_in(store: TrackStore, i: int, state: Floats, covariance: Floats) -> None:
    """Kalman update of every motion model of track ``i`` with a reported state, and of their probabilities.

    The report's errors have nothing in common with the radar's; what the track owes to those it learns from the gap.
    """
    n = 4 if bool(np.isfinite(state[2])) else 2
    like = np.empty(store.x.shape[1])
    for m in range(store.x.shape[1]):
        p = store.p[i, m]
        s = p[:n, :n] + covariance[:n, :n]
        d = state[:n] - store.x[i, m, :n]
        like[m] = -0.5 * float(d @ np.linalg.solve(s, d)) - 0.5 * float(np.linalg.slogdet(s)[1])
        gain = np.linalg.solve(s, p[:n, :]).T
        store.x[i, m] += gain @ d
        new = p - gain @ s @ gain.T
        store.p[i, m] = 0.5 * (new + new.T)
    weight = store.mu[i] * np.exp(like - like.max())
    total = float(weight.sum())
    if total > 0.0:
        store.mu[i] = weight / total
