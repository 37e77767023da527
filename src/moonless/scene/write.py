"""A whole run written to a folder: ``radar.cat240``, ``nmea.nmea``, ``truth.json``; all three or nothing."""

from __future__ import annotations

import json
import math
from collections.abc import Callable
from pathlib import Path

from moonless.files import Drafts
from moonless.scene.player import ScenePlayer

NAMES = ("radar.cat240", "nmea.nmea", "truth.json")


def write_run(player: ScenePlayer, folder: Path, progress: Callable[[int, int], None] | None = None) -> None:
    """Play a scene from its beginning into a folder, which is made if it is not there.

    ``progress`` is told (turns done, turns in all).  Raises InputError if the folder cannot be written.
    """
    player.restart()
    with Drafts(make_folders=True) as drafts:
        radar, nmea = (drafts.binary(Path(folder) / name) for name in NAMES[:2])
        truth = drafts.text(Path(folder) / NAMES[2])
        head = json.dumps(truth_head(player), ensure_ascii=False)
        # One turn a line, and still one JSON object: long runs can be read by eye.
        truth.write(head[:-1] + ', "turns": [\n')
        for turn in player.turns():
            radar.write(b"".join(data for _, data in turn.radar))
            nmea.write(b"".join(line.tagged() for line in turn.nmea))
            truth.write((",\n" if turn.number else "") + json.dumps(turn.truth.as_dict(), ensure_ascii=False))
            if progress is not None:
                progress(turn.number + 1, player.n_turns)
        truth.write("\n]}\n")


def truth_head(player: ScenePlayer) -> dict[str, object]:
    """Return what is true of the whole run."""
    scene = player.scene
    return {
        "scene": scene.name,
        "about": scene.about,
        "seed": scene.seed,
        "made": "radar video drawn by a model; not the record of a real radar",
        "start_ns": scene.start_ns,
        "turn_s": player.turn_s,
        "origin": {"lat": scene.frame.lat_deg, "lon": scene.frame.lon_deg},
        "max_range_m": player.grid.max_range_m,
        "heading_bias_deg": math.degrees(scene.sensors.heading_bias_rad),
        "position_offset_m": list(scene.sensors.position_offset_m),
        "scanner_loss_db": scene.radar.loss_db,
        "ground_shift_m": list(scene.waters.shift_m),
        "tide_m": scene.tide_m,
        "marks": [
            {
                "index": index,
                "object": m.charted.object,
                "name": m.charted.name,
                "cell": m.charted.cell,
                "feature": m.charted.feature,
                "charted_east_m": round(m.charted.east_m, 2),
                "charted_north_m": round(m.charted.north_m, 2),
                "is_there": m.is_there,
                "east_m": round(m.east_m, 2),
                "north_m": round(m.north_m, 2),
                "floating": m.charted.floating,
            }
            for index, m in enumerate(player.ground.marks)
        ],
    }
