"""Pictures of a wild scene: the video north up about the boat, what is truly there, and what was told over it.

Rings: green what could be detected, grey what could not, cyan charted marks, magenta marks that are gone.  Crosses, by
what was told: red vessel, cyan charted, yellow uncharted, blue shore, white bridge, dark grey clutter and false.
"""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import numpy as np
from PIL import Image, ImageDraw

from bench.scenes.stage import Stage
from bench.scenes.truth import TruthBook
from moonless.reading.types import Reading
from moonless.scan.types import Scan

SIDE, EVERY = 900, 12
TOLD = {
    "vessel": (255, 60, 60), "charted": (0, 230, 230), "uncharted": (255, 230, 0), "shore": (70, 110, 255),
    "bridge": (255, 255, 255), "clutter": (120, 120, 120), "false": (120, 120, 120),
}  # fmt: skip


class Pictures:
    """Draws every so many turns of one scene into a folder."""

    def __init__(self, stage: Stage, folder: Path, name: str) -> None:
        self._stage, self._folder, self._name = stage, folder, name
        self._book = TruthBook(stage)
        folder.mkdir(parents=True, exist_ok=True)

    def take(self, turn: Any, scan: Scan | None, reading: Reading) -> None:
        """Draw a turn if it is one of those to draw."""
        laid = self._book.lay(turn.truth, reading.time_ns)
        if scan is None or turn.number % EVERY or turn.number == 0:
            return
        picture = Image.fromarray(_video(scan, float(turn.truth.own.heading_rad)))
        draw = ImageDraw.Draw(picture)
        scale = 0.5 * SIDE / scan.max_range_m

        def place(east: float, north: float) -> tuple[float, float]:
            return 0.5 * SIDE + (east - laid.own_m[0]) * scale, 0.5 * SIDE - (north - laid.own_m[1]) * scale

        for thing in laid.things:
            colour = (0, 220, 220) if thing.mark is not None else (0, 220, 0)
            _ring(draw, place(thing.east_m, thing.north_m), 9, colour if thing.detectable else (130, 130, 130))
        for index, _ in laid.gone:
            mark = self._stage.marks[index]
            _ring(draw, place(mark.east_m, mark.north_m), 9, (255, 0, 255))
        for echo in reading.echoes:
            bearing = math.radians(echo.bearing_deg)
            at = laid.own_m[0] + echo.range_m * math.sin(bearing), laid.own_m[1] + echo.range_m * math.cos(bearing)
            x, y = place(*at)
            arm = 3 if echo.coasting else 6
            draw.line((x - arm, y, x + arm, y), TOLD[echo.kind])
            draw.line((x, y - arm, x, y + arm), TOLD[echo.kind])
            if echo.cog_deg is not None:
                course, way = math.radians(echo.cog_deg), echo.sog_kn * 0.514 * 60.0
                draw.line(
                    (x, y, *place(at[0] + way * math.sin(course), at[1] + way * math.cos(course))), TOLD[echo.kind]
                )
        picture.save(self._folder / f"{self._name}-turn{turn.number:03d}.png")


def _video(scan: Scan, heading_rad: float) -> np.ndarray:
    """Return (SIDE, SIDE, 3), north up by the true heading at the turn's end."""
    y, x = np.mgrid[0:SIDE, 0:SIDE]
    dx, dy = (x - 0.5 * SIDE) / (0.5 * SIDE), (0.5 * SIDE - y) / (0.5 * SIDE)
    reach = np.hypot(dx, dy) * scan.max_range_m
    angle = np.mod(np.arctan2(dx, dy) - heading_rad - scan.azimuth_offset_rad, 2.0 * math.pi)
    row = np.rint(angle / (2.0 * math.pi) * scan.n_spoke).astype(int) % scan.n_spoke
    cell = np.rint((reach - scan.first_cell_m) / scan.cell_m).astype(int)
    inside = (cell >= 0) & (cell < scan.n_cell)
    top = max(1.0, float(scan.echo.max()))
    grey = np.where(inside, scan.echo[row, np.clip(cell, 0, scan.n_cell - 1)] * (200.0 / top), 0.0)
    return np.repeat(grey.astype(np.uint8)[:, :, None], 3, axis=2)


def _ring(draw: ImageDraw.ImageDraw, at: tuple[float, float], size: int, colour: tuple[int, int, int]) -> None:
    draw.ellipse((at[0] - size, at[1] - size, at[0] + size, at[1] + size), outline=colour)
