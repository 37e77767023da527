"""Folders to choose charts and tide stations from: names alone leave this computer, and only below a few roots.

Rules of this file:
- A screen may look below the home folder and below where drives are mounted; anything else is refused, also when a
  link leads out of there.
- What leaves is names of folders, of cells and of JSON files.  No file's content does; other files are not named.
- A name that is no UTF-8 cannot be told to a screen, nor come back from one: it is counted with what is not listed.
"""

from __future__ import annotations

import os
from collections.abc import Sequence
from pathlib import Path

from moonless.errors import InputError
from moonless.helm.bodies.setup import FolderBelowBody, FolderBody, StationFileBody

_CELL_SUFFIXES = (".000", ".gpkg")
_STATION_SUFFIX = ".json"
# Where removable drives come up.  Common practice of Linux and macOS.
_MOUNTS = ("/media", "/run/media", "/mnt", "/Volumes")
# A folder with more entries than this is told in part, and that is said.
MOST_ENTRIES = 400
# Cells are counted below a folder so far and no farther: a home folder may be very large.
_MOST_LOOKED, _DEEPEST = 4000, 5


def default_roots(also: Sequence[Path] = ()) -> tuple[Path, ...]:
    """Return where a screen may look: home, mounted drives, and folders already chosen."""
    found = [Path.home(), *(Path(name) for name in _MOUNTS if os.path.isdir(name)), *also]
    return tuple(dict.fromkeys(Path(os.path.realpath(p)) for p in found))


def look(path: Path | None, roots: Sequence[Path]) -> FolderBody:
    """Return what a folder holds: ``{path, up, folders: [{name, path, cells}], cells: [names], stations, more}``.

    ``stations``: ``[{name, path}]`` of the JSON files, any of which may hold tide stations.

    Raises InputError in one plain line: outside of the roots, not a folder, not readable.
    """
    here = Path(os.path.realpath(roots[0] if path is None else os.path.expanduser(path)))
    if not is_below(here, roots):
        raise InputError(f"{here}: only your own folders and mounted drives are looked into")
    if not _is_text(str(here)):
        raise InputError("a folder whose name is not UTF-8 cannot be told to a screen; give it another name")
    if not here.is_dir():
        raise InputError(f"{here}: there is no such folder")
    folders: list[FolderBelowBody] = []
    cells: list[str] = []
    stations: list[StationFileBody] = []
    more = 0
    try:
        with os.scandir(here) as entries:
            listed = sorted((e for e in entries if not e.name.startswith(".")), key=lambda e: e.name.casefold())
    except OSError as problem:
        raise InputError(f"{here}: cannot be read: {problem.strerror or problem}") from problem
    for entry in listed:
        is_folder = entry.is_dir() and is_below(Path(os.path.realpath(entry.path)), roots)
        is_cell = not is_folder and entry.name.lower().endswith(_CELL_SUFFIXES)
        is_stations = not is_folder and entry.name.lower().endswith(_STATION_SUFFIX)
        if not is_folder and not is_cell and not is_stations:
            continue
        if not _is_text(entry.name) or len(folders) + len(cells) + len(stations) >= MOST_ENTRIES:
            more += 1
        elif is_folder:
            count, is_whole = count_cells(Path(entry.path))
            folders.append({"name": entry.name, "path": entry.path, "cells": count, "is_counted": is_whole})
        elif is_stations:
            stations.append({"name": entry.name, "path": entry.path})
        else:
            cells.append(Path(entry.name).stem)
    up = here.parent if is_below(here.parent, roots) else None
    count, is_whole = count_cells(here)
    return {
        "path": str(here), "up": None if up is None else str(up), "folders": folders, "cells": cells,
        "stations": stations, "more": more,
        "below": count, "is_counted": is_whole, "roots": [str(root) for root in roots],
    }  # fmt: skip


def _is_text(name: str) -> bool:
    # Bytes that are no UTF-8 come from the system as lone surrogates, which no message can carry.
    return not any("\ud800" <= letter <= "\udfff" for letter in name)


def count_cells(folder: Path) -> tuple[int, bool]:
    """Return (cells and GeoPackages below a folder, whether it was looked through whole)."""
    found = looked = 0
    waiting: list[tuple[str, int]] = [(str(folder), 0)]
    is_whole = True
    while waiting:
        path, depth = waiting.pop()
        try:
            with os.scandir(path) as entries:
                for entry in entries:
                    looked += 1
                    if looked > _MOST_LOOKED:
                        return found, False
                    if entry.name.startswith("."):
                        continue
                    if entry.is_dir(follow_symlinks=False):
                        if depth < _DEEPEST:
                            waiting.append((entry.path, depth + 1))
                        else:
                            is_whole = False
                    elif entry.name.lower().endswith(_CELL_SUFFIXES):
                        found += 1
        except OSError:
            continue  # a folder that may not be read holds nothing for us
    return found, is_whole


def is_below(path: Path, roots: Sequence[Path]) -> bool:
    """Return whether a real path, links followed, lies within what a screen may look into."""
    return any(path == root or root in path.parents for root in roots)
