"""More than any boat has: a radar of 48 rpm and 4 096 spokes of 1 024 cells, 300 echoes, 1 000 AIS targets, over UDP.

    python -m bench.live.crowd RADAR_PORT NMEA_PORT

Made video, no radar physics: what is measured with it is whether the watch keeps up and tells the truth, not what a
radar sees.  Where each thing is at a time is `places`, which whoever holds the watch to the truth asks too.
"""

from __future__ import annotations

import math
import socket
import sys
import time

import numpy as np
from numpy.typing import NDArray

from moonless.units import NS_PER_S, kn_to_mps
from moonless.wire.ais import encode_ais
from moonless.wire.cat240 import encode_video
from moonless.wire.nmea_write import write_hdt, write_rmc

N_SPOKE, N_CELL, CELL_M, TURN_S = 4096, 1024, 6.0, 1.25
N_ECHO, N_MOVING, N_AIS = 300, 100, 1000
LAT, LON, OWN_MPS = -38.0, -128.0, kn_to_mps(8.0)
METRES_A_DEGREE = 111_120.0

Floats = NDArray[np.float64]


def places(since_s: float) -> tuple[Floats, Floats]:
    """Return where echoes are so long since the beginning, and their velocity: (300, 2) east, north metres; m/s.

    From where the boat began, who runs north.  The first hundred move.
    """
    chance = np.random.default_rng(7)
    distance = np.sqrt(chance.uniform(400.0**2, 5500.0**2, N_ECHO))
    bearing = chance.uniform(0.0, 2.0 * math.pi, N_ECHO)
    way = chance.uniform(0.0, 2.0 * math.pi, N_ECHO)
    pace = np.where(np.arange(N_ECHO) < N_MOVING, chance.uniform(2.0, 7.0, N_ECHO), 0.0)
    velocity = np.stack([np.sin(way), np.cos(way)], axis=1) * pace[:, None]
    begin = np.stack([np.sin(bearing), np.cos(bearing)], axis=1) * distance[:, None]
    return begin + velocity * since_s, velocity


def to_lat_lon(east_north: Floats) -> tuple[Floats, Floats]:
    """Return latitude and longitude of places, degrees; the few miles here are flat."""
    lat = LAT + east_north[:, 1] / METRES_A_DEGREE
    return lat, LON + east_north[:, 0] / (METRES_A_DEGREE * math.cos(math.radians(LAT)))


def turn_of(number: int, noise: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Return the counts of one turn, (N_SPOKE, N_CELL), the bow north."""
    out = np.roll(noise, 37 * number, axis=0)
    there, velocity = places(number * TURN_S)
    half = math.radians(1.2) / (2.0 * math.pi) * N_SPOKE
    for (east, north), (ve, vn) in zip(there, velocity, strict=True):
        rough = math.atan2(east, north - OWN_MPS * number * TURN_S) % (2.0 * math.pi)
        since = rough / (2.0 * math.pi) * TURN_S
        e = east + ve * since
        n = north + vn * since - OWN_MPS * (number * TURN_S + since)
        cell, middle = round(math.hypot(e, n) / CELL_M), math.atan2(e, n) / (2.0 * math.pi) * N_SPOKE
        if not 3 < cell < N_CELL - 3:
            continue
        rows = np.arange(math.floor(middle - half), math.ceil(middle + half))
        out[rows % N_SPOKE, cell - 2 : cell + 3] = 210
    return out


def main(radar: int, nmea: int, began_ns: int) -> None:
    """Send until killed; what a busy computer could not make in time is left out."""
    sock = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
    noise = np.clip(np.random.default_rng(3).gamma(4.0, 6.0, (N_SPOKE, N_CELL)), 0, 255).astype(np.uint8)
    step = 2.0 * math.pi / N_SPOKE
    number = 0
    while True:
        counts = turn_of(number, noise)
        turn_ns = began_ns + round(number * TURN_S * NS_PER_S)
        for row in range(N_SPOKE):
            at_ns = turn_ns + round(row / N_SPOKE * TURN_S * NS_PER_S)
            if row % 32 == 0 and (left_s := (at_ns - time.time_ns()) / NS_PER_S) > 0.0:
                time.sleep(left_s)
            sock.sendto(
                encode_video(
                    counts[row], azimuth_start_rad=(row - 0.5) % N_SPOKE * step, azimuth_end_rad=(row + 0.5) * step,
                    cell_m=CELL_M, sequence=number * N_SPOKE + row, time_ns=at_ns,
                ),
                ("127.0.0.1", radar),
            )  # fmt: skip
            if row % 512 == 0:
                for line in _sentences(number, row, (at_ns - began_ns) / NS_PER_S, at_ns):
                    sock.sendto(line.encode() + b"\r\n", ("127.0.0.1", nmea))
        behind_s = (time.time_ns() - turn_ns) / NS_PER_S - TURN_S
        number += 1 + (int(behind_s / TURN_S) if behind_s > TURN_S else 0)


def _sentences(number: int, row: int, since_s: float, at_ns: int) -> list[str]:
    lines = [write_hdt(0.0)]
    if row % 2048 == 0:
        lines.append(write_rmc(at_ns, LAT + OWN_MPS * since_s / METRES_A_DEGREE, LON, 0.0, OWN_MPS))
    # Each tells its place every ten seconds: an eighth of a turn's share at a time.
    share = round(N_AIS * TURN_S / 10.0 / 8.0)
    first = (number * 8 + row // 512) * share
    there, velocity = places(since_s)
    lat, lon = to_lat_lon(there)
    for k in range(first, first + share):
        who = k % N_AIS
        if who < N_MOVING:
            east, north = velocity[who]
            speed_kn, course = math.hypot(east, north) / kn_to_mps(1.0), math.degrees(math.atan2(east, north)) % 360.0
            body = {"lat": float(lat[who]), "lon": float(lon[who]), "speed": round(speed_kn, 1), "course": course}
        else:
            # Out of the radar's reach.
            body = {"lat": LAT + 0.1 + who * 1e-4, "lon": LON + 0.1, "speed": 0.0, "course": 0.0}
        lines += encode_ais({"type": 1, "mmsi": 999_000_000 + who, **body})
    return lines


if __name__ == "__main__":
    main(int(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3]))
