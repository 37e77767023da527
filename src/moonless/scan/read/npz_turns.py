"""Turns kept as NumPy archives, one file a turn: ``turn*.npz`` in a folder, or one such file.

    video          (spokes, cells), unsigned, the first spoke at the bow
    first_cell_m, cell_m           range to the centre of the first cell, and from one to the next
    turn_s, start_s                seconds the turn took, and from the beginning of the run to its own
    bits                           of a count (12: 0 to 4095)
    heading_deg    optional: true, of the boat
    flagged_cells  optional: cells at the front that carried flags; they are kept as zero

The layout of the open-sea set that `docs/formats.md` names.  Spokes are evenly spread over the turn, in angle and time.
"""

from __future__ import annotations

import math
import zipfile
from collections.abc import Iterator
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from moonless.constants import TAU
from moonless.scan.pose import PoseSample
from moonless.scan.read.run import PolarError, PolarRun, PolarTurn
from moonless.units import NS_PER_S

Counts = NDArray[np.uint8] | NDArray[np.uint16]

_NEEDED = ("video", "first_cell_m", "cell_m", "turn_s", "start_s", "bits")


def is_npz(path: Path) -> bool:
    """Return whether a file or folder is of this format."""
    return bool(_files(path))


def open_npz(path: Path) -> PolarRun:
    """Open a set."""
    files = _files(path)
    run = PolarRun(path, "NumPy turns", "bow", files, _read=_turns)
    run.notes.append(f"{path}: no date is in it; the run begins at the time of its first file")
    return run


def _files(path: Path) -> tuple[Path, ...]:
    if path.is_dir():
        return tuple(sorted(path.glob("turn*.npz"), key=_number))
    return (path,) if path.suffix == ".npz" and path.is_file() else ()


def _number(path: Path) -> tuple[int, str]:
    digits = "".join(c for c in path.stem if c.isdigit())
    return int(digits or 0), path.name


def _turns(run: PolarRun) -> Iterator[PolarTurn]:
    began_ns = run.sources[0].stat().st_mtime_ns
    for path in run.sources:
        try:
            # No pickles: a file from somewhere else must not run code here.
            with path.open("rb") as file, np.load(file, allow_pickle=False) as z:
                found = {name: z[name] for name in z.files}
        except (OSError, ValueError, zipfile.BadZipFile, EOFError) as problem:
            raise PolarError(path, f"cannot be read: {problem}") from problem
        yield _turn(path, found, began_ns)


def _turn(path: Path, z: dict[str, NDArray[np.generic]], began_ns: int) -> PolarTurn:
    for name in _NEEDED:
        if name not in z:
            raise PolarError(path, f"has no {name!r}; it needs {', '.join(_NEEDED)}")
    first_m, cell_m, turn_s, start_s, bits = (_number_of(path, z, name) for name in _NEEDED[1:])
    video = z["video"]
    if video.ndim != 2 or video.dtype.kind != "u":
        raise PolarError(
            path, f"video of shape {video.shape} and type {video.dtype}; unsigned (spokes, cells) is needed"
        )
    if not (0.05 <= turn_s <= 120.0 and 1 <= bits <= 16):
        raise PolarError(path, f"a turn of {turn_s:g} s with counts of {bits:g} bits cannot be")
    n = video.shape[0]
    start_ns = began_ns + round(start_s * NS_PER_S)
    time_ns = start_ns + np.arange(n, dtype=np.int64) * round(turn_s * NS_PER_S) // max(n, 1)
    poses: tuple[PoseSample, ...] = ()
    if "heading_deg" in z:
        heading = math.radians(_number_of(path, z, "heading_deg")) % TAU
        end_ns = start_ns + round(turn_s * NS_PER_S)
        poses = (PoseSample(start_ns, heading_true_rad=heading), PoseSample(end_ns, heading_true_rad=heading))
    most = int(video.max()) if video.size else 0
    if most >= 2 ** int(bits):
        raise PolarError(path, f"counts to {most}, more than the {2 ** int(bits) - 1} of its {bits:g} bits")
    counts: Counts = video.astype(np.uint8) if bits <= 8 else video.astype(np.uint16)
    return PolarTurn(counts, np.arange(n) * (TAU / n), time_ns, first_m, cell_m, 2 ** int(bits) - 1, poses)


def _number_of(path: Path, z: dict[str, NDArray[np.generic]], name: str) -> float:
    value = z[name]
    if value.ndim != 0 or value.dtype.kind not in "fiu" or not math.isfinite(float(value)):
        raise PolarError(path, f"{name} is not one finite number")
    return float(value)
