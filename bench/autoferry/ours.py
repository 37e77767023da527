"""Runs our tracker over north-referenced points, as a radar's plots would come."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from bench.autoferry.data import AUTOFERRY, Radar, Turn
from moonless.echo.types import Plots
from moonless.frames import LocalFrame
from moonless.scan.types import ScanErrors
from moonless.track.settings import PoseErrors, TrackerSettings
from moonless.track.tracker import Tracker

# A marine radar of a small craft: a beam of five degrees, a resolution in range of some metres.  The ferry is placed by
# satellite navigation with corrections, good to decimetres; the boats are of six to nine metres.
ERRORS = ScanErrors(beam_rad=math.radians(5.0), pulse_m=6.0, azimuth_sigma_rad=math.radians(0.5), range_sigma_m=1.0)
POSE = PoseErrors(heading_sigma_rad=math.radians(0.5), position_sigma_m=0.5)
SETTINGS = TrackerSettings(glint_sigma_m=0.75)
FRAME = LocalFrame(63.4, 10.4)
NS = 1_000_000_000


def plots_of(turn: Turn, radar: Radar = AUTOFERRY, frame: LocalFrame = FRAME) -> Plots:
    """Return the points of a turn as plots; range and azimuth from the own boat, heading north."""
    d = turn.points_m - turn.own_m
    n = d.shape[0]
    lat, lon = frame.to_geographic(np.full(n, turn.own_m[0]), np.full(n, turn.own_m[1]))
    zero, nan = np.zeros(n), np.full(n, np.nan)
    return Plots(
        time_ns=np.full(n, round(turn.time_s * NS), dtype=np.int64),
        range_m=np.hypot(d[:, 0], d[:, 1]), azimuth_rel_rad=np.arctan2(d[:, 0], d[:, 1]) % (2 * math.pi),
        heading_true_rad=zero, own_lat_deg=np.atleast_1d(lat), own_lon_deg=np.atleast_1d(lon),
        range_sigma_m=np.full(n, radar.range_sigma_m), azimuth_sigma_rad=np.full(n, radar.azimuth_sigma_rad),
        range_extent_m=zero, cross_extent_m=zero, orientation_rel_rad=nan,
        strength_db=np.full(n, 20.0), peak_count=nan, n_cells=np.ones(n, dtype=np.int64),
        is_clipped=np.zeros(n, dtype=np.bool_), false_parent=np.full(n, -1, dtype=np.int64), false_cause=(None,) * n,
    )  # fmt: skip


def run(
    turns: list[Turn], radar: Radar = AUTOFERRY, settings: TrackerSettings | None = None
) -> Iterator[tuple[NDArray[np.int64], NDArray[np.float64], NDArray[np.float64]]]:
    """Yield (ids, places, velocities) of the tracks held, turn by turn; through fades, as the peers hold theirs."""
    tracker = Tracker(FRAME, pose_errors=POSE, settings=settings or SETTINGS)
    for turn in turns:
        tracks = tracker.update(round(turn.time_s * NS), plots_of(turn, radar), ERRORS)
        held = [t for t in tracks if t.is_held and t.p_exists >= 0.5]
        yield (
            np.array([t.id for t in held], dtype=np.int64),
            np.array([[t.east_m, t.north_m] for t in held]).reshape(-1, 2),
            np.array([[t.velocity_east, t.velocity_north] for t in held]).reshape(-1, 2),
        )
