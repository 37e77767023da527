"""Which format a recorded polar set is of, and its scans."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

from moonless.errors import InputError
from moonless.scan.assembler import ScanAssembler
from moonless.scan.pose import PoseSeries
from moonless.scan.read.cfradial import is_cfradial, open_cfradial
from moonless.scan.read.npz_turns import is_npz, open_npz
from moonless.scan.read.png_columns import is_png_columns, open_png_columns
from moonless.scan.read.run import PolarRun
from moonless.scan.types import Scan, ScanErrors

_FORMATS: tuple[tuple[Callable[[Path], bool], Callable[[Path], PolarRun]], ...] = (
    (is_npz, open_npz),
    (is_png_columns, open_png_columns),
    (is_cfradial, open_cfradial),
)


def is_polar(path: Path) -> bool:
    """Return whether a path is a recorded polar set of a known format, by its name and what lies beside it."""
    return any(is_one(path) for is_one, _ in _FORMATS)


def open_polar(path: Path) -> PolarRun:
    """Return a recorded polar set.

    Raises
    ------
    InputError  If it is of no known format, or what reads it is not installed.
    PolarError  If it cannot be read.
    """
    for is_one, open_one in _FORMATS:
        if is_one(path):
            return open_one(path)
    raise InputError(
        f"{path} is no polar set that is known: turn*.npz, PNG images with a polar.toml beside them, or a CfRadial file"
    )


def scans_of(run: PolarRun, errors: ScanErrors) -> Iterator[Scan]:
    """Yield the scans of a set, made from its spokes as those of a live radar are.

    ``errors``: how exactly that radar knows where a cell is; no file says it.
    """
    assembler = ScanAssembler(errors, angle_from=run.angle_from)
    poses = PoseSeries()
    known: set[int] = set()

    for turn, spokes in run.turns_and_spokes():
        for pose in turn.poses:
            if pose.time_ns not in known:
                poses.add(pose)
        known = {pose.time_ns for pose in turn.poses}
        for spoke in spokes:
            scan = assembler.add(spoke, poses)
            if scan is not None:
                yield scan
    scan = assembler.flush(poses)
    if scan is not None:
        yield scan
