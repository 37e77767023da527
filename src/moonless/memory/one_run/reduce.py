"""One run to its summary: a function of what was told on it and of nothing else.

A turn in ten seconds is a look: it says which water was seen, by the seeing line of that turn, inside which the
smallest thing the skipper cares about would be held.  Every turn says what lay where.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

import numpy as np
import shapely
from numpy.typing import NDArray

from moonless.errors import SourceError
from moonless.frames import LocalFrame
from moonless.geojson import Polygon
from moonless.memory import lattice
from moonless.memory.one_run.mark_account import MarkAccounts
from moonless.memory.one_run.still_echoes import StillEchoes
from moonless.memory.summary import Cells, Run, RunSummary
from moonless.reading.line import HiddenLine, ReadingLine
from moonless.units import NS_PER_S
from moonless.watch.afterwards.told import ToldTurn

# Looks nearer in time than this see the same waves and the same aspect; ten seconds is four turns of a small radar.
LOOK_EVERY_NS = 10 * NS_PER_S
# A vessel slower than this is at rest: a boat on her chain swings with some tenths of a knot.
REST_KN = 0.7
SURE_ENOUGH = 0.5
# What hides water for this radar on this boat whatever the weather.
HIDES = ("land", "horizon", "blind sector")
# A vessel's place in a look is worth so much for her course.
_HUNDREDTHS = 100.0
_BY_LOOKS = ("looked", "hidden", "clutter", "moving")


@dataclass(slots=True)
class _Counts:
    """Counts over cells, put together look by look."""

    parts: dict[str, list[NDArray[np.int64]]] = field(default_factory=dict)

    def add(self, name: str, keys: NDArray[np.int64]) -> None:
        self.parts.setdefault(name, []).append(keys)

    def of(self, name: str, all_keys: NDArray[np.int64]) -> NDArray[np.int32]:
        out = np.zeros(len(all_keys), dtype=np.int32)
        parts = self.parts.get(name)
        if parts:
            keys, n = np.unique(np.concatenate(parts), return_counts=True)
            out[np.searchsorted(all_keys, keys)] = n
        return out

    def keys(self) -> NDArray[np.int64]:
        parts = [part for name in self.parts for part in self.parts[name]]
        return np.unique(np.concatenate(parts)) if parts else np.zeros(0, dtype=np.int64)


class _Means:
    """The mean of figures that are not always known."""

    def __init__(self) -> None:
        self._sum: dict[str, float] = {}
        self._n: dict[str, int] = {}

    def add(self, name: str, value: float | None) -> None:
        if value is not None:
            self._sum[name] = self._sum.get(name, 0.0) + float(value)
            self._n[name] = self._n.get(name, 0) + 1

    def of(self, name: str) -> float | None:
        return self._sum[name] / self._n[name] if self._n.get(name) else None


class Reducer:
    """Takes in a run turn by turn; `summary` gives what it comes to."""

    def __init__(self) -> None:
        self._still = StillEchoes()
        self._marks = MarkAccounts()
        self._counts = _Counts()
        self._means = _Means()
        self._courses: dict[int, list[float]] = {}  # by cell: sums of sine and cosine
        self._vessels: dict[int, set[int]] = {}  # by cell: who was there
        self._turns = self._looks = 0
        self._begins_ns: int | None = None
        self._ends_ns = self._looked_ns = 0

    def add(self, turn: ToldTurn) -> None:
        """Take in one turn."""
        line, time_ns = turn.line, turn.time_ns
        if self._begins_ns is None:
            self._begins_ns = time_ns
        self._ends_ns = time_ns
        self._turns += 1
        own = line["own"]
        if own["lat"] is None or own["lon"] is None:
            return
        frame = LocalFrame(round(own["lat"], 2), round(own["lon"], 2))
        seeing = _shape(line["seeing_line"])
        is_look = seeing is not None and time_ns - self._looked_ns >= LOOK_EVERY_NS
        ids = self._take_echoes(line, time_ns, frame)
        self._marks.add(line)
        registration = line["registration"]
        self._means.add("heading_bias_deg", registration.get("heading_bias_deg"))
        self._means.add("east_m", registration.get("east_m"))
        self._means.add("north_m", registration.get("north_m"))
        if turn.wind is not None:
            self._means.add("wind", turn.wind.speed)
            self._means.add("wind_east", math.sin(turn.wind.from_rad))
            self._means.add("wind_north", math.cos(turn.wind.from_rad))
        if is_look and seeing is not None:
            self._looked_ns = time_ns
            self._looks += 1
            self._look(line, seeing, ids)

    def _take_echoes(self, line: ReadingLine, time_ns: int, frame: LocalFrame) -> set[int]:
        """Hand on what lies still; return the tracks that did."""
        agreement = line["registration"]
        still: set[int] = set()
        for echo in line["echoes"]:
            at_rest = echo["is"] == "vessel" and echo["sog_kn"] < REST_KN and echo["p_moving"] < SURE_ENOUGH
            if echo["is"] != "uncharted" and not at_rest:
                self._still.other(echo["id"])
                continue
            still.add(echo["id"])
            self._still.add(echo, time_ns, agreement, at_rest or echo["ais"] is not None)
        return still

    def _look(self, line: ReadingLine, seeing: shapely.Geometry, ids: set[int]) -> None:
        hidden = _features(line["hidden"])
        self._still.look(seeing, [shape for _, shape in hidden], ids)
        land = [shape for by, shape in hidden if by in HIDES]
        rough = [shape for by, shape in hidden if by == "clutter"]
        seen_keys = _cells_in([seeing])
        covered = _cells_in([shape for _, shape in hidden])
        self._counts.add("looked", np.setdiff1d(seen_keys, covered))
        self._counts.add("hidden", np.setdiff1d(_cells_in(land), seen_keys) if land else np.zeros(0, dtype=np.int64))
        clutter = [lattice.key_of([e["lat"]], [e["lon"]]) for e in line["echoes"] if e["is"] == "clutter"]
        self._counts.add("clutter", np.unique(np.concatenate([_cells_in(rough), *clutter])))
        moving = []
        for echo in line["echoes"]:
            if echo["is"] != "vessel" or echo["cog_deg"] is None or echo["sog_kn"] < REST_KN:
                continue
            key = int(lattice.key_of([echo["lat"]], [echo["lon"]])[0])
            moving.append(key)
            course = math.radians(echo["cog_deg"])
            sums = self._courses.setdefault(key, [0.0, 0.0])
            sums[0] += math.sin(course)
            sums[1] += math.cos(course)
            self._vessels.setdefault(key, set()).add(echo["id"])
        self._counts.add("moving", np.array(moving, dtype=np.int64))

    def summary(self, number: str, boat: str, source: str) -> RunSummary:
        """Return the run's summary.  Raises SourceError if nothing was told on it."""
        if self._begins_ns is None:
            raise SourceError(f"{source}: nothing was told on this run")
        if self._looks == 0:
            raise SourceError(f"{source}: own position, heading or the radar was never known well enough to look")
        keys = self._counts.keys()
        who = {key: len(ids) for key, ids in self._vessels.items()}
        looked, hidden, clutter, moving = (self._counts.of(name, keys) for name in _BY_LOOKS)
        cells = Cells(
            keys,
            looked,
            hidden,
            clutter,
            moving,
            _at(keys, who),
            _at(keys, {key: round(_HUNDREDTHS * sums[0]) for key, sums in self._courses.items()}),
            _at(keys, {key: round(_HUNDREDTHS * sums[1]) for key, sums in self._courses.items()}),
        )
        east, north = self._means.of("wind_east"), self._means.of("wind_north")
        wind_from = None if east is None or north is None else math.degrees(math.atan2(east, north)) % 360.0
        run = Run(
            number, boat, source, self._begins_ns, self._ends_ns, self._turns, self._looks, self._means.of("wind"),
            wind_from, *(self._means.of(name) for name in ("heading_bias_deg", "east_m", "north_m")),
        )  # fmt: skip
        return RunSummary(run, self._still.sightings(), self._marks.seen(), cells)


def summarise(turns: Iterable[ToldTurn], number: str, boat: str, source: str) -> RunSummary:
    """Return the summary of a run.

    Parameters
    ----------
    turns : what was told on it, in order of time
    number, boat, source : of the run, of the boat, and the recording's name; they are kept as they are
    Raises
    ------
    SourceError  If nothing was told on it, or never enough to say what was looked at.
    """
    reducer = Reducer()
    for turn in turns:
        reducer.add(turn)
    return reducer.summary(number, boat, source)


def _at(keys: NDArray[np.int64], values: Mapping[int, int]) -> NDArray[np.int32]:
    out = np.zeros(len(keys), dtype=np.int32)
    if values:
        out[np.searchsorted(keys, np.fromiter(values, dtype=np.int64))] = np.fromiter(values.values(), dtype=np.int32)
    return out


def _shape(geometry: Polygon | None) -> shapely.Geometry | None:
    if geometry is None:
        return None
    rings = geometry["coordinates"]
    shape = shapely.make_valid(shapely.Polygon(rings[0], rings[1:]))
    return None if shapely.is_empty(shape) else shape


def _features(collection: HiddenLine | None) -> list[tuple[str, shapely.Geometry]]:
    if collection is None:
        return []
    return [(f["properties"]["by"], shapely.Polygon(f["geometry"]["coordinates"][0])) for f in collection["features"]]


def _cells_in(shapes: list[shapely.Geometry]) -> NDArray[np.int64]:
    """Return the cells whose middles lie in any of some shapes, each once."""
    out = [np.zeros(0, dtype=np.int64)]
    for shape in shapes:
        keys = lattice.cells_within(*shape.bounds)
        if len(keys):
            lat, lon = lattice.middle_of(keys)
            out.append(keys[shapely.contains_xy(shape, lon, lat)])
    return np.unique(np.concatenate(out))
