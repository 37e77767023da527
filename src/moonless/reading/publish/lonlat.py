"""Rings of the plane as rings of longitude and latitude, seven decimals (a centimetre)."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from moonless.frames import LocalFrame

Floats = NDArray[np.float64]


def ring_lonlat(frame: LocalFrame, ring_en: Floats) -> list[list[float]]:
    """Return a closed ring of [lon, lat] for a plane ring (n, 2) of east/north metres."""
    return rings_lonlat(frame, [ring_en])[0]


def rings_lonlat(frame: LocalFrame, rings_en: Sequence[Floats]) -> list[list[list[float]]]:
    """Return closed rings of [lon, lat]; one projection call for all of them, which is what makes it fast."""
    if not rings_en:
        return []
    closed = [
        ring if ring[0, 0] == ring[-1, 0] and ring[0, 1] == ring[-1, 1] else np.concatenate([ring, ring[:1]])
        for ring in rings_en
    ]
    points = np.concatenate(closed)
    lat, lon = frame.to_geographic(points[:, 0], points[:, 1])
    lonlat = np.round(np.column_stack([lon, lat]), 7).tolist()
    ends = np.cumsum([len(ring) for ring in closed]).tolist()
    return [lonlat[end - len(ring) : end] for ring, end in zip(closed, ends, strict=True)]
