"""Routes kept at the helm: one GPX 1.1 file each, in one folder; written whole or not at all."""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path

from moonless.errors import InputError, SourceError
from moonless.files import write_new
from moonless.helm.bodies.routes import RouteKeptBody
from moonless.passage.way.route import Route, Waypoint, read_gpx, to_gpx

LONGEST_NAME = 40  # letters, which the list of routes shows in one line
_NAME = re.compile(r"[^\W_](?:[\w .,'-]*[\w.'-])?")


def check_name(name: str) -> str:
    """Return a name that can be a file's.

    Raises InputError if it cannot.
    """
    name = " ".join(name.split())
    if not name or len(name) > LONGEST_NAME or not _NAME.fullmatch(name) or name.startswith("."):
        raise InputError(f"a route's name is 1 to {LONGEST_NAME} letters, digits and spaces; not {name!r}")
    return name


class RouteFiles:
    """The folder of routes."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def save(self, name: str, points: Sequence[tuple[float, float]]) -> Path:
        """Write a route and return its file; a name that is taken gets a number.  Nothing is left half written.

        Raises InputError if the name or the points make no route, or the file cannot be written.
        """
        name = check_name(name)
        last = len(points) - 1
        labels = ["start", *(f"turn {k}" for k in range(1, last)), "end"]
        route = Route(name, tuple(Waypoint(label, *place) for label, place in zip(labels, points, strict=True)))
        names = (self.folder / (f"{name}.gpx" if n == 1 else f"{name} {n}.gpx") for n in range(1, 1000))
        target = write_new(names, to_gpx(route), private=True)
        if target is None:
            raise InputError(f"there are too many routes called {name}")
        return target

    def path(self, name: str) -> Path:
        """Return the file of a route that is kept.

        Raises InputError if there is none.
        """
        found = self.folder / f"{check_name(name)}.gpx"
        if not found.is_file():
            raise InputError(f"there is no route called {name}")
        return found

    def remove(self, name: str) -> None:
        """Remove a route's file.

        Raises InputError if there is none.
        """
        self.path(name).unlink()

    def list(self) -> list[RouteKeptBody]:
        """Return what is kept, newest first; a file that cannot be read is told with what is wrong."""
        out = []
        files = sorted(self.folder.glob("*.gpx"), key=lambda p: p.stat().st_mtime, reverse=True)
        for file in files[:50]:
            body: RouteKeptBody = {"name": file.stem, "length_m": None, "points": None, "problem": None}
            try:
                route = read_gpx(file)
                body["length_m"], body["points"] = round(route.length_m), len(route.waypoints)
            except (InputError, SourceError) as problem:
                body["problem"] = str(problem)
            out.append(body)
        return out
