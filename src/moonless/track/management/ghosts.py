"""Whether a track is a false echo, a ghost: the sum of what its plots were called, turn after turn."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from moonless.echo.types import Plots
from moonless.track.track_store import TrackStore

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

# How often the plots of a ghost, and of a real echo, are called false: the geometry that betrays a ghost is just missed
# on some turns, and a real echo meets it by chance for a while as the boat goes by.  Seen in made scenes; no source.
GHOST_CALLED, REAL_CALLED = 0.65, 0.2
MOST_FALSE = 6.0  # log odds: neither is ever past changing its mind


def note_ghosts(store: TrackStore, own: NDArray[np.intp], index: Ints, plots: Plots) -> None:
    """A track is false when its plots speak for a ghost; its parent is the track that holds the parent plot."""
    is_false = plots.false_parent[index] >= 0
    store.false_odds[own] = np.clip(store.false_odds[own] + ghost_log_odds(is_false), -MOST_FALSE, MOST_FALSE)
    if not np.any(is_false):
        return
    holder = {int(p): int(store.id[i]) for i, p in enumerate(store.last_plot) if p >= 0}
    for i, k in zip(own[is_false], index[is_false], strict=True):
        store.false_parent[i] = holder.get(int(plots.false_parent[k]), int(store.false_parent[i]))
        if plots.false_cause and plots.false_cause[k] is not None:
            store.false_cause[i] = plots.false_cause[k]


def ghost_log_odds(is_called: NDArray[np.bool_]) -> Floats:
    """Return what each plot adds to the log odds of a ghost, by whether it was called false."""
    called = math.log(GHOST_CALLED / REAL_CALLED)
    return np.where(is_called, called, math.log((1.0 - GHOST_CALLED) / (1.0 - REAL_CALLED)))
