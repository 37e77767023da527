"""The blobs of the real runs as plots, and our tracks of them as lines of readings.

Only the blobs, the boat's own track and the angle of her bow are read here; AIS and truth are for the scorer alone.
"""

from __future__ import annotations

import datetime
import json
import math
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from moonless.echo.types import Plots
from moonless.frames import LocalFrame
from moonless.scan.types import ScanErrors
from moonless.track.settings import PoseErrors, TrackerSettings
from moonless.track.tracker import Tracker
from moonless.track.types import Track
from moonless.units import KNOT_MPS, NS_PER_S

Floats = NDArray[np.float64]

# The set as `boat.toml` of the runs has it: a beam of 2 degrees, a pulse of 293 ns, bearings known to 1 degree, ranges
# to 10 m, her place to 5 m, her heading to 1 degree.
ERRORS = ScanErrors(beam_rad=math.radians(2.0), pulse_m=44.0, azimuth_sigma_rad=math.radians(1.0), range_sigma_m=10.0)
POSE = PoseErrors(heading_sigma_rad=math.radians(1.0), position_sigma_m=5.0)
# The middle of a saturated blob may lie a sixth of its extent from the thing's (as the eye of an echo does on a hull);
# never nearer than half a spoke and half a cell.
OF_EXTENT = 1.0 / 6.0
# What is larger is land: as the plain tracker's rule has it.
MOST_RANGE_M, MOST_CROSS_M = 400.0, 900.0


@dataclass(frozen=True, slots=True, eq=False)
class Run:
    """One run: turns of blobs, the boat's own track."""

    turns: list[tuple[float, Floats]]  # seconds of the day; blobs (n, 6): s, m, deg, extents m, deg, cells
    own: dict[str, Floats]
    frame: LocalFrame
    bow_offset_deg: float
    cell_m: float
    day_s: float  # Unix time of its midnight


def read_run(folder: Path) -> Run:
    """Return the blobs of a run folder."""
    told = json.loads((folder / "truth.json").read_text(encoding="utf-8"))
    with np.load(folder / "blobs.npz") as stored:
        blobs = np.split(stored["b"], np.cumsum(stored["n"])[:-1])
        times = stored["t"].tolist()
    own = {k: np.asarray(told["own"][k], dtype=np.float64) for k in ("t", "x", "y")}
    frame = LocalFrame(told["origin"]["lat"], told["origin"]["lon"])
    return Run(
        list(zip(times, blobs, strict=True)), own, frame, told["bow_offset_deg"], told["cell_m"], told["day_unix"]
    )


def kept(blobs: Floats) -> Floats:
    """Return the blobs (n, 6) of one turn that are not land by their size."""
    cross_m = np.radians(blobs[:, 4]) * blobs[:, 1]
    return blobs[(blobs[:, 3] < MOST_RANGE_M) & (cross_m < MOST_CROSS_M)]


def plots_of(blobs: Floats, run: Run) -> Plots:
    """Return a turn's blobs as plots; azimuths are true, so the heading is given as north."""
    b = kept(blobs)
    n = len(b)
    lat, lon = run.frame.to_geographic(
        np.interp(b[:, 0], run.own["t"], run.own["x"]), np.interp(b[:, 0], run.own["t"], run.own["y"])
    )
    zero, nan = np.zeros(n), np.full(n, np.nan)
    return Plots(
        time_ns=np.round(b[:, 0] * NS_PER_S).astype(np.int64), range_m=b[:, 1],
        azimuth_rel_rad=np.mod(np.radians(b[:, 2] + run.bow_offset_deg), 2.0 * math.pi), heading_true_rad=zero,
        own_lat_deg=np.atleast_1d(lat), own_lon_deg=np.atleast_1d(lon),
        range_sigma_m=np.maximum(OF_EXTENT * b[:, 3], 0.5 * run.cell_m),
        azimuth_sigma_rad=np.radians(np.maximum(OF_EXTENT * b[:, 4], 0.25)),
        range_extent_m=zero, cross_extent_m=zero, orientation_rel_rad=nan, strength_db=zero + 20.0, peak_count=nan,
        n_cells=b[:, 5].astype(np.int64), is_clipped=np.ones(n, dtype=np.bool_),
        false_parent=np.full(n, -1, dtype=np.int64), false_cause=(None,) * n,
    )  # fmt: skip


def tracked(run: Run, settings: TrackerSettings | None = None) -> Iterator[tuple[float, tuple[Track, ...]]]:
    """Yield (seconds of the day, tracks) turn by turn."""
    tracker = Tracker(run.frame, pose_errors=POSE, settings=settings)
    for time_s, blobs in run.turns:
        end_s = max(time_s, float(blobs[:, 0].max(initial=time_s)))
        yield end_s, tracker.update(round(end_s * NS_PER_S), plots_of(blobs, run), ERRORS)


def reading(time_s: float, tracks: tuple[Track, ...], run: Run) -> dict[str, Any]:
    """Return the line of a turn as the scorer reads it: every track held, told vessel where it moves."""
    echoes = []
    for t in tracks:
        if t.state == "tentative" or t.p_exists < 0.5:
            continue
        lat, lon = run.frame.to_geographic(t.east_m, t.north_m)
        echoes.append(
            {
                "id": t.id, "lat": float(lat), "lon": float(lon), "sog_kn": t.speed / KNOT_MPS,
                "cog_deg": math.degrees(t.course_rad), "is": "vessel" if t.p_moving >= 0.5 else "uncharted",
            }
        )  # fmt: skip
    when = datetime.datetime.fromtimestamp(run.day_s + time_s, datetime.UTC)
    return {"time": when.isoformat(timespec="milliseconds").replace("+00:00", "Z"), "echoes": echoes}
