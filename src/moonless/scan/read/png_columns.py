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
from collections.abc import Iterator
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image, UnidentifiedImageError

from moonless.constants import TAU
from moonless.errors import TableError
from moonless.scan.read.run import MOST_CELLS, MOST_SPOKES, PolarError, PolarRun, PolarTurn
from moonless.tables import Key, TableReader, Values, parse

SETTINGS = "polar.toml"
COLUMNS = 11
DEFAULT_COUNTS = 5600
KEYS = (
    Key("", "cell_m", "number", "required", "How far one cell is from the next, in metres.", 1e-6, 1e5),
    Key("", "first_cell_m", "number", "half a cell", "To the centre of the first.", -1e6, 1e6),
    Key("", "counts", "integer", str(DEFAULT_COUNTS), "Of the encoder in a turn.", 1, 65_536),
    Key("", "angle_from", "choice", '"bow"', "What the angle is counted from.", choices=("bow", "true")),
    Key("", "bow_offset_deg", "number", "0", "Added to every angle.", -360, 360),
)
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


def _settings(path: Path) -> Values:
    try:
        return TableReader(path, KEYS, SETTINGS).table("", parse(path))
    except TableError as problem:
        raise PolarError(path, str(problem).removeprefix(f"{path}: ")) from problem


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


def _image(path: Path) -> NDArray[np.uint8]:
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
