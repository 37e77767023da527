"""What callers of the door may hand in: a time in any usual form, a place, one path or several."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from datetime import datetime
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from moonless.boat.file import default_boat, read_boat
from moonless.boat.types import Boat
from moonless.errors import InputError
from moonless.units import NS_PER_S, utc_to_ns

Times = NDArray[np.datetime64]
When = str | datetime | np.datetime64 | Sequence[str | datetime | np.datetime64] | Times
"""A moment or several: ISO 8601 text or a datetime with a time zone, or NumPy datetimes, which are UTC."""
Paths = str | Path | Iterable[str | Path]


def times_of(when: When) -> Times:
    """Return UTC times, datetime64[ns]; of the shape that was given, () for a single one.

    >>> times_of("2031-03-02T20:00+01:00")
    array('2031-03-02T19:00:00.000000000', dtype='datetime64[ns]')

    Raises InputError if one is no time, or says no time zone.
    """
    if isinstance(when, np.ndarray):
        if not np.issubdtype(when.dtype, np.datetime64):
            raise InputError(f"times must be datetime64, not an array of {when.dtype}")
        return when.astype("datetime64[ns]")
    if isinstance(when, str | datetime | np.datetime64):
        return np.asarray(_time_of(when))
    return np.array([_time_of(one) for one in when], dtype="datetime64[ns]")


def seconds_of(times: Times) -> NDArray[np.float64]:
    """Return Unix seconds, shape (n,)."""
    return np.atleast_1d(times).astype(np.int64) / NS_PER_S


def place_of(at: tuple[float, float]) -> tuple[float, float]:
    """Return (latitude, longitude), degrees.  Raises InputError if it is no place on earth."""
    try:
        lat, lon = (float(one) for one in at)
    except (TypeError, ValueError):
        raise InputError(f"at = {at!r}: a place is (latitude, longitude) in degrees") from None
    if not (math.isfinite(lat) and abs(lat) <= 90.0 and math.isfinite(lon) and abs(lon) <= 180.0):
        raise InputError(f"at = {at!r} is not a place on earth: latitude to 90, longitude to 180")
    return lat, lon


def boat_of(boat: Boat | str | Path | None) -> Boat:
    """Return a boat; of a path, the one its boat file tells; of None, an assumed 9 m launch with a small radome."""
    if boat is None:
        return default_boat()
    return boat if isinstance(boat, Boat) else read_boat(Path(boat))


def paths_of(paths: Paths) -> tuple[Path, ...]:
    """Return one path or several as a tuple."""
    return (Path(paths),) if isinstance(paths, str | Path) else tuple(Path(one) for one in paths)


def _time_of(one: str | datetime | np.datetime64) -> np.datetime64:
    if isinstance(one, np.datetime64):
        exact: np.datetime64 = one.astype("datetime64[ns]")
        return exact
    if isinstance(one, str):
        try:
            one = datetime.fromisoformat(one)
        except ValueError:
            raise InputError(f"{one!r} is not a time; write it as 2031-03-02T19:00Z") from None
    if one.tzinfo is None:
        raise InputError(f"{one.isoformat()} says no time zone; write Z for UTC, or +01:00")
    return np.datetime64(utc_to_ns(one), "ns")
