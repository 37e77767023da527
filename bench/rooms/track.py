"""The tracker's time a turn, beside Stone Soup on the same plots: ``track`` and ``track.*``.

Times are processor time of this process, ours and theirs alike: one core, whoever else uses the machine.
"""

from __future__ import annotations

import math
import statistics
import time
from collections.abc import Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from bench.metrics import Score
from bench.peers import stonesoup as _stonesoup
from bench.result import Result
from moonless.echo.types import Plots
from moonless.frames import LocalFrame
from moonless.scan.types import ScanErrors
from moonless.track.settings import PoseErrors
from moonless.track.tracker import Tracker

NAMES = ("track", "track.200", "track.1000", "track.gospa")

FRAME = LocalFrame(0.0, -30.0)
ERRORS = ScanErrors(beam_rad=math.radians(4.0), pulse_m=12.0, azimuth_sigma_rad=0.001, range_sigma_m=1.0)
POSE = PoseErrors(heading_sigma_rad=0.001, heading_jitter_rad=0.0005, position_sigma_m=0.5)
TURN_S = 2.5
FAST_TURN_S = 60.0 / 48.0
HALF_SIDE_M = 3000.0
PEER_TURNS = 40

Turn = tuple[NDArray[np.float64], NDArray[np.float64]]


def world(n_targets: int, n_false: int, turns: int, seed: int = 1) -> list[Turn]:
    """Return (truth, seen) of each turn: half still, half at 1 to 8 m/s; nine in ten seen; 3 m of noise."""
    rng = np.random.default_rng(seed)
    place = rng.uniform(-HALF_SIDE_M, HALF_SIDE_M, (n_targets, 2))
    course, speed = rng.uniform(0, 2 * np.pi, n_targets), rng.uniform(1.0, 8.0, n_targets)
    speed[::2] = 0.0
    velocity = speed[:, None] * np.stack([np.sin(course), np.cos(course)], axis=1)
    out = []
    for _ in range(turns):
        place = place + velocity * TURN_S
        seen = place[rng.random(n_targets) < 0.9]
        seen = seen + rng.normal(0.0, 3.0, seen.shape)
        out.append((place, np.concatenate([seen, rng.uniform(-HALF_SIDE_M, HALF_SIDE_M, (n_false, 2))])))
    return out


def plots_of(time_ns: int, places: NDArray[np.float64]) -> Plots:
    """Return places as plots seen from the middle of the plane, each axis 3 m one sigma."""
    n = places.shape[0]
    zero, nan = np.zeros(n), np.full(n, np.nan)
    r = np.hypot(places[:, 0], places[:, 1])
    return Plots(
        time_ns=np.full(n, time_ns, dtype=np.int64), range_m=r,
        azimuth_rel_rad=np.mod(np.arctan2(places[:, 0], places[:, 1]), 2 * np.pi), heading_true_rad=zero,
        own_lat_deg=zero + FRAME.lat_deg, own_lon_deg=zero + FRAME.lon_deg, range_sigma_m=zero + 2.6,
        azimuth_sigma_rad=2.6 / np.maximum(r, 30.0), range_extent_m=zero, cross_extent_m=zero, orientation_rel_rad=nan,
        strength_db=zero + 20.0, peak_count=nan, n_cells=np.ones(n, dtype=np.int64), is_clipped=np.zeros(n, np.bool_),
        false_parent=np.full(n, -1, dtype=np.int64), false_cause=(None,) * n,
    )  # fmt: skip


def ours(turns: list[Turn]) -> tuple[list[float], Score, int]:
    """Return (seconds of each turn, GOSPA, tracks at the end)."""
    tracker, score, took, tracks = Tracker(FRAME, pose_errors=POSE), Score(), [], ()
    for k, (truth, seen) in enumerate(turns):
        now = round(k * TURN_S * 1e9)
        plots = plots_of(now, seen)
        begin = time.process_time()
        tracks = tracker.update(now, plots, ERRORS)
        took.append(time.process_time() - begin)
        held = [t for t in tracks if t.state != "tentative" and t.p_exists >= 0.5]
        score.add(
            k * TURN_S, np.array([t.id for t in held], dtype=np.int64),
            np.array([[t.east_m, t.north_m] for t in held]).reshape(-1, 2), list(range(len(truth))), truth,
        )  # fmt: skip
    return took, score, len(tracks)


def theirs(turns: list[Turn], kind: str) -> tuple[list[float], Score]:
    """Return (seconds of each turn, GOSPA) of Stone Soup told the true noise, clutter and detection probability."""
    settings = _stonesoup.PeerSettings(
        kind, acceleration_q=0.01, noise_m=3.0, speed_sigma=6.0, p_detect=0.9,
        clutter_per_m2=30 / (2 * HALF_SIDE_M) ** 2, gate=4.0, min_points=3, delete_after=5,
    )  # fmt: skip
    score, took = Score(), []
    run = _stonesoup.run([k * TURN_S for k in range(len(turns))], [seen for _, seen in turns], settings)
    for k, (truth, _) in enumerate(turns):
        begin = time.process_time()
        ids, places, _ = next(run)
        took.append(time.process_time() - begin)
        score.add(k * TURN_S, ids, places, list(range(len(truth))), truth)
    return took, score


def run(names: Sequence[str]) -> Iterator[Result]:
    """Yield the figures asked for: medians over the turns after the fifth, so kernels are warm and tracks are held."""
    if "track" in names or "track.gospa" in names:
        ours(world(50, 30, 8))
        turns = world(50, 30, 40)
        took, _score, _ = ours(turns)
        # The library's plain JPDA counts the joint events of all tracks at once and does not finish a turn of these in
        # minutes; its JPDA by loopy belief propagation does.
        peer_took, peer_score = theirs(turns[:PEER_TURNS], "jpda lbp")
        _, short, _ = ours(turns[:PEER_TURNS])
        mine, peer = statistics.median(took[5:]) * 1e3, statistics.median(peer_took[5:]) * 1e3
        if "track" in names:
            yield Result("track", mine, "ms", "Stone Soup JPDA (LBP)", peer, peer / mine)
        if "track.gospa" in names:
            yield Result(
                "track.gospa", short.mean, "m", "Stone Soup JPDA (LBP)", peer_score.mean, peer_score.mean / short.mean
            )
    # About 200 tracks with 300 plots a turn, and with 1 000: "without slipping" is against a fast antenna's turn.
    for name, n_false in (("track.200", 120), ("track.1000", 820)):
        if name in names:
            took, _, _ = ours(world(200, n_false, 25))
            mine = statistics.median(took[8:]) * 1e3
            yield Result(name, mine, "ms", "real time", FAST_TURN_S * 1e3, FAST_TURN_S * 1e3 / mine)
