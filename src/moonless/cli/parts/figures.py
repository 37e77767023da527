"""Figures on the command line: inside their bounds, and never "nan", which lies inside none and outside none."""

from __future__ import annotations

import math
import os
from collections.abc import Mapping
from pathlib import Path

import click


class Bounded(click.FloatRange):
    """A number between two bounds, both allowed; the message names both."""

    def __init__(self, least: float, most: float) -> None:
        super().__init__(least, most)
        self._bounds = (least, most)

    def convert(self, value: object, param: click.Parameter | None, ctx: click.Context | None) -> float:
        least, most = self._bounds
        try:
            figure = float(str(value))
        except ValueError:
            self.fail(f"{value!r} is not a number", param, ctx)
        if not math.isfinite(figure) or not least <= figure <= most:
            self.fail(f"{value} is not between {least:g} and {most:g}", param, ctx)
        return figure


def check_outputs(given: Mapping[str, Path | None]) -> None:
    """Refuse outputs that cannot be: two of one name, a folder, no folder to write into, or not allowed.

    Raises InputError, before anything is worked out.
    """
    from moonless.errors import InputError

    met: dict[Path, str] = {}
    for option, path in given.items():
        if path is None:
            continue
        whole = Path(os.path.realpath(path))
        if whole in met:
            raise InputError(f"{met[whole]} and {option} both name {path}: the second would be written over the first")
        met[whole] = option
        if path.is_dir():
            raise InputError(f"{path} is a folder; {option} wants a file")
        if not path.parent.is_dir():
            raise InputError(f"{path}: there is no folder {path.parent}")
        if not os.access(path if path.exists() else path.parent, os.W_OK):
            raise InputError(f"{path} cannot be written: not allowed")


def place_of(option: str, text: str) -> tuple[float, float]:
    """Return (lat, lon) of LAT,LON in degrees.  Raises InputError, naming the option, for anything else."""
    from moonless.errors import InputError

    try:
        lat, lon = (float(part) for part in text.split(","))
    except ValueError:
        raise InputError(f"{option} {text!r}: write a place as LAT,LON in degrees, south and west negative") from None
    if not (-90.0 <= lat <= 90.0 and -180.0 <= lon <= 180.0):
        raise InputError(f"{option} {text!r} is not a place on earth: latitude to 90, longitude to 180")
    return lat, lon
