"""A scene seen on an invented screen: each turn drawn, looked at twice a second, read back, and fed to the chain."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from dataclasses import replace

import cv2
import numpy as np
from numpy.typing import NDArray

from bench.screens.layouts import Layout
from bench.screens.screen import Pixels, Shown, draw_screen
from moonless.constants import TAU
from moonless.picture.geometry.find import NoScope
from moonless.picture.look import look
from moonless.picture.stream import PictureStream
from moonless.picture.told import Told
from moonless.scene.player import SceneTurn
from moonless.units import NS_PER_S
from moonless.watch.screen.transcribe import blocks_of, summary_of
from moonless.wire.cat240 import Cat240Decoder, Video

STEP_NS = NS_PER_S // 2
N_ROW = 1024


def polar_of(datagrams: tuple[tuple[int, bytes], ...], n_row: int = N_ROW) -> NDArray[np.uint8]:
    """Return a turn's video by its own antenna angle, (n_row, n_cell) of 255."""
    videos = [v for _, data in datagrams for v in Cat240Decoder().datagram(data) if isinstance(v, Video)]
    if not videos:
        return np.zeros((n_row, 1), np.uint8)
    spokes = [v.to_spoke(0) for v in videos]
    n_cell = max(s.echo.shape[0] for s in spokes)
    out = np.zeros((n_row, n_cell), np.uint8)
    at = np.array([0.5 * (s.azimuth_start_rad + s.azimuth_start_rad + (s.azimuth_end_rad - s.azimuth_start_rad) % TAU)
                   for s in spokes])  # fmt: skip
    order = np.argsort(at % TAU)
    sorted_at = at[order] % TAU
    rows = np.arange(n_row) * TAU / n_row
    nearest = np.searchsorted(sorted_at, rows)
    left, right = (nearest - 1) % order.size, nearest % order.size
    off_left = np.abs((rows - sorted_at[left] + np.pi) % TAU - np.pi)
    off_right = np.abs((rows - sorted_at[right] + np.pi) % TAU - np.pi)
    chosen = order[np.where(off_left <= off_right, left, right)]
    for row, index in enumerate(chosen.tolist()):
        echo = spokes[index].echo
        scaled = echo if spokes[index].full_scale == 255 else (echo.astype(np.uint32) * 255 // spokes[index].full_scale)
        out[row, : echo.shape[0]] = scaled
    return out


def captured(pixels: Pixels, rng: np.random.Generator, quality: int = 80) -> NDArray[np.uint8]:
    """Return what a capture device gives: a little grain, and compression; blue, green, red."""
    noisy = pixels.astype(np.float32) + rng.normal(0.0, 1.5, pixels.shape).astype(np.float32)
    bgr = np.clip(np.rint(noisy), 0, 255).astype(np.uint8)[:, :, ::-1]
    data = cv2.imencode(".jpg", bgr, [cv2.IMWRITE_JPEG_QUALITY, quality])[1]
    out: NDArray[np.uint8] = cv2.imdecode(data, cv2.IMREAD_COLOR)
    return out


class OnScreen:
    """Turns of a scene with their radar bytes as they come back from a screen."""

    def __init__(self, layout: Layout, scale_nm: float, seed: int = 0) -> None:
        self.layout, self.scale_nm = layout, scale_nm
        self.stream = PictureStream(Told(range_nm=scale_nm))
        self._is_told = layout.window == "disc"
        self.said: list[str] = []
        self.n_frame = 0
        self._older: NDArray[np.uint8] | None = None
        self._rng = np.random.default_rng(seed)

    def turn(self, turn: SceneTurn, heading_rad: float) -> SceneTurn:
        """Return the turn with what the screen gave of it."""
        echo = polar_of(turn.radar) if turn.radar else self._older
        out: list[tuple[int, bytes]] = []
        if echo is None:
            return replace(turn, radar=())
        for when in range(turn.start_ns + STEP_NS, turn.end_ns + 1, STEP_NS):
            swept = (when - turn.start_ns) / (turn.end_ns - turn.start_ns) * TAU
            shown = Shown(echo, self.scale_nm, heading_rad, heading_rad, self._older, swept if turn.radar else 0.0)
            picture = captured(draw_screen(self.layout, shown).pixels, self._rng)
            self.n_frame += 1
            self._tell(picture)
            got = self.stream.put(picture, when)
            self.said += got.said
            if got.spokes and got.errors is not None:
                out.append((when, summary_of(got.errors, when) + b"".join(blocks_of(got.spokes))))
        if turn.radar:
            self._older = echo
        return replace(turn, radar=tuple(out))


    def _tell(self, picture: NDArray[np.uint8]) -> None:
        """Tell the range of the outermost ring in the picture, once: a box shows one beyond the scale's end."""
        if self._is_told:
            return
        with contextlib.suppress(NoScope):
            rings = look(picture, Told(range_nm=self.scale_nm)).rings
            self.stream = PictureStream(Told(range_nm=self.scale_nm * rings / self.layout.rings))
            self._is_told = True


def turns_on_screen(turns: Iterator[SceneTurn], screen: OnScreen) -> Iterator[SceneTurn]:
    """Yield a scene's turns as the screen gave them."""
    for turn in turns:
        yield screen.turn(turn, turn.truth.own.heading_rad)
