"""A whole run of real radar video as it comes back from a screen before a camera that stands still.

The set's own spokes are painted on an invented north-up screen as they come in; twice a second the camera looks at it.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bench.screens.camera import Camera, take
from bench.screens.layouts import Layout
from bench.screens.run import STEP_NS
from bench.screens.screen import Shown, draw_screen
from moonless.constants import TAU
from moonless.picture.stream import PictureStream
from moonless.picture.told import Told
from moonless.watch.screen.transcribe import blocks_of, summary_of
from moonless.wire.cat240 import Cat240Decoder, Video

N_ROW = 1440
# A webcam on a bracket, as good as they are; no moire.
BRACKET = Camera(
    size=(1280, 720), tilt=12.0, tilt_toward=60.0, roll=1.5, fill=0.85, lens=0.01, blur=0.5, noise=3.0, jpeg=85
)  # fmt: skip


class PaintedScreen:
    """The screen that the run's radar paints; a north-up picture by true bearings."""

    def __init__(self, layout: Layout, scale_nm: float) -> None:
        self.layout, self.scale_nm = layout, scale_nm
        self.heading_rad = 0.0
        self._echo: NDArray[np.uint8] | None = None
        self._decoder = Cat240Decoder()

    def paint(self, data: bytes) -> None:
        """Take in the radar's own bytes."""
        for video in self._decoder.feed(data):
            if not isinstance(video, Video):
                continue
            spoke = video.to_spoke(0)
            if self._echo is None:
                self._echo = np.zeros((N_ROW, spoke.echo.shape[0]), np.uint8)
            first = round(spoke.azimuth_start_rad / TAU * N_ROW)
            wide = max(1, round((spoke.azimuth_end_rad - spoke.azimuth_start_rad) % TAU / TAU * N_ROW))
            rows = (first + np.arange(wide)) % N_ROW
            self._echo[rows, : spoke.echo.shape[0]] = spoke.echo

    def look(self, camera: Camera, seed: int) -> NDArray[np.uint8] | None:
        """Return what the camera sees now, blue green red; None before anything is painted."""
        if self._echo is None:
            return None
        from_bow = np.roll(self._echo, -round(self.heading_rad / TAU * N_ROW), axis=0)
        screen = draw_screen(self.layout, Shown(from_bow, self.scale_nm, self.heading_rad, self.heading_rad))
        return np.ascontiguousarray(take(screen.pixels, replace(camera, seed=seed)).pixels[:, :, ::-1])


def lines_by_screen(
    folder: Path, layout: Layout, scale_nm: float, most_s: float = math.inf, told_nm: float | None = None
) -> tuple[list[dict[str, Any]], list[str]]:
    """Return the readings of a run by its screen, as ``moonless read`` writes them, and what the picture door said.

    ``told_nm``: the range of the outermost ring that is told to the picture door; None: the true one.
    """
    from moonless.boat.file import read_boat
    from moonless.chart.library import Chart
    from moonless.watch.pipeline.chain import Chain

    boat = read_boat(folder / "boat.toml")
    # The heading line tells the bow; what the video's bearings are off by stays.
    boat = replace(boat, radar=replace(boat.radar, angle_from="bow"))
    chain = Chain(boat, Chart.open([folder / "chart.gpkg"]))
    screen, stream = PaintedScreen(layout, scale_nm), PictureStream(Told(range_nm=told_nm or scale_nm))
    lines: list[dict[str, Any]] = []
    said: list[str] = []
    for fed in _fed(folder, most_s):
        if fed[1] == "nmea":
            if fed[2][:6] == b"$HEHDT":
                screen.heading_rad = np.radians(float(fed[2].split(b",")[1]))
            turns = chain.feed_nmea(fed[2], fed[0])
        elif fed[1] == "radar":
            screen.paint(fed[2])
            continue
        else:
            picture = screen.look(BRACKET, len(lines) + fed[0] % 1000)
            if picture is None:
                continue
            got = stream.put(picture, fed[0])
            said += got.said
            if not got.spokes or got.errors is None:
                continue
            data = summary_of(got.errors, fed[0]) + b"".join(blocks_of(got.spokes))
            turns = chain.feed_radar(data, fed[0])
        lines += [dict(turn.reading.as_dict()) for turn in turns]
    return lines, said


def _fed(folder: Path, most_s: float = math.inf) -> Iterator[tuple[int, str, bytes]]:
    """Yield (time, "nmea" | "radar" | "look", bytes) in order of time."""
    from moonless.watch.pipeline.replay import Replay

    began: int | None = None
    due = 0
    for fed in Replay(radar=(folder / "radar.cat240",), nmea=(folder / "nmea.nmea",)).feeds():
        if began is None:
            began, due = fed.time_ns, fed.time_ns + STEP_NS
        if fed.time_ns - began > most_s * 1e9:
            return
        while fed.time_ns >= due:
            yield due, "look", b""
            due += STEP_NS
        yield fed.time_ns, fed.kind, fed.data
