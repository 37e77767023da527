"""On which bearings a radar that hears does not: a sector blanked by mistake, a cable or mast in the way, a dead spot.

A receiver's own noise in one sector looks like calm and empty water there, beside the return of the sea on all others.
What lies on such bearings is unknown: their spokes are taken as not received, which hides the water and slows the boat
as lost spokes do.

Rules of this file:
- The sea's return close aboard is looked at, sector by sector from the bow, in turns of which most sectors have plenty.
- A sector is deaf when nearly all of its return goes from one turn to the next, or no spoke of it has a single count
  beside others full of noise; and until it has some again.  Water that grows calm, or lies in a lee, loses its return
  little by little.
- A set that cuts noise and sea away shows nothing where nothing is: of it nothing is said.

`design/instruments/deaf_sectors.py` measured what sectors of hearing radars do.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from moonless.echo.types import EchoPicture
from moonless.scan.types import Scan
from moonless.watch.instruments.radar.hearing import NEAR_SHARE, RETURN_DB

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

N_SECTOR = 36
# Of a set that cuts nothing away, more than this share of all cells has a count: its noise.
FILLED = 0.3
# From one turn to the next so much must go, to less than `RETURN_DB`, where the turn's middle sector has this much.
LOST_DB, AMPLE_DB = 10.0, 10.0


class DeafSectors:
    """Takes in turns; says on which rows of the newest the radar does not hear."""

    def __init__(self) -> None:
        self._before_db: Floats | None = None  # (N_SECTOR,) of the last turn, of a deaf one: before it went deaf
        self._deaf = np.zeros(N_SECTOR, dtype=np.bool_)

    def take(self, scan: Scan, picture: EchoPicture) -> None:
        """Take in what a turn shows."""
        now_db, is_blank = _returns(scan, picture)
        known = np.isfinite(now_db) & ~is_blank
        # Beside noise, a spoke without a single count is no quiet one; the set only seems to cut.
        is_filled = is_blank.any() and _filled(scan) > FILLED
        if (picture.is_cut and not is_filled) or np.count_nonzero(known) < N_SECTOR / 4:
            self._before_db, self._deaf = None, np.zeros(N_SECTOR, dtype=np.bool_)
            return
        before_db, ample = self._before_db, float(np.median(now_db[known])) >= AMPLE_DB
        now_db = np.where(is_blank, -np.inf, now_db)
        if is_filled:
            self._deaf |= is_blank
        if before_db is not None and ample:
            self._deaf |= (now_db < RETURN_DB) & (before_db - now_db > LOST_DB)
        # A turn of which nothing came on a bearing says nothing of it.
        self._deaf &= ~(now_db >= RETURN_DB)
        kept = self._deaf | ~np.isfinite(now_db)
        self._before_db = now_db if before_db is None else np.where(kept, before_db, now_db)

    def as_heard(self, scan: Scan, picture: EchoPicture) -> tuple[Scan, EchoPicture]:
        """Return turn and picture with what lies on deaf bearings not received."""
        if not self._deaf.any():
            return scan, picture
        deaf = self._deaf[_sector_of(scan)]
        floor, threshold, clutter = (
            np.where(deaf[:, None], np.float32(np.nan), level)
            for level in (picture.floor, picture.threshold, picture.clutter_db)
        )
        scan = replace(scan, is_received=scan.is_received & ~deaf)
        return scan, replace(picture, floor=floor, threshold=threshold, clutter_db=clutter)


def _sector_of(scan: Scan) -> NDArray[np.int64]:
    return np.arange(scan.n_spoke) * N_SECTOR // scan.n_spoke


def _filled(scan: Scan) -> float:
    """Return the share of cells that have a count, of the rows that have any."""
    rows = scan.is_received & scan.echo.any(axis=1)
    return float(np.mean(scan.echo[rows] > 0)) if rows.any() else 0.0


def _returns(scan: Scan, picture: EchoPicture) -> tuple[Floats, Bools]:
    """Return (N_SECTOR,) the return close aboard in dB over noise, NaN: not known; and whether no spoke has a count."""
    near = max(1, round(scan.n_cell * NEAR_SHARE))
    clutter = np.broadcast_to(picture.clutter_db, scan.echo.shape)[:, :near]
    sector, has_count = _sector_of(scan), np.asarray(scan.echo.any(axis=1))
    out, blank = np.full(N_SECTOR, np.nan), np.zeros(N_SECTOR, dtype=np.bool_)
    for k in range(N_SECTOR):
        rows = (sector == k) & scan.is_received
        values = clutter[rows]
        values = values[np.isfinite(values)]
        if values.size:
            out[k] = float(np.median(values))
        blank[k] = rows.any() and not has_count[rows].any()
    return out, blank
