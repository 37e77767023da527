"""Many chart vertices to a local plane, fast.

The exact projection costs about half a microsecond a vertex, a tenth of a second for a harbour.  Within the few
miles of a local chart it is so smooth that a polynomial of low degree gives the same metres: it is fitted to the
exact projection over the box of the vertices, checked against it between the fitted places, and used only where the
check holds to a millimetre; else the exact projection runs.
"""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray

from moonless.frames import LocalFrame

Floats = NDArray[np.float64]

# A millimetre: a thousandth of what a chart position can mean.
TOLERANCE_M = 1e-3
_DEGREE = 5
_POWERS = tuple((i, j) for i in range(_DEGREE + 1) for j in range(_DEGREE + 1 - i))
# Chebyshev nodes keep the fit even to the edges of the box; the check looks between them and at the corners.
_NODES = np.cos(np.pi * (np.arange(9) + 0.5) / 9.0)
_CHECKS = np.linspace(-1.0, 1.0, 12)
# Below this many vertices the fit costs more than it saves.
_WORTH_FITTING = 2000
_BLOCK = 4096


def plane_of(lonlat: NDArray[np.object_], frame: LocalFrame) -> NDArray[np.object_]:
    """Return (lon, lat) geometries as (east, north) metres of a frame, to a millimetre."""
    if not len(lonlat):
        return lonlat
    out: NDArray[np.object_] = shapely.transform(lonlat, lambda xy: plane_coordinates(xy, frame))
    return out


def plane_coordinates(lonlat_deg: Floats, frame: LocalFrame) -> Floats:
    """Return (n, 2) east/north metres for (n, 2) longitude/latitude degrees."""
    if len(lonlat_deg) >= _WORTH_FITTING:
        fitted = _fitted(lonlat_deg, frame)
        if fitted is not None:
            return fitted
    return _exact(lonlat_deg, frame)


def _exact(lonlat_deg: Floats, frame: LocalFrame) -> Floats:
    return np.column_stack(frame.to_plane(lonlat_deg[:, 1], lonlat_deg[:, 0]))


def _fitted(lonlat_deg: Floats, frame: LocalFrame) -> Floats | None:
    # Column by column: a reduction along the long axis of a narrow array is many times slower.
    low = np.array([lonlat_deg[:, 0].min(), lonlat_deg[:, 1].min()])
    high = np.array([lonlat_deg[:, 0].max(), lonlat_deg[:, 1].max()])
    middle, half = (low + high) / 2.0, np.maximum((high - low) / 2.0, 1e-9)
    nodes = np.array([(x, y) for x in _NODES for y in _NODES])
    coefficients, *_ = np.linalg.lstsq(_basis(nodes), _exact(middle + half * nodes, frame), rcond=None)
    checks = np.array([(x, y) for x in _CHECKS for y in _CHECKS])
    off = np.abs(_basis(checks) @ coefficients - _exact(middle + half * checks, frame))
    if not off.max() < TOLERANCE_M:  # also catches NaN
        return None
    plane = np.empty_like(lonlat_deg)
    # In blocks that stay in the processor's cache.
    for start in range(0, len(lonlat_deg), _BLOCK):
        block = (lonlat_deg[start : start + _BLOCK] - middle) / half
        for axis in (0, 1):
            plane[start : start + _BLOCK, axis] = _value(block, np.asarray(coefficients[:, axis], dtype=np.float64))
    return plane


def _value(unit: Floats, coefficients: Floats) -> Floats:
    """Return (n,) a polynomial's values at (n, 2) places, by Horner's rule.

    Number by number, never as a product of matrices: that rounds a row by where it stands among the others, and a ring
    whose first and last place come out apart by the last bit is no ring.
    """
    x, y = unit[:, 0].copy(), unit[:, 1].copy()
    of = dict(zip(_POWERS, coefficients.tolist(), strict=True))
    out = np.zeros(len(unit))
    for i in range(_DEGREE, -1, -1):
        inner = np.full(len(unit), of[i, _DEGREE - i])
        for j in range(_DEGREE - i - 1, -1, -1):
            inner *= y
            inner += of[i, j]
        out *= x
        out += inner
    return out


def _basis(unit: Floats) -> Floats:
    """Return the (n, k) monomials of (n, 2) places in the unit square."""
    n = len(unit)
    x = [np.ones(n), unit[:, 0].copy()]
    y = [np.ones(n), unit[:, 1].copy()]
    for _ in range(_DEGREE - 1):
        x.append(x[-1] * x[1])
        y.append(y[-1] * y[1])
    out = np.empty((len(_POWERS), n))
    for row, (i, j) in enumerate(_POWERS):
        np.multiply(x[i], y[j], out=out[row])
    return out.T
