"""8-bit PNG polar images with angle columns, one image a turn, in a folder with a ``polar.toml``.

    columns 0 to 7    time of the spoke, int64, little-endian: Unix time in microseconds (or nanoseconds)
    columns 8, 9      antenna angle, uint16, little-endian, in counts of the encoder
    column 10         255: a spoke of the radar; anything else: made up between its neighbours, and left out
    from column 11    echo strength, one octet a cell

``polar.toml`` beside the images, because they do not say it themselves:

    cell_m = 0.0596          # from one cell to the next
    first_cell_m = 0.03      # optional: to the centre of the first; half a cell
    counts = 5600            # optional: of the encoder in a turn
    angle_from = "bow"       # optional: or "true"
    bow_offset_deg = 0.0     # optional: added to every angle

The layout of several open data sets of scanning radars.
"""

from __future__ import annotations

import math
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
from PIL import Image, UnidentifiedImageError

from moonless.constants import TAU
from moonless.scan.read.run import MOST_CELLS, MOST_SPOKES, PolarError, PolarRun, PolarTurn

SETTINGS = "polar.toml"
COLUMNS = 11
DEFAULT_COUNTS = 5600
_KEYS = ("cell_m", "first_cell_m", "counts", "angle_from", "bow_offset_deg")
# Unix times: microseconds stand below this until the year 5138, nanoseconds above it from 1973 on.
_NANOSECONDS_FROM = 100_000_000_000_000_000


def is_png_columns(path: Path) -> bool:
    """Return whether a folder, or one image beside its settings, is of this format."""
    if path.is_dir():
        return (path / SETTINGS).is_file() and any(path.glob("*.png"))
    return path.suffix.lower() == ".png" and (path.parent / SETTINGS).is_file()


def open_png_columns(path: Path) -> PolarRun:
    """Open a set.  Raises PolarError where the settings cannot be used."""
    files = tuple(sorted(path.glob("*.png"))) if path.is_dir() else (path,)
    settings = _settings((path if path.is_dir() else path.parent) / SETTINGS)
    return PolarRun(path, "PNG with angle columns", settings.get("angle_from", "bow"), files, _read=_turns)


def _settings(path: Path) -> dict[str, Any]:
    try:
        found = tomllib.loads(path.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as problem:
        raise PolarError(path, f"cannot be read: {problem}") from problem
    for key, value in found.items():
        if key not in _KEYS:
            raise PolarError(path, f"{key!r} is not known; known are {', '.join(_KEYS)}")
        if key == "angle_from":
            if value not in ("bow", "true"):
                raise PolarError(path, f"angle_from is {value!r}; it is 'bow' or 'true'")
        elif isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
            raise PolarError(path, f"{key} is {value!r}, not a number")
    if "cell_m" not in found:
        raise PolarError(path, "has no cell_m: how far one cell is from the next, in metres")
    if not 1 <= found.get("counts", DEFAULT_COUNTS) <= 65_536:
        raise PolarError(path, f"counts is {found['counts']}; an encoder has 1 to 65536 in a turn")
    return found


def _turns(run: PolarRun) -> Iterator[PolarTurn]:
    settings = _settings((run.path if run.path.is_dir() else run.path.parent) / SETTINGS)
    cell_m = float(settings["cell_m"])
    first_m = float(settings.get("first_cell_m", 0.5 * cell_m))
    counts, offset = settings.get("counts", DEFAULT_COUNTS), math.radians(settings.get("bow_offset_deg", 0.0))
    for path in run.sources:
        raw = _image(path)
        time = np.ascontiguousarray(raw[:, :8]).view("<i8")[:, 0]
        angle = np.ascontiguousarray(raw[:, 8:10]).view("<u2")[:, 0]
        use = raw[:, 10] == 255
        if not np.any(use):
            raise PolarError(path, "not one of its spokes is marked as the radar's own (255 in column 10)")
        if int(time[use].min()) <= 0:
            raise PolarError(path, "a spoke's time is not a Unix time: are these angle columns?")
        scale = 1 if int(time[use].max()) >= _NANOSECONDS_FROM else 1000
        if int(time[use].max()) > 2**62 // scale:
            raise PolarError(path, "a spoke's time is not a Unix time: are these angle columns?")
        yield PolarTurn(
            np.ascontiguousarray(raw[use, COLUMNS:]),
            (angle[use].astype(np.float64) * (TAU / counts) + offset) % TAU,
            time[use].astype(np.int64) * scale,
            first_m,
            cell_m,
            255,
        )


def _image(path: Path) -> Any:
    try:
        with Image.open(path) as image:
            width, height = image.size
            if image.mode != "L":
                raise PolarError(path, f"is an image of mode {image.mode}; 8-bit grey is needed")
            if not (COLUMNS + 2 <= width <= MOST_CELLS + COLUMNS and 1 <= height <= MOST_SPOKES):
                raise PolarError(path, f"{height} rows of {width} columns: not angle columns and cells")
            return np.asarray(image)
    except (OSError, UnidentifiedImageError, Image.DecompressionBombError, SyntaxError) as problem:
        raise PolarError(path, f"cannot be read as an image: {problem}") from problem
