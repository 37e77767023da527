"""Other radars' targets as tracks, where there is no radar video at all.

Rules of this file:
- A target is carried on from when it was told by the motion it was told with; its place is as unsure as that makes it.
- What nobody said (its size, its strength, whether it turns) stays unknown.
- AIS is joined with a target where the two lie together and no other is nearer.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from moonless.frames import LocalFrame
from moonless.reading.situation import OwnState
from moonless.track.types import AisTarget, RadarTarget, Track
from moonless.units import NS_PER_S
from moonless.watch.instruments.radar_targets import RadarTargets, Tracked

# The plane is laid anew when the boat is this far from where it touches the earth.
ANCHOR_M = 20_000.0
# Of a tracker's course and speed after a minute; of a target whose motion nobody told.  IMO A.823(19) asks for about
# a tenth of the speed after three minutes; the rest is common practice.
VELOCITY_SIGMA, UNKNOWN_VELOCITY_SIGMA = 0.5, 5.0
# A speed that is no tracker's noise, and one that is.
MOVES_MPS, LIES_MPS = 1.0, 0.3
TOLD_TWICE, P_TRACKED, P_ACQUIRING = 2, 0.9, 0.5
TRACKED_AFTER = 5
AIS_SIGMA_M = 20.0
# Three standard deviations; an AIS position older than this is not joined.
GATE, AIS_OLDEST_S = 3.0, 30.0

Floats = NDArray[np.float64]


class TargetTracks:
    """Makes tracks of other radars' targets, with numbers that stay.

    ``expects_video``: there is radar video, or it is to come; then these stand in for nothing.
    """

    def __init__(self, others: RadarTargets, expects_video: bool) -> None:
        self.expects_video = expects_video
        self._others = others
        self._frame: LocalFrame | None = None
        self._ids: dict[tuple[str, int], int] = {}
        self._next = 1

    def are_all(self, now_ns: int) -> bool:
        """Return whether these targets are all that is known of what is about."""
        return not self.expects_video and bool(self._others.tracked(now_ns))

    def frame_at(self, own: OwnState) -> LocalFrame | None:
        """Return the plane of the tracks; None while the boat has no place."""
        if own.lat_deg is None or own.lon_deg is None:
            return None
        frame = self._frame
        if frame is None or float(np.hypot(*frame.to_plane(own.lat_deg, own.lon_deg))) > ANCHOR_M:
            frame = self._frame = LocalFrame(own.lat_deg, own.lon_deg)
        return frame

    def tracks(self, ais: Iterable[AisTarget], frame: LocalFrame, now_ns: int) -> tuple[Track, ...]:
        """Return the tracks at a time."""
        told = self._others.tracked(now_ns)
        self._number(told)
        made = [self._track(one, frame, now_ns) for one in told]
        named = _joined(made, list(ais), frame, now_ns)
        return tuple(_with_ais(track, named.get(track.id)) for track in made)

    def _number(self, told: Sequence[Tracked]) -> None:
        here = {(one.target.source, one.target.number) for one in told}
        self._ids = {key: i for key, i in self._ids.items() if key in here}
        for key in sorted(here - self._ids.keys()):
            self._ids[key] = self._next
            self._next += 1

    def _track(self, one: Tracked, frame: LocalFrame, now_ns: int) -> Track:
        target = one.target
        age = max(now_ns - target.time_ns, 0) / NS_PER_S
        east, north = (float(v) for v in frame.to_plane(target.lat_deg, target.lon_deg))
        ve, vn, sigma_v = _velocity(target)
        sigma = math.hypot(target.position_sigma_m, sigma_v * age)
        is_sure = not one.is_acquiring and one.n_told >= TOLD_TWICE
        return Track(
            id=self._ids[target.source, target.number],
            state="confirmed" if is_sure else "tentative",
            time_ns=now_ns,
            east_m=east + ve * age,
            north_m=north + vn * age,
            velocity_east=ve,
            velocity_north=vn,
            covariance=np.diag([sigma**2, sigma**2, sigma_v**2, sigma_v**2]),
            p_exists=P_TRACKED if is_sure else P_ACQUIRING,
            p_moving=_p_moving(target.sog),
            turn_rate=None,
            length_m=None,
            beam_m=None,
            orientation_rad=None,
            strength_db=math.nan,
            started_ns=one.first_ns,
            last_plot_ns=target.time_ns,
            # Before it calls a target tracked, the other radar has seen it on five of ten turns (IMO A.823(19)).
            n_scans=one.n_told + (TRACKED_AFTER if is_sure else 0),
            n_hits=one.n_told + (TRACKED_AFTER if is_sure else 0),
            misses_in_a_row=0,
            last_plot=None,
            other_radar=target,
        )


def _velocity(target: RadarTarget) -> tuple[float, float, float]:
    """Return east, north, and one standard deviation of each."""
    if target.sog is not None and target.sog < LIES_MPS:
        return 0.0, 0.0, VELOCITY_SIGMA
    if target.sog is None or target.cog_rad is None:
        return 0.0, 0.0, UNKNOWN_VELOCITY_SIGMA
    return target.sog * math.sin(target.cog_rad), target.sog * math.cos(target.cog_rad), VELOCITY_SIGMA


def _p_moving(speed: float | None) -> float:
    if speed is None:
        return 0.5
    return float(np.clip(np.interp(speed, (LIES_MPS, MOVES_MPS), (0.05, 0.98)), 0.05, 0.98))


def _joined(tracks: list[Track], ais: list[AisTarget], frame: LocalFrame, now_ns: int) -> dict[int, AisTarget]:
    """Return {track id: AIS}, the nearest pairs first, each once."""
    pairs = []
    for target in ais:
        age = (now_ns - target.time_ns) / NS_PER_S
        if target.is_own or target.is_virtual_aid or age > AIS_OLDEST_S:
            continue
        east, north = (float(v) for v in frame.to_plane(target.lat_deg, target.lon_deg))
        if target.sog is not None and target.cog_rad is not None:
            east, north = (
                east + target.sog * age * math.sin(target.cog_rad),
                north + target.sog * age * math.cos(target.cog_rad),
            )
        hull = (target.length_m or 0.0) / 2.0
        for track in tracks:
            sigma = math.hypot(math.sqrt(float(track.covariance[0, 0])), AIS_SIGMA_M)
            away = math.hypot(track.east_m - east, track.north_m - north)
            if away < GATE * sigma + hull:
                pairs.append((away / sigma, track.id, target))
    out: dict[int, AisTarget] = {}
    taken: set[int] = set()
    for _, track_id, target in sorted(pairs, key=lambda pair: pair[:2]):
        if track_id not in out and target.mmsi not in taken:
            out[track_id] = target
            taken.add(target.mmsi)
    return out


def _with_ais(track: Track, ais: AisTarget | None) -> Track:
    return track if ais is None else replace(track, ais=ais)
