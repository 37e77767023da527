"""False echoes by geometry: where each must lie, how strong, and of what.

by the own mast     bearing of the mast, range of the thing
by another ship Q   bearing of Q, range |Q| + |QT|            (out by Q and back by Q)
in a wall           the mirror image of the thing, if the line to it crosses the wall
to and fro          bearing of the ship, two and three times its range
second trace        bearing of what is far off, its range less the pulse interval's
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from moonless.constants import SPEED_OF_LIGHT_MPS
from moonless.scene.wild.ground import wall_mirror
from moonless.scene.wild.types import Antenna, Ghosts

# Weaker than this over noise a ghost is not worth drawing.
LEAST_DB = 3.0


@dataclass(frozen=True, slots=True)
class Ghost:
    """One false echo: place relative to the antenna by true bearing, power over noise."""

    kind: str
    of: str
    bearing_rad: float
    range_m: float
    power: float


@dataclass(frozen=True, slots=True)
class Strong:
    """What is strong enough to be seen twice: place from the antenna, power over noise at that place, length."""

    name: str
    east_m: float
    north_m: float
    power: float
    length_m: float

    @property
    def range_m(self) -> float:
        """From the antenna."""
        return math.hypot(self.east_m, self.north_m)

    @property
    def bearing_rad(self) -> float:
        """True."""
        return math.atan2(self.east_m, self.north_m)


def interval_m(prf_hz: float) -> float:
    """Return the range of an echo that comes back as the next pulse leaves."""
    return 0.5 * SPEED_OF_LIGHT_MPS / prf_hz


def ghosts_of(
    strong: list[Strong],
    use: Ghosts,
    antenna: Antenna,
    heading_rad: float,
    walls: list[tuple[tuple[float, float], tuple[float, float]]],
    far: list[Strong],
) -> list[Ghost]:
    """Return the false echoes of one turn; walls and things relative to the antenna, metres east and north."""
    out: list[Ghost] = []
    least = 10.0 ** (LEAST_DB / 10.0)

    def add(kind: str, of: str, bearing: float, range_m: float, power: float) -> None:
        if power > least and range_m < antenna.range_m:
            out.append(Ghost(kind, of, bearing % (2.0 * math.pi), range_m, power))

    for thing in strong:
        for angle in use.mast_rad:
            add("mast", thing.name, heading_rad + angle, thing.range_m, thing.power * 10.0 ** (use.mast_db / 10.0))
        if use.multiple_db is not None and thing.length_m >= 30.0:
            for trip in (2, 3):
                loss = 10.0 ** ((trip - 1) * use.multiple_db / 10.0)
                add("multiple", thing.name, thing.bearing_rad, trip * thing.range_m, thing.power * loss)
        if use.hulls_db is not None:
            for other in strong:
                if other is thing or other.length_m < 40.0:
                    continue
                way = math.hypot(thing.east_m - other.east_m, thing.north_m - other.north_m)
                if way < 50.0 or way > 2_000.0:
                    continue
                loss = 10.0 ** (use.hulls_db / 10.0) * min(1.0, thing.range_m**4 / (other.range_m + way) ** 4)
                add("hull", thing.name, other.bearing_rad, other.range_m + way, thing.power * loss)
        if use.walls_db is not None:
            for wall in walls:
                image = wall_mirror(wall, (thing.east_m, thing.north_m))
                if not _crosses(image, wall):
                    continue
                away = math.hypot(*image)
                loss = 10.0 ** (use.walls_db / 10.0) * (thing.range_m / max(away, 1.0)) ** 4
                add("wall", thing.name, math.atan2(image[0], image[1]), away, thing.power * min(loss, 1.0))
    if use.second_trace:
        interval = interval_m(antenna.prf_hz)
        for thing in far:
            add("second trace", thing.name, thing.bearing_rad, thing.range_m % interval, thing.power)
    return out


def _crosses(image: tuple[float, float], wall: tuple[tuple[float, float], tuple[float, float]]) -> bool:
    """Return whether the line from the antenna to an image passes through the wall, and the image lies behind it."""
    (e0, n0), (e1, n1) = wall
    se, sn = e1 - e0, n1 - n0
    cross = image[0] * sn - image[1] * se
    if abs(cross) < 1e-9:
        return False
    along = (e0 * sn - n0 * se) / cross
    share = (e0 * image[1] - n0 * image[0]) / cross
    return 0.0 < along < 1.0 and 0.0 <= share <= 1.0
