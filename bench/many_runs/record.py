"""A made run kept as a recording, with what the whole chain made of it."""

from __future__ import annotations

from pathlib import Path

from moonless.chart.library import Chart
from moonless.scene.player import ScenePlayer
from moonless.watch.pipeline.chain import Chain
from moonless.wire.recording import RecordingWriter


def record(player: ScenePlayer, chart: Chart | None, path: Path, *, with_video: bool = False) -> int:
    """Play a scene through the chain into a recording; return its turns.

    ``with_video``: keep the radar video too, as a helm does; without it the readings speak for it.
    """
    scene = player.scene
    chain = Chain(scene.boat, chart, None, radar_named=True)
    chain.given.tide_m = scene.tide_m
    writer = RecordingWriter(path, {"0": "made radar", "1": "made instruments"})
    n_turn = 0
    player.restart()
    try:
        for turn in player.turns():
            pieces = [(at_ns, 0, data) for at_ns, data in turn.radar]
            pieces += [(line.time_ns, 1, line.sentence.encode("ascii") + b"\r\n") for line in turn.nmea]
            for at_ns, link, data in sorted(pieces, key=lambda piece: piece[:2]):
                if link == 0:
                    if with_video:
                        writer.radar(data, at_ns, is_datagram=True)
                    read = chain.feed_radar(data, at_ns, is_datagram=True)
                else:
                    writer.nmea(data, at_ns, link=1)
                    read = chain.feed_nmea(data, at_ns, link="1")
                for one in read:
                    writer.reading(one.reading.as_dict(), at_ns)
                    n_turn += 1
    finally:
        writer.close()
    return n_turn
