"""One real run as arrays and lines, to be changed and written out again as the folder of another run.

`RealRun` holds what a run folder holds: spokes, sentences, boat file, chart, truth and blobs.  `bench.at_sea.variants`
changes it; `written` makes two folders of it, one for the reader and the scorer, one for the plain tracker.  The blobs
of the first say what the **real** video shows (moved where the world is moved), so that a variant which shows less
is not scored as if less were there; those of the second are made of the variant's own video, by the data's own rule:
connected cells of level 2 and up, three cells or more, turn by turn as the picture passes north.
"""

from __future__ import annotations

import json
import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import pyogrio
import shapely
from numpy.typing import NDArray
from scipy import ndimage

from moonless.units import NS_PER_S
from moonless.wire.cat240 import Video, decode
from moonless.wire.cat240_encode import encode_video
from moonless.wire.cat240_records import AZIMUTH_LSB_RAD
from moonless.wire.times import utc_of_day

Floats = NDArray[np.float64]
LEAST_CELLS = 3  # of a blob: no stored one has fewer
LEVEL_2 = 170  # of 0 85 170 255


@dataclass(frozen=True, slots=True, eq=False)
class RealRun:
    """One run.  Angles in degrees as the video has them, times in seconds of the day."""

    time_s: Floats  # (n_spoke,)
    azimuth_deg: Floats  # (n_spoke,), where a spoke begins
    width_deg: float
    video: NDArray[np.uint8]  # (n_spoke, n_cell)
    bits: int
    cell_m: float
    marked: int  # counts from which the plain tracker marks a cell
    nmea: tuple[str, ...]
    boat: str
    truth: dict[str, Any]
    blobs: tuple[tuple[float, Floats], ...]  # (time, (n, 6)): s, m, deg, extents m, deg, cells
    chart: Path  # the reader's
    shore: Path  # the scorer's
    plain_own: dict[str, Any] | None = None  # the boat's track as the plain tracker is told it; None: the true one


def read(folder: Path) -> RealRun:
    """Return a run folder's run."""
    spokes = [e for e in decode((folder / "radar.cat240").read_bytes()) if isinstance(e, Video)]
    to_deg = math.degrees(AZIMUTH_LSB_RAD)
    with np.load(folder / "blobs.npz") as stored:
        blobs = tuple(zip(stored["t"].tolist(), np.split(stored["b"], np.cumsum(stored["n"])[:-1]), strict=True))
    return RealRun(
        time_s=np.array([s.time_of_day_s for s in spokes], dtype=np.float64),
        azimuth_deg=np.array([s.azimuth_start_lsb for s in spokes]) * to_deg,
        width_deg=(spokes[0].azimuth_end_lsb - spokes[0].azimuth_start_lsb) * to_deg,
        video=np.array([s.cells for s in spokes], dtype=np.uint8), bits=8, cell_m=spokes[0].cell_m, marked=LEVEL_2,
        nmea=tuple((folder / "nmea.nmea").read_text(encoding="ascii").split()),
        boat=(folder / "boat.toml").read_text(encoding="utf-8"),
        truth=json.loads((folder / "truth.json").read_text(encoding="utf-8")), blobs=blobs,
        chart=folder / "chart.gpkg", shore=folder / "chart.gpkg",
    )  # fmt: skip


def taken(run: RealRun, keep: NDArray[Any]) -> RealRun:
    """Return the run with these spokes only (indices or a mask)."""
    return replace(run, time_s=run.time_s[keep], azimuth_deg=run.azimuth_deg[keep], video=run.video[keep])


def turn_of(run: RealRun) -> NDArray[np.int64]:
    """Return the number of the turn of each spoke, (n_spoke,): a turn begins where the picture passes north.

    Now and then a spoke is labelled a degree and a half back, at north too: that begins no turn.
    """
    around = np.maximum.accumulate(np.unwrap(run.azimuth_deg, period=360.0)) // 360.0
    return (around - around[0]).astype(np.int64)


def cut(run: RealRun, first: int, count: int) -> RealRun:
    """Return turns ``first`` to ``first + count`` of a run; its sentences begin three seconds before."""
    turns = turn_of(run)
    part = taken(run, (turns >= first) & (turns < first + count))
    begins, ends = float(part.time_s[0]), float(part.time_s[-1])
    sentences, now = [], begins
    for line in run.nmea:
        if line[3:6] == "RMC":
            now = clock_of(line)
        if begins - 3.0 <= now <= ends + 2.0:
            sentences.append(line)
    blobs = tuple((t, b) for t, b in run.blobs if begins <= t <= ends)
    return replace(part, nmea=tuple(sentences), blobs=blobs, truth={**run.truth, "n_turn": len(blobs)})


def clock_of(rmc: str) -> float:
    """Return the time of day of an RMC sentence."""
    text = rmc.split(",")[1]
    return int(text[:2]) * 3600.0 + int(text[2:4]) * 60.0 + float(text[4:])


def said(sentence: str) -> str:
    """Return a sentence, given without ``*`` and checksum, with them."""
    total = 0
    for letter in sentence[1:]:
        total ^= ord(letter)
    return f"{sentence}*{total:02X}"


def reworded(run: RealRun, word: Callable[[list[str]], list[str] | None]) -> RealRun:
    """Return the run with each sentence's fields changed by ``word``; None leaves the sentence out."""
    changed = (word(line.split("*")[0].split(",")) for line in run.nmea)
    return replace(run, nmea=tuple(said(",".join(fields)) for fields in changed if fields is not None))


def found_blobs(run: RealRun) -> tuple[tuple[float, Floats], ...]:
    """Return the blobs of a run's video, turn by turn, whole turns only."""
    turns = turn_of(run)
    out = []
    for turn in range(1 if np.ptp(run.azimuth_deg[turns == 0]) < 355.0 else 0, int(turns[-1]) + 1):
        rows = np.flatnonzero(turns == turn)
        if np.ptp(run.azimuth_deg[rows]) < 355.0:
            continue
        labels, n = ndimage.label(run.video[rows] >= run.marked, np.ones((3, 3)))
        i, j = np.nonzero(labels)
        of = labels[i, j] - 1
        count = np.bincount(of, minlength=n)
        every = np.arange(1, n + 1)
        boxes = ndimage.find_objects(labels)
        middle = [
            np.bincount(of, values, n) / np.maximum(count, 1)
            for values in (run.time_s[rows][i], (j + 0.5) * run.cell_m, run.azimuth_deg[rows][i] + 0.5 * run.width_deg)
        ]
        deep = np.array([(b[1].stop - b[1].start) * run.cell_m for b in boxes if b])
        wide = np.array([(b[0].stop - b[0].start) * 360.0 / len(rows) for b in boxes if b])
        found = np.column_stack((*middle, deep, wide, count[every - 1])) if n else np.zeros((0, 6))
        found = found[found[:, 5] >= LEAST_CELLS]
        found[:, 2] = np.mod(found[:, 2] + _heading_told(run, found[:, 0]), 360.0)
        out.append((float(run.time_s[rows].min() + run.time_s[rows].max()) / 2.0, found))
    return tuple(out)


def _heading_told(run: RealRun, time_s: Floats) -> Floats | float:
    """Return the heading that was last told at each time, degrees, where angles are from the bow; else 0."""
    if 'angle_from = "bow"' not in run.boat:
        return 0.0
    times, told, now = [], [], 0.0
    for line in run.nmea:
        if line[3:6] == "RMC":
            now = clock_of(line)
        elif line[3:6] == "HDT":
            times.append(now)
            told.append(float(line.split(",")[1]))
    return np.asarray(told)[np.clip(np.searchsorted(times, time_s, "right") - 1, 0, None)]


def written(run: RealRun, reader: Path, plain: Path) -> None:
    """Write the run's two folders; ``plain`` gets only what the scorer's plain tracker reads."""
    for folder, blobs in ((reader, run.blobs), (plain, found_blobs(run))):
        folder.mkdir(parents=True)
        own = run.truth["own"] if run.plain_own is None or folder is reader else run.plain_own
        (folder / "truth.json").write_text(json.dumps({**run.truth, "own": own}), encoding="utf-8")
        np.savez(
            folder / "blobs.npz", b=np.concatenate([b for _, b in blobs]), n=[len(b) for _, b in blobs],
            t=[t for t, _ in blobs],
        )  # fmt: skip
    (reader / "nmea.nmea").write_text("\r\n".join(run.nmea) + "\r\n", encoding="ascii")
    (reader / "boat.toml").write_text(run.boat, encoding="utf-8")
    (reader / "chart.gpkg").write_bytes(run.shore.read_bytes())
    (reader / "reader.gpkg").write_bytes(run.chart.read_bytes())
    day_ns = int(run.truth["day_unix"]) * NS_PER_S
    width_rad = math.radians(run.width_deg)
    scale = 8 - run.bits
    with (reader / "radar.cat240").open("wb") as file:
        for number in range(len(run.time_s)):
            start = math.radians(float(run.azimuth_deg[number]))
            file.write(
                encode_video(
                    run.video[number] >> scale, azimuth_start_rad=start, azimuth_end_rad=start + width_rad,
                    cell_m=run.cell_m, sequence=number, bits=run.bits, compress=True, header="femto",
                    time_ns=utc_of_day(float(run.time_s[number]) % 86400.0, day_ns + 43200 * NS_PER_S),
                )
            )  # fmt: skip


def with_cells_twice_as_long(run: RealRun) -> RealRun:
    """Return the inlet's run by its true metre; see docs/real-water.md."""
    truth = {**run.truth, "cell_m": 2 * run.truth["cell_m"], "max_range_m": 2 * run.truth["max_range_m"]}
    blobs = tuple((t, b * [1, 2, 1, 2, 1, 1]) for t, b in run.blobs)
    return replace(run, cell_m=2 * run.cell_m, truth=truth, blobs=blobs)


def mirrored_chart(source: Path, about_lon_deg: float, out: Path) -> Path:
    """Write a chart with east and west exchanged about a meridian; return ``out``."""
    for layer, _ in pyogrio.list_layers(source):
        meta, _, shapes, values = pyogrio.raw.read(source, layer=layer)
        turned = shapely.transform(
            shapely.from_wkb(shapes), lambda c: np.column_stack((2 * about_lon_deg - c[:, 0], c[:, 1]))
        )
        pyogrio.raw.write(
            out, shapely.to_wkb(turned), values, meta["fields"], layer=layer, driver="GPKG",
            geometry_type=meta["geometry_type"], crs=meta["crs"], append=out.exists(),
        )  # fmt: skip
    return out
