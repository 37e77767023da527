"""Charts opened: cells and vector sources found, indexed, and asked for the part around a place."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from moonless.chart.around import cut_around
from moonless.chart.index import CellIndex, open_index
from moonless.chart.local import LocalChart
from moonless.chart.s57.apart import layers_apart
from moonless.chart.s57.classes import KNOWN
from moonless.chart.s57.source import Progress, is_cell
from moonless.chart.types import Cell
from moonless.errors import ChartError, InputError
from moonless.folders import charts_cache
from moonless.frames import LocalFrame, geodesic

# Looked for inside folders.  A file named outright may be of any kind that `s57.apart` knows.
_FOLDER_SUFFIXES = (".000", ".gpkg")
# How far the boat may have moved, as a share of the radius, before the kept part is cut anew.
_SLACK = 0.15
# A part of a harbour takes some ten megabytes.
_KEPT_PARTS = 4


class Chart:
    """A set of chart cells.  Not to be shared between threads without a lock: it remembers the parts last asked for."""

    def __init__(self, indexes: Sequence[CellIndex], warnings: Sequence[str] = ()) -> None:
        # Best first: larger scale, then the newer issue; the name makes the order total.
        self._indexes = sorted(indexes, key=lambda i: (i.cell.scale, _descending(i.cell.issued), i.cell.name))
        # Sources that were left out because nothing of them could be read.
        self.unread: tuple[str, ...] = tuple(warnings)
        self.warnings: tuple[str, ...] = (*warnings, *(w for i in self._indexes for w in i.warnings))
        self._kept: dict[tuple[float, LocalFrame | None], LocalChart] = {}

    def __repr__(self) -> str:
        names = ", ".join(index.cell.name for index in self._indexes[:4])
        return f"Chart({len(self._indexes)} cells: {names}{', ...' if len(self._indexes) > 4 else ''})"

    @classmethod
    def open(
        cls,
        paths: Sequence[Path],
        *,
        cache_dir: Path | None = None,
        progress: Progress | None = None,
    ) -> Chart:
        """Return the chart held in files and folders (searched through).

        Parameters
        ----------
        paths : cells (``*.000``), GeoPackages or other vector sources, or folders of cells and GeoPackages
        cache_dir : where indexes are kept; None: beside the user's other data
        progress : told (source name, share done 0..1) while a source is read

        Raises
        ------
        ChartError  If a path holds no chart, or nothing could be read.  One bad source among good ones is left out
            and named in ``warnings``.
        """
        where = cache_dir if cache_dir is not None else charts_cache()
        indexes: list[CellIndex] = []
        problems: list[ChartError] = []
        for source in _sources_in(paths):
            try:
                indexes.append(open_index(source, where, progress))
            except ChartError as problem:
                problems.append(problem)
            except OSError as problem:
                problems.append(ChartError(f"{source}: cannot be read: {problem.strerror or problem}"))
            except Exception as problem:
                # One flipped bit makes the geometry library raise anything: it costs this source and no other.
                problems.append(ChartError(f"{source}: cannot be read: {problem}"))
        if not indexes:
            raise problems[0]
        return cls(indexes, [str(problem) for problem in problems])

    @property
    def cells(self) -> tuple[Cell, ...]:
        """The cells opened, best scale first."""
        return tuple(index.cell for index in self._indexes)

    @property
    def indexes(self) -> tuple[CellIndex, ...]:
        """The cells' indexes, best scale first."""
        return tuple(self._indexes)

    @property
    def identities(self) -> tuple[str, ...]:
        """What names the very bytes each cell was read from, best scale first."""
        return tuple(index.identity for index in self._indexes)

    def counts(self, cell: str) -> dict[str, int]:
        """Return the features of each layer of a cell, as GDAL counted them.

        Raises InputError if no cell has that name.
        """
        for index in self._indexes:
            if index.cell.name == cell:
                return dict(index.counts)
        raise InputError(f"no cell is called {cell!r}; open are {', '.join(i.cell.name for i in self._indexes)}")

    def around(self, lat_deg: float, lon_deg: float, radius_m: float, *, frame: LocalFrame | None = None) -> LocalChart:
        """Return the part of the chart within a radius of a place.

        Without ``frame`` the part lies in the frame that touches the earth at the place itself.  With one it lies in
        that frame, and the very same object is returned for as long as the boat stays within a seventh of the radius
        of where it was cut: ask so every turn, and keep what was derived from it while the object stays the same.

        Raises
        ------
        InputError  If the place is not on earth or the radius is not positive.
        NoCoverage  If no cell covers any water or land there.
        """
        if not radius_m > 0.0:
            raise InputError(f"a chart within {radius_m} m of a place was asked for; the radius must be positive")
        here = LocalFrame(lat_deg, lon_deg)
        # One kept part for each radius and frame: a screen that draws and a judge that reads ask in turn.
        key = (radius_m, frame)
        kept = self._kept.get(key)
        if kept is not None:
            moved_m, _ = geodesic(kept.centre_lat_deg, kept.centre_lon_deg, lat_deg, lon_deg)
            if moved_m <= (0.0 if frame is None else _SLACK * radius_m):
                return kept
        margin = 1.0 if frame is None else 1.0 + _SLACK
        local = cut_around(self._indexes, here, radius_m * margin, frame or here)
        self._kept.pop(key, None)
        while len(self._kept) >= _KEPT_PARTS:
            del self._kept[next(iter(self._kept))]
        self._kept[key] = local
        return local


def _sources_in(paths: Sequence[Path]) -> list[Path]:
    if not paths:
        raise ChartError("no chart was given; name a cell, a GeoPackage, or a folder that holds some")
    found: dict[Path, None] = {}
    for given in paths:
        path = Path(given)
        if path.is_dir():
            inside = sorted(p for p in path.rglob("*") if p.suffix.lower() in _FOLDER_SUFFIXES and p.is_file())
            # A folder may be a source itself: a file geodatabase, a set of shapefiles.
            if not inside and any(name.upper() in KNOWN for name in layers_apart(path)):
                inside = [path]
            if not inside:
                raise ChartError(f"{path}: holds no chart cell (*.000) and no GeoPackage (*.gpkg)")
            found.update(dict.fromkeys(inside))
        elif path.exists():
            if path.suffix[1:].isdigit() and not is_cell(path):
                raise ChartError(f"{path}: is an update; name the cell it belongs to ({path.stem}.000)")
            found[path] = None
        else:
            raise ChartError(f"{path}: there is no such file or folder")
    return list(found)


def _descending(text: str) -> tuple[int, ...]:
    return tuple(-ord(letter) for letter in text) or (0,)
