"""How strong the plots are that nothing explains: the level up to which a run of them may be one.

Noise, sea and rain that pass a threshold pass it by a few decibels, whatever made it; an echo of a thing stands
anywhere over it (amplitude as evidence beside place: Lerro and Bar-Shalom 1993, from memory).  So a weak echo among
strays is far likelier one of them than its place alone says, and a strong one is not.
"""

from __future__ import annotations

from collections import deque

import numpy as np
from numpy.typing import NDArray

from moonless.echo.types import EchoPicture
from moonless.track.types import Track

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]

# How many turns are remembered, and how many strays at the threshold are taken for seen before the first.
KEEP_TURNS, PRIOR_STRAYS, PRIOR_DB = 20, 20, 9.0
# Three in four of the strays stand below the level told, which is held between these: what a detector lets through
# stands some 6 dB over its floor at least, and beyond 18 dB a crest is seldom.
BELOW, LEAST_DB, LOW_DB, HIGH_DB = 0.75, 6.0, 12.0, 18.0
# A thing's echo stands anywhere within so many decibels over the least that is found; own figure.
SPAN_DB = 60.0
# How soberly the level parts the two: a track's strength is smoothed over some plots.
STEP_DB = 1.0
# What has been hit so often, in so many of its turns, explains its plots.
SURE_HITS, SURE_SHARE = 8, 0.75


class Strays:
    """Remembers the strengths of the last turns' unexplained plots."""

    def __init__(self) -> None:
        self._turns: deque[Floats] = deque(maxlen=KEEP_TURNS)

    def take_in(self, picture: EchoPicture, tracks: tuple[Track, ...]) -> None:
        """Take in a turn: its plots but those of sure tracks and pieces of shore."""
        plots = picture.plots
        is_stray = ~plots.is_of_shore & np.isfinite(plots.strength_db)
        is_stray[[t.last_plot for t in tracks if t.last_plot is not None and _is_sure(t)]] = False
        self._turns.append(plots.strength_db[is_stray])

    @property
    def reach_db(self) -> float:
        """How far over the floor strays reach here: three in four of them stand lower."""
        known = np.concatenate([*self._turns, np.full(PRIOR_STRAYS, PRIOR_DB)])
        return float(np.clip(np.quantile(known, BELOW), LOW_DB, HIGH_DB))

    def likelihood(self, strength_db: Floats, clipped: Mask) -> Floats:
        """Return (n,) how much likelier each strength is for a stray of this picture than for a thing.

        ``clipped`` (n,): how strong these are is not known; nothing is said of them, 0.
        """
        reach = self.reach_db
        ratio = BELOW * SPAN_DB / (reach - LEAST_DB)
        over = np.clip((strength_db - reach) / STEP_DB, -50.0, 50.0)
        return np.asarray(np.where(clipped | ~np.isfinite(strength_db), 0.0, ratio / (1.0 + np.exp(over))))


def _is_sure(track: Track) -> bool:
    """Return whether a track explains its plots: confirmed, hit often, and in most of the turns till its last hit."""
    turns = track.n_scans - track.misses_in_a_row + 1.0
    return track.state != "tentative" and track.n_hits >= SURE_HITS and track.n_hits > SURE_SHARE * turns
