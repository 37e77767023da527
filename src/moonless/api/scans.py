"""Scans read, echoes found in them, and followed: degrees, metres, knots and UTC."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from moonless.api.inputs import Paths, boat_of, paths_of
from moonless.boat.types import Boat
from moonless.echo.detector import Detector as ScanDetector
from moonless.echo.types import EchoPicture, ShoreEcho
from moonless.errors import InputError
from moonless.frames import LocalFrame, destination
from moonless.scan.read.open import is_polar, open_polar, scans_of
from moonless.scan.types import Scan
from moonless.scene.write import NAMES
from moonless.track.settings import PoseErrors
from moonless.track.tracker import Tracker as PlotTracker
from moonless.track.types import Track
from moonless.units import iso_utc, mps_to_kn
from moonless.watch.pipeline.assembly import scan_errors
from moonless.watch.pipeline.replay import Replay
from moonless.watch.pipeline.scans import scans_of_replay

Floats = NDArray[np.float64]


def read_scans(path: str | Path, boat: Boat | str | Path | None = None, nmea: Paths = ()) -> Iterator[Scan]:
    """Yield the scans of a recording, one a turn of the antenna.

    Parameters
    ----------
    path : an MCAP recording; a file of ASTERIX category 240 with the NMEA beside it; a folder that a scene was written
        to; or a recorded polar set (docs/formats.md)
    boat : whose radar it is; None: an assumed 9 m launch with a small radome
    nmea : files of NMEA 0183 that say where the boat was and headed; without them both are unknown (NaN)

    Raises
    ------
    InputError, SourceError  In one line, if it cannot be read.

    Examples
    --------
    >>> for scan in read_scans("run.mcap", "boat.toml"):  # doctest: +SKIP
    ...     scan.echo.shape, scan.cell_m, scan.max_range_m
    """
    whose, given = boat_of(boat), Path(path)
    if is_polar(given):
        run = open_polar(given)
        return scans_of(run, scan_errors(whose, None))
    return scans_of_replay(replay_of(given, nmea), whose)


def replay_of(path: Path, nmea: Paths = ()) -> Replay:
    """Return what is to be played again: a recording, a radar file with its NMEA, or the folder of a made run."""
    beside = paths_of(nmea)
    if path.is_dir():
        radar, lines = path / NAMES[0], path / NAMES[1]
        if not radar.is_file():
            raise InputError(f"{path} is a folder without {NAMES[0]}; give a recording, a radar file or such a folder")
        return Replay(radar=(radar,), nmea=(lines, *beside) if lines.is_file() else beside)
    if not path.is_file():
        raise InputError(f"{path}: there is no such file or folder")
    if path.suffix.lower() == ".mcap":
        return Replay(recording=path)
    return Replay(radar=(path,), nmea=beside)


@dataclass(frozen=True, slots=True, eq=False, repr=False)
class Detections:
    """The echoes of one scan as parallel arrays, all (n,); NaN where heading or position was not known."""

    time: NDArray[np.datetime64]  # UTC, when the beam crossed each
    range_m: Floats  # slant range
    bearing_deg: Floats  # true
    relative_bearing_deg: Floats  # clockwise from the bow
    lat_deg: Floats
    lon_deg: Floats
    strength_db: Floats  # of the peak above the local background
    range_sigma_m: Floats  # one standard deviation
    bearing_sigma_deg: Floats
    is_of_shore: NDArray[np.bool_]  # a piece that stands out of an extended echo
    is_false: NDArray[np.bool_]  # a ghost of another: side lobe, indirect, multiple, second trace, interference
    shores: tuple[ShoreEcho, ...]  # extended echoes, spoke by spoke
    picture: EchoPicture  # all that the detector says, with background and threshold

    def __len__(self) -> int:
        return len(self.range_m)

    def __repr__(self) -> str:
        return f"Detections({len(self)} echoes, {len(self.shores)} shores)"


class Detector:
    """Finds echoes turn after turn, and learns the receiver, the sea and the shores as it goes.

    One for each radar; give it every scan, in order.
    """

    def __init__(self) -> None:
        self._detector = ScanDetector()

    def detect(self, scan: Scan) -> Detections:
        """Return the echoes of the next scan."""
        picture = self._detector.detect(scan)
        plots = picture.plots
        bearing = plots.heading_true_rad + plots.azimuth_rel_rad
        lat, lon = _places(plots.own_lat_deg, plots.own_lon_deg, np.degrees(bearing), plots.range_m)
        return Detections(
            plots.time_ns.astype("datetime64[ns]"),
            plots.range_m,
            np.degrees(bearing) % 360.0,
            np.degrees(plots.azimuth_rel_rad) % 360.0,
            lat,
            lon,
            plots.strength_db,
            plots.range_sigma_m,
            np.degrees(plots.azimuth_sigma_rad),
            plots.is_of_shore,
            plots.false_parent >= 0,
            picture.shores,
            picture,
        )

    def __repr__(self) -> str:
        return "Detector()"


def detect(scan: Scan) -> Detections:
    """Return the echoes of a single scan, by a detector that has seen nothing before.

    Over a run a `Detector` does better: it knows the sea and what was there last turn.
    """
    return Detector().detect(scan)


@dataclass(frozen=True, slots=True)
class TrackedEcho:
    """One echo through time, over the ground; one standard deviation where a name says sigma."""

    id: int
    state: Literal["tentative", "confirmed", "coasting"]
    lat_deg: float
    lon_deg: float
    cog_deg: float  # true
    sog_kn: float
    position_sigma_m: float  # the larger axis
    cog_sigma_deg: float
    sog_sigma_kn: float
    p_moving: float  # that it moves over the ground
    length_m: float | None  # None: not resolved
    n_scans: int  # turns since it began
    n_hits: int  # of them with an echo

    def __repr__(self) -> str:
        return (
            f"TrackedEcho({self.id}, {self.state}, {self.lat_deg:.5f}, {self.lon_deg:.5f}, "
            f"{self.cog_deg:05.1f}°, {self.sog_kn:.1f} kn)"
        )


class Tracks(tuple[TrackedEcho, ...]):
    """The tracks after one turn; ``time`` is when they stand so."""

    time: np.datetime64

    @classmethod
    def at(cls, time_ns: int, tracks: Iterator[TrackedEcho]) -> Tracks:
        """Return the tracks of a moment, Unix nanoseconds."""
        made = cls(tracks)
        made.time = np.datetime64(time_ns, "ns")
        return made

    @property
    def confirmed(self) -> tuple[TrackedEcho, ...]:
        """Those that are surely there."""
        return tuple(one for one in self if one.state != "tentative")

    def __repr__(self) -> str:
        return f"Tracks({iso_utc(int(self.time.astype(np.int64)))}, {len(self)}, {len(self.confirmed)} confirmed)"


class Tracker:
    """Follows every echo of a run, turn after turn.

    ``boat``: whose position and heading errors count; None: those of an assumed launch.
    """

    def __init__(self, boat: Boat | str | Path | None = None) -> None:
        whose = boat_of(boat)
        self._errors = PoseErrors(
            heading_sigma_rad=whose.heading_sigma_rad,
            position_sigma_m=whose.position_sigma_m,
            antenna_height_m=whose.radar.height_m,
        )
        self._detector = Detector()
        self._tracker: PlotTracker | None = None
        self.tracks = Tracks.at(0, iter(()))

    def update(self, scan: Scan, found: Detections | None = None) -> Tracks:
        """Take in one scan; return all tracks.

        ``found``: its echoes, where they were detected already; None: they are detected here.  A scan without position
        or heading cannot be placed on the earth: its tracks are those of before.
        """
        found = self._detector.detect(scan) if found is None else found
        if self._tracker is None:
            known = np.isfinite(scan.lat_deg) & np.isfinite(scan.lon_deg) & np.isfinite(scan.heading_true_rad)
            if not np.any(known):
                return self.tracks
            first = int(np.flatnonzero(known)[0])
            frame = LocalFrame(float(scan.lat_deg[first]), float(scan.lon_deg[first]))
            self._tracker = PlotTracker(frame, pose_errors=self._errors)
        told = self._tracker.update(scan.end_ns, found.picture.plots, scan.errors)
        frame = self._tracker.frame
        self.tracks = Tracks.at(scan.end_ns, (_tracked(track, frame) for track in told))
        return self.tracks

    def __repr__(self) -> str:
        return f"Tracker({len(self.tracks)} tracks)"


def _tracked(track: Track, frame: LocalFrame) -> TrackedEcho:
    lat, lon = frame.to_geographic(track.east_m, track.north_m)
    spread = float(np.sqrt(np.linalg.eigvalsh(track.covariance[:2, :2])[-1]))
    return TrackedEcho(
        track.id,
        track.state,
        float(lat),
        float(lon),
        math.degrees(track.course_rad),
        mps_to_kn(track.speed),
        spread,
        math.degrees(track.course_sigma_rad),
        mps_to_kn(track.speed_sigma),
        track.p_moving,
        track.length_m,
        track.n_scans,
        track.n_hits,
    )


def _places(lat_deg: Floats, lon_deg: Floats, bearing_deg: Floats, range_m: Floats) -> tuple[Floats, Floats]:
    lat, lon = np.full(range_m.shape, np.nan), np.full(range_m.shape, np.nan)
    known = np.isfinite(lat_deg) & np.isfinite(lon_deg) & np.isfinite(bearing_deg)
    if np.any(known):
        lat[known], lon[known] = destination(lat_deg[known], lon_deg[known], bearing_deg[known], range_m[known])
    return lat, lon
