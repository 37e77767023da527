"""The radar's own picture at some moments of a recording, where it holds video."""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from moonless.boat.types import Boat
from moonless.constants import NAUTICAL_MILE_M
from moonless.radar.picture import render
from moonless.radar.types import ScanGrid
from moonless.scan.types import Scan
from moonless.watch.afterwards.pictured import in_counts, scans_before

SIZE, SCALES_NM = 340, (0.125, 0.25, 0.5, 0.75, 1.5, 3.0)


@dataclass(frozen=True, slots=True)
class Scope:
    """A picture of one turn, bow up."""

    time_ns: int
    scale_nm: float
    png: bytes


def scopes_at(path: Path, boat: Boat, moments: Sequence[tuple[int, float]]) -> dict[int, Scope]:
    """Return pictures of the turns nearest before some moments, by moment; none where there is no video.

    ``moments``: (Unix ns, metres that must lie on the picture).
    """
    waiting = sorted(moments)
    out: dict[int, Scope] = {}
    for time_ns, reach_m in waiting:
        scans = scans_before(path, boat, time_ns)
        if scans:
            out[time_ns] = _drawn(scans[-1], time_ns, reach_m)
    return out


def _drawn(scan: Scan, time_ns: int, reach_m: float) -> Scope:
    scale = next((s for s in SCALES_NM if s * NAUTICAL_MILE_M >= 1.3 * reach_m), SCALES_NM[-1])
    scale = min(scale, next((s for s in SCALES_NM if s * NAUTICAL_MILE_M >= scan.max_range_m), SCALES_NM[-1]))
    n_spoke, n_cell = scan.echo.shape
    grid = ScanGrid(n_spoke, n_cell, scan.first_cell_m, scan.cell_m)
    heading = float(np.nanmean(scan.heading_true_rad)) if np.isfinite(scan.heading_true_rad).any() else 0.0
    image = render(in_counts(scan.echo), grid, scale, heading, f"recorded, {scale:g} NM, bow up", SIZE)
    buffer = io.BytesIO()
    image.quantize(64).save(buffer, format="PNG", optimize=True)
    return Scope(time_ns, scale, buffer.getvalue())
