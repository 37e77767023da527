"""Exercises from the skipper's own recordings: the radar as it was received, and what he saw there as the truth.

An echo that was confirmed by eye is ringed on the turns before that moment, the chart laid over, and it is asked what
it is.  No word of the program's own is in it, but for where the echo was and whether radar and chart agreed.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from functools import cached_property
from pathlib import Path

import numpy as np

from moonless.boat.types import Boat
from moonless.constants import NAUTICAL_MILE_M
from moonless.errors import InputError
from moonless.frames import geodesic
from moonless.practice.keys import WordKey
from moonless.practice.progress import Answered
from moonless.practice.steps.draw import RINGS, degrees, miles
from moonless.practice.types import Exercise, Marking, Pictures, Place, ShownTurn
from moonless.practice.waters import PracticeWaters, open_waters
from moonless.radar.types import ScanGrid
from moonless.scan.types import Scan
from moonless.units import NS_PER_S, iso_utc, kn_to_mps, ns_to_utc
from moonless.watch.afterwards.by_eye import CHARTED, NOTHING, UNCHARTED, WORDS, SeenThen, seen_on
from moonless.watch.afterwards.pictured import in_counts, scans_before

# So many looks, so far apart: a minute's trail, as the made exercises have it.
MOST_LOOKS, APART_S = 7, 8.0
# What moves shows it in its trail.
MOVES = kn_to_mps(1.5)
# What lies still and is not charted may be boat, float or stake: by radar alone a half.  Own choice, no source.
KNOWABLE_STILL = 0.5
# Seeds of made exercises count from 0, what was answered by day has -1.
_FIRST_SEED = -2
# So near the middle of waters that are open, a picture lies within them.
_SAME_WATERS_M = 3_000.0


class OwnRuns:
    """All that was seen on some recordings, numbered in order of time; the waters about each are opened when asked."""

    def __init__(self, runs: Sequence[Path], charts: Sequence[Path], boat: Boat) -> None:
        self._runs, self._charts, self._boat = tuple(runs), tuple(charts), boat
        self._waters: PracticeWaters | None = None

    @cached_property
    def _seen(self) -> list[tuple[Path, SeenThen]]:
        found = [(run, one) for run in self._runs for one in seen_on(run) if one.word is not None]
        return sorted(found, key=lambda pair: (pair[1].time_ns, pair[1].echo))

    def __len__(self) -> int:
        """How many things were seen.  Raises WireError for a file that is no recording."""
        return len(self._seen)

    def label(self, seed: int) -> str | None:
        """Return what an answer is kept under: which thing it was; None for the seed of a made exercise."""
        number = _FIRST_SEED - seed
        return f"own run {iso_utc(self._seen[number][1].time_ns)}" if 0 <= number < len(self) else None

    def next(self, given: Iterable[Answered]) -> int:
        """Return the number of the first that was not answered yet; all answered, of the one answered longest ago.

        Raises InputError where there is none.
        """
        if not len(self):
            what = "nothing was confirmed by eye on these recordings" if self._runs else "no recording was given"
            raise InputError(f"{what}: touch an echo at the helm, say what you see there, and record the run")
        last = {one.waters: one.time_ns for one in given if one.seed <= _FIRST_SEED}
        return min(range(len(self)), key=lambda k: (last.get(self.label(_FIRST_SEED - k) or "", -1), k))

    def exercise(self, number: int) -> tuple[Exercise, PracticeWaters]:
        """Return an exercise and the waters it lies in.  Raises InputError for a number that is none of theirs."""
        if not 0 <= number < len(self):
            raise InputError(f"of your own runs there are {len(self)} exercises, from 0; {number} is none of them")
        run, seen = self._seen[number]
        waters = self._waters_at(seen)
        return own_exercise(run, seen, waters, self._boat, number), waters

    def _waters_at(self, seen: SeenThen) -> PracticeWaters:
        here = self._waters
        if here is not None:
            chart = here.chart
            off_m, _ = geodesic(chart.centre_lat_deg, chart.centre_lon_deg, seen.lat_deg, seen.lon_deg)
            if off_m < _SAME_WATERS_M:
                return here
        self._waters = open_waters(self._charts, self._boat.draught_m, (seen.lat_deg, seen.lon_deg))
        return self._waters


def own_exercise(path: Path, seen: SeenThen, waters: PracticeWaters, boat: Boat, number: int) -> Exercise:
    """Return the exercise of one thing that was seen; ``number``: which of the runs' it is.

    Raises InputError if it was seen as nothing that can be asked, or if the recording has no picture of that moment.
    """
    if seen.word is None:
        raise InputError(f"{path}: what was seen there ({seen.what!r}) is nothing that can be asked")
    scans = scans_before(path, boat, seen.time_ns, round(MOST_LOOKS * APART_S * NS_PER_S))
    pictures = _pictures(_apart(scans), seen, waters)
    if pictures is None:
        raise InputError(f"{path}: has no radar picture of {_when(seen)} with place and heading, so it cannot be asked")
    place = _place(waters, seen.lat_deg, seen.lon_deg)
    last = pictures.last
    off = miles(math.dist(place, (last.east_m, last.north_m)))
    return Exercise(
        # As by day: the ladder's two steps that ask what an echo is.
        step="not_charted" if seen.word == UNCHARTED else "boat_or_beacon",
        seed=_FIRST_SEED - number,
        asks="The chart is laid over. What is the ringed echo?",
        told=(
            f"Your own run of {_when(seen)}: received, not made.",
            f"The bow points to {degrees(last.heading_rad)}. {len(pictures.looks)} looks.",
        ),
        key=WordKey(WORDS, seen.word),
        knowable=1.0 if seen.word == CHARTED or kn_to_mps(seen.sog_kn) > MOVES else KNOWABLE_STILL,
        because=f"You looked, {off} off, and saw: {seen.what}." + _chart_words(seen),
        words=WORDS,
        pictures=pictures,
        asked=(Marking("ring", "asked", (place,)),),
        notes=(Marking("ring", "truth", (place,), seen.what),),
        chart="with the question",
    )  # fmt: skip


def _chart_words(seen: SeenThen) -> str:
    if seen.word == CHARTED:
        return " The chart has it there."
    if seen.word == NOTHING:
        return " An echo is not yet a thing."
    return " The chart has something there too." if seen.is_charted else " The chart has nothing there."


def _when(seen: SeenThen) -> str:
    return f"{ns_to_utc(seen.time_ns):%Y-%m-%d %H:%M} UTC"


def _apart(scans: list[Scan]) -> list[Scan]:
    """Return the last turn and those before it, as far apart as looks are, of its own range scale."""
    out: list[Scan] = []
    for scan in reversed(scans):
        if out and (scan.cell_m, scan.echo.shape) != (out[-1].cell_m, out[-1].echo.shape):
            break
        if not out or out[-1].end_ns - scan.end_ns >= APART_S * NS_PER_S:
            out.append(scan)
    return out[:MOST_LOOKS][::-1]


def _pictures(scans: list[Scan], seen: SeenThen, waters: PracticeWaters) -> Pictures | None:
    looks = [_look(scan, scans[-1].end_ns, seen, waters) for scan in scans]
    known = [(scan, look) for scan, look in zip(scans, looks, strict=True) if look is not None]
    if not known or known[-1][0] is not scans[-1]:
        return None
    last, look = known[-1]
    reach_m = 1.3 * math.dist(_place(waters, seen.lat_deg, seen.lon_deg), (look.east_m, look.north_m))
    scales = [s for s in RINGS if s * NAUTICAL_MILE_M <= last.max_range_m] or [min(RINGS)]
    scale = next((s for s in scales if s * NAUTICAL_MILE_M >= reach_m), scales[-1])
    n_spoke, n_cell = last.echo.shape
    return Pictures(
        ScanGrid(n_spoke, n_cell, last.first_cell_m, last.cell_m), scale, tuple(one for _, one in known),
        np.stack([in_counts(scan.echo) for scan, _ in known]), "relative" if len(known) > 1 else "none",
        is_received=True,
    )  # fmt: skip


def _look(scan: Scan, last_ns: int, seen: SeenThen, waters: PracticeWaters) -> ShownTurn | None:
    """Return where the boat was at the end of a turn, put right by what registration knew; None if it is not known."""
    lat, lon, heading = float(scan.lat_deg[-1]), float(scan.lon_deg[-1]), float(scan.heading_true_rad[-1])
    if not all(math.isfinite(v) for v in (lat, lon, heading)):
        return None
    east, north = _place(waters, lat, lon)
    heading -= math.radians(seen.heading_bias_deg)
    return ShownTurn((scan.end_ns - last_ns) / NS_PER_S, east - seen.east_m, north - seen.north_m, heading, heading)


def _place(waters: PracticeWaters, lat_deg: float, lon_deg: float) -> Place:
    east, north = waters.chart.frame.to_plane(lat_deg, lon_deg)
    return float(east), float(north)
