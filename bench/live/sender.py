"""The demo's story over UDP on this computer, at the pace of life and with the times of today.

    python -m bench.live.sender RADAR_PORT NMEA_PORT

Each telling begins where the story begins; so the boat leaps back once in a telling, and the watch says so.
"""

from __future__ import annotations

import queue
import socket
import sys
import threading
import time
from dataclasses import replace

from moonless.scene.player import ScenePlayer, SceneTurn
from moonless.scene.story import open_demo
from moonless.units import NS_PER_S

# Turns are drawn so far ahead that a busy computer does not hold them up.
AHEAD_S, AHEAD_TURNS = 6, 2


def main(radar: int, nmea: int) -> None:
    """Send until killed."""
    sock = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
    drawn: queue.Queue[SceneTurn] = queue.Queue(AHEAD_TURNS)
    threading.Thread(target=_draw, args=(drawn,), daemon=True).start()
    while True:
        turn = drawn.get()
        items = [(time_ns, radar, data) for time_ns, data in turn.radar]
        items += [(line.time_ns, nmea, line.sentence.encode("ascii") + b"\r\n") for line in turn.nmea]
        for time_ns, port, data in sorted(items):
            if (left_s := (time_ns - time.time_ns()) / NS_PER_S) > 0.0:
                time.sleep(left_s)
            sock.sendto(data, ("127.0.0.1", port))


def _draw(drawn: queue.Queue[SceneTurn]) -> None:
    scene = open_demo()
    begin_ns = time.time_ns() + AHEAD_S * NS_PER_S
    while True:
        player = ScenePlayer(replace(scene, start_ns=begin_ns))
        for turn in player.turns():
            drawn.put(turn)
            # What a busy computer could not draw in time is left out: what is sent is of now.
            behind_s = (time.time_ns() - turn.end_ns) / NS_PER_S
            if behind_s > player.turn_s:
                player.seek(player.position + int(behind_s / player.turn_s))
        begin_ns += round(player.n_turns * player.turn_s * NS_PER_S)


if __name__ == "__main__":
    main(int(sys.argv[1]), int(sys.argv[2]))
