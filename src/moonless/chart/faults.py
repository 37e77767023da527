"""What is wrong with the charts a question rests on: parts not read, missing updates, old editions; in words."""

from __future__ import annotations

from pathlib import Path

from moonless.chart.library import Chart
from moonless.units import NS_PER_S

# Agencies issue updates every week; a cell of this age has missed fifty.  Own choice of a round figure.
OLD_DAYS = 365.0

Bounds = tuple[float, float, float, float]


def chart_faults(chart: Chart, bounds_lonlat: Bounds, time_s: float) -> tuple[str, ...]:
    """Return what is wrong with the charts within some bounds (west, south, east, north), the gravest first.

    A source that could not be read at all is told wherever the question lies, for nobody knows what it covers.  A cell
    that does not say when it was issued is told as that: not known is not new.
    """
    unread = [f"not read at all, and what it shows is missing here: {_without_folders(w)}" for w in chart.unread]
    partly, old = [], []
    for index in chart.indexes:
        west, south, east, north = index.coverage_bounds
        if west > bounds_lonlat[2] or east < bounds_lonlat[0] or south > bounds_lonlat[3] or north < bounds_lonlat[1]:
            continue
        partly += [_without_folders(warning) for warning in index.warnings]
        days = index.cell.age_days(round(time_s * NS_PER_S))
        name, issued = index.cell.name, index.cell.issued
        if days is None:
            old.append(f"{name} does not say when it was issued: it may be of any age")
        elif days > OLD_DAYS:
            years = days / 365.25
            age = f"{years:.1f} years" if years < 10.0 else f"{years:.0f} years"
            old.append(f"{name} is old: last issued {issued}, {age} before this run")
    return (*unread, *partly, *old)


def _without_folders(words: str) -> str:
    """Return a remark with the file's name in place of its whole path."""
    path, colon, rest = words.partition(": ")
    return f"{Path(path).name}: {rest}" if colon and "/" in path else words
