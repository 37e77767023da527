"""A made radar and made instruments over UDP on the loopback: category 240 and NMEA 0183 at the pace of life.

    python helm_senders.py RADAR_PORT NMEA_PORT [SECOND_NMEA_PORT] [--at=LAT,LON]

Made video of no real place: an island ahead, two boats; nothing here is radar physics.
"""

from __future__ import annotations

import argparse
import math
import socket
import time

import numpy as np

from moonless.units import kn_to_mps
from moonless.wire.ais import encode_ais
from moonless.wire.cat240 import encode_video
from moonless.wire.nmea_write import write_gga, write_hdg, write_hdt, write_rmc

N_SPOKE, N_CELL, CELL_M, TURN_S = 360, 384, 6.0, 2.5
SOG_KN, HEADING = 8.0, 24.0


def spokes(first: int, count: int, rng: np.random.Generator) -> list[np.ndarray]:
    """Return made spokes by angle from the bow."""
    azimuth = (np.arange(first, first + count) % N_SPOKE) * (2 * math.pi / N_SPOKE)
    r = (np.arange(N_CELL) + 0.5) * CELL_M
    east, north = np.sin(azimuth)[:, None] * r, np.cos(azimuth)[:, None] * r
    level = rng.gamma(4.0, 5.0, size=east.shape)
    shore = (north - 900.0 - 250.0 * np.sin(east / 420.0) > 0.0) & (north < 1350.0 + 200.0 * np.sin(east / 300.0))
    level += 170.0 * shore
    for te, tn in ((300.0, 500.0), (-650.0, -300.0), (900.0, -800.0)):
        level += 220.0 * np.exp(-(((east - te) ** 2 + (north - tn) ** 2) / 20.0**2))
    return list(np.clip(level, 0, 255).astype(np.uint8))


def main() -> None:
    """Send until killed."""
    parser = argparse.ArgumentParser()
    parser.add_argument("radar", type=int)
    parser.add_argument("nmea", type=int)
    parser.add_argument("second", type=int, nargs="?")
    parser.add_argument("--at", default="-38.0,-128.0")
    given = parser.parse_args()
    lat, lon = (float(x) for x in given.at.split(","))
    sock = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
    rng = np.random.default_rng(5)
    began = time.monotonic()
    number = tick = 0
    while True:
        elapsed = time.monotonic() - began
        now_ns = time.time_ns()
        due = int(elapsed / TURN_S * N_SPOKE)
        for spoke in spokes(number, due - number, rng) if due > number else ():
            step = 2 * math.pi / N_SPOKE
            at = number % N_SPOKE
            block = encode_video(
                spoke, azimuth_start_rad=at * step, azimuth_end_rad=(at + 1) * step, cell_m=CELL_M, sequence=number,
                time_ns=now_ns,
            )  # fmt: skip
            sock.sendto(block, ("127.0.0.1", given.radar))
            number += 1
        if elapsed >= tick * 0.2:
            gone = kn_to_mps(SOG_KN) * elapsed / 111_120.0
            here = lat + gone * math.cos(math.radians(HEADING)), lon + gone * math.sin(math.radians(HEADING)) / 0.788
            yaw = math.radians(HEADING + 2.0 * math.sin(elapsed / 3.0))
            lines = [write_hdt(yaw)]
            if tick % 5 == 0:
                lines.append(write_rmc(now_ns, *here, math.radians(HEADING), kn_to_mps(SOG_KN)))
            if tick % 25 == 0:
                lines += encode_ais({"type": 1, "mmsi": 999000001, "lat": here[0] + 0.01, "lon": here[1]})
            for line in lines:
                sock.sendto(line.encode() + b"\r\n", ("127.0.0.1", given.nmea))
            if given.second is not None:
                more = [write_hdg(yaw - 0.2)] + ([write_gga(now_ns, *here, talker="GN")] if tick % 5 == 0 else [])
                for line in more:
                    sock.sendto(line.encode() + b"\r\n", ("127.0.0.1", given.second))
            tick += 1
        time.sleep(0.02)


if __name__ == "__main__":
    main()
