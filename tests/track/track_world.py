"""Helpers for the tracker's tests: plots made from places on the plane."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from moonless.echo.types import Plots
from moonless.frames import LocalFrame
from moonless.scan.types import ScanErrors

NS = 1_000_000_000
FRAME = LocalFrame(10.0, -30.0)
ERRORS = ScanErrors(beam_rad=0.07, pulse_m=12.0, azimuth_sigma_rad=0.002, range_sigma_m=2.0)


def plots_at(
    time_s: float,
    places_m: np.ndarray,
    own_m: tuple[float, float] = (0.0, 0.0),
    heading_rad: float = 0.0,
    **fields: object,
) -> Plots:
    """Return plots of places (n, 2) east/north as a radar at ``own_m`` with this heading gives them."""
    d = np.asarray(places_m, dtype=float).reshape(-1, 2) - np.asarray(own_m)
    n = d.shape[0]
    lat, lon = FRAME.to_geographic(np.full(n, own_m[0]), np.full(n, own_m[1]))
    made = Plots(
        time_ns=np.full(n, round(time_s * NS), dtype=np.int64),
        range_m=np.hypot(d[:, 0], d[:, 1]),
        azimuth_rel_rad=np.mod(np.arctan2(d[:, 0], d[:, 1]) - heading_rad, 2 * np.pi),
        heading_true_rad=np.full(n, heading_rad),
        own_lat_deg=np.atleast_1d(lat),
        own_lon_deg=np.atleast_1d(lon),
        range_sigma_m=np.full(n, 2.0),
        azimuth_sigma_rad=np.full(n, 0.005),
        range_extent_m=np.zeros(n),
        cross_extent_m=np.zeros(n),
        orientation_rel_rad=np.full(n, np.nan),
        strength_db=np.full(n, 20.0),
        peak_count=np.full(n, 100.0),
        n_cells=np.full(n, 12, dtype=np.int64),
        is_clipped=np.zeros(n, dtype=np.bool_),
        false_parent=np.full(n, -1, dtype=np.int64),
        false_cause=(None,) * n,
    )
    return replace(made, **fields) if fields else made


def noisy(rng: np.random.Generator, places_m: np.ndarray, own_m: tuple[float, float] = (0.0, 0.0)) -> np.ndarray:
    """Return places moved by the scatter that `plots_at` promises: 2 m in range, 5 mrad in azimuth, 1 m of glint."""
    p = np.asarray(places_m, dtype=float).reshape(-1, 2) - np.asarray(own_m)
    r = np.hypot(p[:, 0], p[:, 1]) + rng.normal(0, 2.0, len(p))
    a = np.arctan2(p[:, 0], p[:, 1]) + rng.normal(0, 0.005, len(p))
    return np.stack([r * np.sin(a), r * np.cos(a)], axis=1) + np.asarray(own_m) + rng.normal(0, 1.0, p.shape)
