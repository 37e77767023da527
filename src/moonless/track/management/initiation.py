"""Track initiation: what no track explains begins a new one."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from moonless.echo.types import Plots
from moonless.track.kernels import plot_kernels as meeting
from moonless.track.management.ghosts import ghost_log_odds
from moonless.track.measurements import Measured
from moonless.track.settings import TrackerSettings
from moonless.track.track_store import TrackStore, newborn

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

# A plot begins a track when it is likelier than this that no other explains it.
FRESH = 0.2


def is_wild_plot(store: TrackStore, s: TrackerSettings, got: Measured, own_plot: Ints) -> NDArray[np.bool_]:
    """Return (n,) whether a plot is likelier a wild one of a sure track that has none than a new thing's.

    The eye of a long hull's echo leaps: a second track begun on it would be a second vessel that is not there.
    """
    lost = np.flatnonzero(store.confirmed & (own_plot < 0) & (store.exists >= 0.5) & (store.misses <= s.strayed_turns))
    if lost.size == 0 or len(got) == 0:
        return np.zeros(len(got), dtype=np.bool_)
    mean, cov = meeting.mixture_kernel(store.x[lost], store.p[lost], store.mu[lost], 0.0)
    # (tracks, plots), component by component.
    d0 = got.place_m[:, 0] - mean[:, 0, None] - got.ahead_s * mean[:, 2, None]
    d1 = got.place_m[:, 1] - mean[:, 1, None] - got.ahead_s * mean[:, 3, None]
    v00 = got.noise[:, 0, 0] + cov[:, 0, 0, None]
    v01 = got.noise[:, 0, 1] + cov[:, 0, 1, None]
    v11 = got.noise[:, 1, 1] + cov[:, 1, 1, None]
    d2 = (v11 * d0**2 - 2.0 * v01 * d0 * d1 + v00 * d1**2) / (v00 * v11 - v01**2)
    return np.asarray(np.any(d2 <= s.strayed_gates * s.gate, axis=0), dtype=np.bool_)


def initiate(
    store: TrackStore, s: TrackerSettings, first_id: int, got: Measured, shapes: Floats, plots: Plots, shared: Floats,
    exists: Floats, fresh: Floats, density: Floats,
) -> Ints:  # fmt: skip
    """Begin a track on each plot that no other explains; return their ids per plot, -1 where none began.

    ``exists`` (n,): probability that there is something; ``fresh`` (n,): that no track explains the plot; ``density``
    (n,): false plots about it.  Ids count up from ``first_id``.
    """
    ids = np.full(len(got), -1, dtype=np.int64)
    new = _with_room(np.flatnonzero(fresh > FRESH), store, s, got, exists)
    n = new.size
    if n == 0:
        return ids
    index = got.plot[new]
    ids[new] = np.arange(first_id, first_id + n)
    x, p, mu = newborn(
        got.place_m[new], got.noise[new], got.shared_jacobian[new], shared, got.ahead_s[new], s.models,
        s.max_speed_sigma, got.range_m[new],
    )  # fmt: skip
    when = plots.time_ns[index].astype(np.int64)
    size2 = 12.0 * (shapes[new, 0, 0] + shapes[new, 1, 1])
    causes = np.array([plots.false_cause[k] if plots.false_cause else None for k in index], dtype=np.object_)
    store.append(
        TrackStore(
            x=x, p=p, mu=mu, exists=exists[new], seen=np.ones(n), looked=np.ones(n),
            strength_db=plots.strength_db[index].astype(np.float64), shape=shapes[new].copy(),
            shape_sq=size2**2, shape_weight=(size2 > 0.0).astype(np.float64),
            id=ids[new], confirmed=np.zeros(n, np.bool_), started_ns=when, last_plot_ns=when.copy(),
            n_scans=np.ones(n, np.int64), n_hits=np.ones(n, np.int64), misses=np.zeros(n, np.int64),
            last_plot=index.astype(np.int64),
            false_odds=ghost_log_odds(plots.false_parent[index] >= 0),
            false_parent=np.full(n, -1, np.int64), false_cause=causes,
            quality=np.full(n, math.log(s.steady_p_detect / s.flicker_p_detect)),
            patience=np.full(n, math.log(s.patient_p_detect / s.seldom_p_detect)),
            fit=np.zeros(n), clutter=density[new], own_false=np.zeros(n),
            in_view=np.ones(n),
        )
    )  # fmt: skip
    return ids


def _with_room(new: Ints, store: TrackStore, s: TrackerSettings, got: Measured, exists: Floats) -> Ints:
    """Return those of the plots ``new`` that there is room for, in their order: the likeliest first.

    A sea that answers in every box would take all the room there is; so where the plots of this turn lie so densely,
    tracks may have a share of it and no more.
    """
    room = max(s.max_tracks - len(store), 0)
    if new.size <= room:
        return new
    tree, reach = cKDTree(got.place_m), s.clutter_reach_m
    crowd = s.dense_per_m2 * math.pi * reach**2
    first = new[np.argsort(-exists[new], kind="stable")]
    is_dense = tree.query_ball_point(got.place_m[first], reach, return_length=True) > crowd
    here = np.einsum("im,ima->ia", store.mu, store.x[:, :, :2])
    left = s.dense_share * s.max_tracks
    if len(store):
        left -= np.count_nonzero(tree.query_ball_point(here, reach, return_length=True) > crowd)
    first = first[~is_dense | (np.cumsum(is_dense) <= left)]
    return np.asarray(np.sort(first[:room]), dtype=np.int64)
