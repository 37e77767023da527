"""The store of arrays as tracks to be read by others."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from moonless.track.hulls import axes
from moonless.track.kernels.motion_kernels import STILL
from moonless.track.settings import TrackerSettings
from moonless.track.track_store import TrackStore
from moonless.track.types import AisTarget, RadarTarget, Track, TrackState

Floats = NDArray[np.float64]

# A hull whose long axis is this many times her breadth shows which way she lies.
LONG_FOR_HEADING = 1.8
# Below this an extent is the detector's grain, not a hull.
RESOLVED_M = 8.0


def published_tracks(
    store: TrackStore, now_ns: int, s: TrackerSettings, ais: dict[int, AisTarget], others: dict[int, RadarTarget]
) -> tuple[Track, ...]:
    """Return one `Track` for each row of the store."""
    n = len(store)
    mean, cov = store.mean(s.models.told_floor)
    p_moving = 1.0 - store.mu[:, STILL]
    is_false = np.flatnonzero(store.false_odds > 0.0)
    # Whole columns, most of them nothing but None: track by track they would cost more than the filter.
    hull = _hulls(store, mean, p_moving)
    parent: list[int | None] = [None] * n
    cause: list[str | None] = [None] * n
    for i in is_false.tolist():
        parent[i] = int(store.false_parent[i]) if store.false_parent[i] >= 0 else None
        cause[i] = str(store.false_cause[i]) if store.false_cause[i] else None
    # What moves is held while it is likelier there than not: letting go of it costs more than of a thing that lies.
    in_fade = np.where(p_moving > 0.5, store.exists >= 0.5, store.quality >= s.hold_log_odds)
    held = store.confirmed & ((store.misses == 0) | in_fade)
    ids, plot = store.id.tolist(), store.last_plot.tolist()
    place = mean[:, :5].T.tolist()
    return tuple(
        map(
            Track, ids, _states(store, s), [now_ns] * n, place[0], place[1], place[2], place[3],
            np.ascontiguousarray(cov[:, :4, :4]), store.exists.tolist(), p_moving.tolist(), place[4],
            hull[0], hull[1], hull[2], store.strength_db.tolist(), store.started_ns.tolist(),
            store.last_plot_ns.tolist(), store.n_scans.tolist(), store.n_hits.tolist(), store.misses.tolist(),
            [k if k >= 0 else None for k in plot], parent, cause, [ais.get(i) for i in ids] if ais else [None] * n,
            np.sqrt(np.maximum(cov[:, 4, 4], 0.0)).tolist(), hull[3], hull[4], hull[5],
            [others.get(i) for i in ids] if others else [None] * n,
            np.minimum(store.seen / np.maximum(store.looked, 1e-9), 1.0).tolist(), store.clutter.tolist(),
            held.tolist(),
        )
    )  # fmt: skip


def _states(store: TrackStore, s: TrackerSettings) -> list[TrackState]:
    """Coasting is without a plot for some turns, or for this one where none could be seen: past the picture's edge."""
    coasts = (store.misses >= s.coast_after) | ((store.misses > 0) & (store.in_view < 0.5))
    return [
        "tentative" if not confirmed else "coasting" if coasting else "confirmed"
        for confirmed, coasting in zip(store.confirmed.tolist(), coasts.tolist(), strict=True)
    ]


def _hulls(store: TrackStore, mean: Floats, p_moving: Floats) -> list[list[float | None]]:
    """Return length, beam, axis, sigma of length, sigma of axis and heading of each track; None where not resolved."""
    out: list[list[float | None]] = [[None] * len(store) for _ in range(6)]
    at = np.flatnonzero(store.shape_weight >= 2.0)
    if at.size == 0:
        return out
    length, beam, angle = axes(store.shape[at])
    # Scatter of the squared size gives that of the size: d(L^2) = 2 L dL.
    scatter = np.sqrt(np.maximum(store.shape_sq[at] - length**4, 0.0)) / np.maximum(2.0 * length, 1e-9)
    turns = np.minimum(store.shape_weight[at], 10.0)
    length_sigma = np.maximum(scatter, 0.1 * length) / np.sqrt(turns) + 2.0
    # A long side known to sigma turns the axis by sigma over half its length.
    angle_sigma = np.minimum(length_sigma / np.maximum(0.5 * length, 1e-9), 0.9)
    along = np.sin(angle) * mean[at, 2] + np.cos(angle) * mean[at, 3]
    heading = np.where(along >= 0.0, angle, angle + math.pi)
    is_long = length >= LONG_FOR_HEADING * beam
    for k in np.flatnonzero(length >= RESOLVED_M).tolist():
        i = int(at[k])
        out[0][i], out[1][i], out[3][i] = float(length[k]), float(beam[k]), float(length_sigma[k])
        if is_long[k]:
            out[2][i], out[4][i] = float(angle[k]), float(angle_sigma[k])
            if p_moving[i] > 0.5:
                out[5][i] = float(heading[k])
    return out
