"""Reads the detections and truths of the Autoferry sensor fusion data set (NTNU, 2021, CC0)."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

RADAR = 2  # sensorID


@dataclass(frozen=True, slots=True, eq=False)
class Turn:
    """One antenna turn: points north-referenced, metres east/north of the data set's origin."""

    time_s: float
    own_m: NDArray[np.float64]  # (2,)
    points_m: NDArray[np.float64]  # (n, 2)
    truths_m: NDArray[np.float64]  # (m, 2) at the radar's time
    truth_ids: list[int]


def read_scenario(folder: Path) -> list[Turn]:
    """Return the radar's turns of one scenario folder, in order of time."""
    detections = json.loads(next(folder.glob("*_detections.json")).read_text(encoding="utf-8"))
    truth = json.loads(next(folder.glob("*_groundTruth.json")).read_text(encoding="utf-8"))
    series: dict[int, dict[float, list[float]]] = {}
    for moment in truth:
        for boat in moment if isinstance(moment, list) else [moment]:
            series.setdefault(int(boat["targetID"]), {})[float(boat["time"])] = boat["position"][:2]
    turns = []
    for entry in sorted((d for d in detections if d["sensorID"] == RADAR), key=lambda d: float(d["time"])):
        own = np.asarray(entry["ownshipPosition"], dtype=np.float64)[:2]
        # Points come as two rows, x then y, from the own boat; x is the first coordinate of the positions.
        got = np.asarray(entry["measurement"], dtype=np.float64)
        points = got.reshape(2, -1).T + own  # a single point comes as [x, y]
        time_s = float(entry["time"])
        ids, places = [], []
        for target, track in sorted(series.items()):
            t = np.fromiter(track.keys(), float)
            order = np.argsort(t)
            xy = np.asarray(list(track.values()))[order]
            # Truth comes at 5 to 10 Hz; more than two seconds outside it there is none.
            if t[order[0]] - 2.0 <= time_s <= t[order[-1]] + 2.0:
                ids.append(target)
                places.append([np.interp(time_s, t[order], xy[:, 0]), np.interp(time_s, t[order], xy[:, 1])])
        turns.append(Turn(time_s, own, points, np.asarray(places).reshape(-1, 2), ids))
    return turns
