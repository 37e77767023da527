"""What lay still on one run, gathered from the echoes that were told."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
import shapely

from moonless.frames import LocalFrame
from moonless.memory.summary import Sighting
from moonless.reading.line import EchoLine, RegistrationLine

# Told in fewer turns than this, or most of the time as something else, it is no sighting.
LEAST_TURNS, LEAST_SHARE = 4, 0.5
LEAST_CONFIDENCE = 0.4
# Echoes of one thing under several numbers, as after a gap, lie this near each other: two beams of a small radar are
# 70 m wide at half a mile, but places told over some turns are better than that.  Own choice.
ONE_THING_M = 30.0
# What is left in a place after registration that none of its figures tells: the eye of an echo on a hull, the tracker.
# Own figure, no source.
LEAST_SIGMA_M = 4.0
# Heading error left after registration where it does not say how much; the common fluxgate's, from memory.
HEADING_SIGMA_DEG = 1.0


@dataclass(slots=True)
class _Told:
    """Sums over the turns in which one thing was told.  Places in metres about the first one."""

    frame: LocalFrame
    numbers: set[int] = field(default_factory=set)
    weight: float = 0.0
    east: float = 0.0
    north: float = 0.0
    square: float = 0.0
    pose_variance: float = 0.0
    confidence: float = 0.0
    first_ns: int = 0
    last_ns: int = 0
    told: int = 0
    vessel: int = 0
    lengths: list[float] = field(default_factory=list)

    @property
    def place(self) -> tuple[float, float]:
        """Mean place, (east, north) in the frame."""
        return self.east / self.weight, self.north / self.weight


class StillEchoes:
    """Takes in still echoes turn by turn, by the number of their track."""

    def __init__(self) -> None:
        self._tracks: dict[int, _Told] = {}
        self._others: dict[int, int] = {}
        self._looks: list[tuple[shapely.Geometry, list[shapely.Geometry], set[int]]] = []

    def other(self, number: int) -> None:
        """Say that a track was told as something else this turn."""
        self._others[number] = self._others.get(number, 0) + 1

    def add(self, echo: EchoLine, time_ns: int, registration: RegistrationLine, is_vessel: bool) -> None:
        """Take in one turn's word of an echo that lies still."""
        number = echo["id"]
        track = self._tracks.get(number)
        if track is None:
            track = self._tracks[number] = _Told(LocalFrame(echo["lat"], echo["lon"]), {number}, first_ns=time_ns)
        east, north = track.frame.to_plane(echo["lat"], echo["lon"])
        # The place across the bearing is as good as the heading and the beam: near looks say more.
        reach = max(float(echo["range_m"]), 50.0)
        weight = 1.0 / reach**2
        bias_sigma = registration.get("heading_sigma_deg")
        across = math.radians(HEADING_SIGMA_DEG if bias_sigma is None else bias_sigma) * reach
        own = registration.get("sigma_m")
        track.weight += weight
        track.east += weight * east
        track.north += weight * north
        track.square += weight * (east**2 + north**2)
        track.pose_variance += weight * (0.5 * across**2 + (4.0 if own is None else own) ** 2)
        track.confidence += echo["confidence"]
        track.last_ns = time_ns
        track.told += 1
        track.vessel += is_vessel
        if echo["length_m"] is not None:
            track.lengths.append(float(echo["length_m"]))

    def look(self, seeing: shapely.Geometry, hidden: list[shapely.Geometry], numbers: set[int]) -> None:
        """Take in which water was seen at one look, and which still tracks were told then."""
        self._looks.append((seeing, hidden, numbers))

    def sightings(self) -> tuple[Sighting, ...]:
        """Return what lay still, in order of place."""
        things = _joined(
            [
                track
                for number, track in sorted(self._tracks.items())
                if track.told >= LEAST_SHARE * (track.told + self._others.get(number, 0))
            ]
        )
        out = [
            self._sighting(thing)
            for thing in things
            if thing.told >= LEAST_TURNS and thing.confidence / thing.told >= LEAST_CONFIDENCE
        ]
        return tuple(sorted(out, key=lambda one: (one.lat_deg, one.lon_deg)))

    def _sighting(self, thing: _Told) -> Sighting:
        east, north = thing.place
        lat, lon = thing.frame.to_geographic(east, north)
        spread = math.sqrt(max(thing.square / thing.weight - east**2 - north**2, 0.0) / 2.0)
        place = shapely.Point(lon, lat)
        looks = seen = 0
        for seeing, hidden, numbers in self._looks:
            if shapely.contains(seeing, place) and not any(shapely.contains(shape, place) for shape in hidden):
                looks += 1
                seen += bool(thing.numbers & numbers)
        sigma = math.sqrt(thing.pose_variance / thing.weight + spread**2 / thing.told + LEAST_SIGMA_M**2)
        return Sighting(
            round(lat, 7), round(lon, 7), round(sigma, 2), round(spread, 2), thing.first_ns, thing.last_ns, looks, seen,
            thing.told, round(thing.confidence / thing.told, 4),
            round(float(np.median(thing.lengths)), 1) if thing.lengths else None, thing.vessel > 0.5 * thing.told,
        )  # fmt: skip


def _joined(tracks: list[_Told]) -> list[_Told]:
    """Return the tracks with those that are one thing put together: nearest pairs first, while near enough."""
    things = list(tracks)
    while len(things) > 1:
        frame = things[0].frame
        at = np.array([frame.to_plane(*one.frame.to_geographic(*one.place)) for one in things])
        gap = np.hypot(*(at[:, None, :] - at[None, :, :]).transpose(2, 0, 1))
        for i, one in enumerate(things):
            for j in range(i + 1):
                # Told at the same time under two numbers they are two things.
                overlap = min(one.last_ns, things[j].last_ns) - max(one.first_ns, things[j].first_ns)
                if j == i or overlap > 0:
                    gap[i, j] = gap[j, i] = np.inf
        first, second = sorted(divmod(int(np.argmin(gap)), len(things)))
        if gap[first, second] > ONE_THING_M:
            break
        things[first] = _together(things[first], things.pop(second))
    return things


def _together(one: _Told, other: _Told) -> _Told:
    moved = one.frame.to_plane(*other.frame.to_geographic(*other.place))
    old = other.place
    # The other's sums in the frame of the first: its mean moves, its spread about the mean stays.
    spread = other.square - other.weight * (old[0] ** 2 + old[1] ** 2)
    return _Told(
        one.frame,
        one.numbers | other.numbers,
        one.weight + other.weight,
        one.east + other.weight * moved[0],
        one.north + other.weight * moved[1],
        one.square + spread + other.weight * (moved[0] ** 2 + moved[1] ** 2),
        one.pose_variance + other.pose_variance,
        one.confidence + other.confidence,
        min(one.first_ns, other.first_ns),
        max(one.last_ns, other.last_ns),
        one.told + other.told,
        one.vessel + other.vessel,
        one.lengths + other.lengths,
    )
