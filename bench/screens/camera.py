"""A camera that was not there: a screen seen through tilt, lens, blur, noise, moire, glare, shake and compression."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from bench.screens.screen import Pixels

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Camera:
    """How the screen was taken.  Angles in degrees; blur and shake in pixels of the picture."""

    size: tuple[int, int] = (1280, 720)
    tilt: float = 0.0  # between the screen's normal and the line of sight
    tilt_toward: float = 0.0  # which way
    roll: float = 0.0
    fill: float = 0.9  # of the picture's height that the screen takes
    away: float = 2.2  # from the screen, in screen heights
    shift: tuple[float, float] = (0.0, 0.0)  # of the screen's middle from the picture's, pixels
    lens: float = 0.0  # first radial coefficient, of half the picture's diagonal
    blur: float = 0.0
    shake: float = 0.0
    noise: float = 0.0  # counts
    moire: float = 0.0  # counts
    glare: float = 0.0  # 0 to 1
    jpeg: int | None = None
    seed: int = 0


@dataclass(frozen=True, slots=True)
class Taken:
    """The picture and where each of the screen's pixels went."""

    pixels: Pixels
    matrix: Floats  # (3, 3) screen pixels to picture pixels before the lens
    camera: Camera

    def at(self, x: Floats, y: Floats) -> tuple[Floats, Floats]:
        """Return where pixels of the screen are in the picture."""
        point = self.matrix @ np.stack([x.ravel(), y.ravel(), np.ones(x.size)])
        u, v = point[0] / point[2], point[1] / point[2]
        u, v = _lens(u, v, self.camera)
        return u.reshape(x.shape), v.reshape(x.shape)


def _lens(u: Floats, v: Floats, camera: Camera) -> tuple[Floats, Floats]:
    width, height = camera.size
    half = 0.5 * math.hypot(width, height)
    x, y = (u - 0.5 * width) / half, (v - 0.5 * height) / half
    factor = 1.0 + camera.lens * (x * x + y * y)
    return x * factor * half + 0.5 * width, y * factor * half + 0.5 * height


def matrix_of(screen: tuple[int, int], camera: Camera) -> Floats:
    """Return (3, 3) from screen pixels to picture pixels of a pin-hole camera."""
    width, height = screen
    tilt, toward, roll = (math.radians(a) for a in (camera.tilt, camera.tilt_toward, camera.roll))
    axis = np.array([math.cos(toward), math.sin(toward), 0.0])
    turn = cv2.Rodrigues(axis * tilt)[0]
    spin = cv2.Rodrigues(np.array([0.0, 0.0, roll]))[0]
    # Screen plane in screen heights, its middle at the origin, before the camera.
    plane = np.array([[1.0 / height, 0.0, -0.5 * width / height], [0.0, 1.0 / height, -0.5], [0.0, 0.0, 1.0]])
    outer = (spin @ turn)[:, :2]
    pose = np.column_stack([outer, [0.0, 0.0, camera.away]])
    focal = camera.fill * camera.size[1] * camera.away * min(1.0, camera.size[0] / camera.size[1] / (width / height))
    lens = np.array(
        [
            [focal, 0.0, 0.5 * camera.size[0] + camera.shift[0]],
            [0.0, focal, 0.5 * camera.size[1] + camera.shift[1]],
            [0.0, 0.0, 1.0],
        ]
    )
    matrix: Floats = lens @ pose @ plane
    return matrix / matrix[2, 2]


def take(screen: Pixels, camera: Camera, matrix: Floats | None = None) -> Taken:
    """Return the picture that the camera takes of a screen."""
    rng = np.random.default_rng(camera.seed)
    height, width = screen.shape[:2]
    matrix = matrix_of((width, height), camera) if matrix is None else matrix
    u, v = np.meshgrid(np.arange(camera.size[0], dtype=np.float64), np.arange(camera.size[1], dtype=np.float64))
    bare_u, bare_v = _unlens(u, v, camera)
    back = np.linalg.inv(matrix)
    w = back[2, 0] * bare_u + back[2, 1] * bare_v + back[2, 2]
    x = ((back[0, 0] * bare_u + back[0, 1] * bare_v + back[0, 2]) / w).astype(np.float32)
    y = ((back[1, 0] * bare_u + back[1, 1] * bare_v + back[1, 2]) / w).astype(np.float32)
    # A camera's pixel gathers light from an area: what is made smaller is averaged first.
    smaller = 1.0 / math.sqrt(max(abs(np.linalg.det(matrix[:2, :2])), 1e-6))
    seen = screen if smaller <= 1.05 else cv2.GaussianBlur(screen, (0, 0), 0.45 * smaller)
    flat = cv2.remap(seen, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT)
    outside = (x < 0) | (y < 0) | (x > width - 1) | (y > height - 1)
    cabin = _cabin(camera, rng)
    rim = (x > -0.03 * height) & (y > -0.03 * height) & (x < width + 0.03 * height) & (y < height + 0.03 * height)
    picture = flat.astype(np.float32)
    picture[outside] = cabin[outside]
    picture[outside & rim] = 16.0
    if camera.moire > 0.0:
        for _ in range(2):
            k = rng.uniform(0.02, 0.25)
            toward = rng.uniform(0.0, math.pi)
            wave = np.cos(k * (u * math.cos(toward) + v * math.sin(toward)) * (1.0 + 0.0002 * (u - v)))
            # Interference of the two grids takes from the light there is.
            colour = rng.uniform(0.3, 1.0, 3)
            part = camera.moire * (wave * (~outside))[:, :, np.newaxis] * colour
            picture += part * (0.15 + picture / 255.0)
    if camera.glare > 0.0:
        gx, gy = rng.uniform(0.25, 0.75, 2) * camera.size
        spread = rng.uniform(0.08, 0.16) * camera.size[1]
        spot = np.exp(-0.5 * (((u - gx) / spread) ** 2 + ((v - gy) / (0.6 * spread)) ** 2))
        picture += camera.glare * (150.0 * spot + 14.0)[:, :, np.newaxis]
    if camera.blur > 0.0:
        picture = cv2.GaussianBlur(picture, (0, 0), camera.blur)
    if camera.shake >= 1.0:
        picture = cv2.filter2D(picture, -1, _shake_kernel(camera.shake, rng))
    if camera.noise > 0.0:
        picture += rng.normal(0.0, camera.noise, picture.shape) * np.sqrt(0.3 + picture.clip(0.0) / 255.0)
    out = np.clip(np.rint(picture), 0, 255).astype(np.uint8)
    if camera.jpeg is not None:
        data = cv2.imencode(".jpg", out[:, :, ::-1], [cv2.IMWRITE_JPEG_QUALITY, camera.jpeg])[1]
        out = np.ascontiguousarray(cv2.imdecode(data, cv2.IMREAD_COLOR)[:, :, ::-1])
    return Taken(out, matrix, camera)


def _unlens(u: Floats, v: Floats, camera: Camera) -> tuple[Floats, Floats]:
    """Undo the lens by a few fixed-point steps."""
    if camera.lens == 0.0:
        return u, v
    a, b = u, v
    for _ in range(6):
        x, y = _lens(a, b, camera)
        a, b = a + (u - x), b + (v - y)
    return a, b


def _cabin(camera: Camera, rng: np.random.Generator) -> NDArray[np.float32]:
    """What is round the screen: a dim cabin out of focus."""
    width, height = camera.size
    small = rng.uniform(0.0, 90.0, (6, 9, 3)).astype(np.float32)
    return cv2.resize(small, (width, height), interpolation=cv2.INTER_CUBIC).clip(0, 255)


def _shake_kernel(length: float, rng: np.random.Generator) -> NDArray[np.float32]:
    size = 2 * math.ceil(length) + 1
    kernel = np.zeros((size, size), np.float32)
    toward = rng.uniform(0.0, math.pi)
    for t in np.linspace(-0.5, 0.5, 8 * size):
        x, y = size // 2 + t * length * math.cos(toward), size // 2 + t * length * math.sin(toward)
        kernel[round(y), round(x)] += 1.0
    return kernel / kernel.sum()


UPRIGHT = Camera(fill=1.0)


def hand_held(seed: int, size: tuple[int, int], tilt: float, *, worst: float = 1.0) -> Camera:
    """Return a phone's view of the screen: everything at once, by chance but within bounds."""
    rng = np.random.default_rng(seed)
    scale = size[1] / 720.0
    return replace(
        Camera(),
        size=size,
        tilt=tilt,
        tilt_toward=float(rng.uniform(0.0, 360.0)),
        roll=float(rng.uniform(-8.0, 8.0)),
        fill=float(rng.uniform(0.72, 0.88)),
        away=float(rng.uniform(1.6, 3.0)),
        shift=(float(rng.uniform(-20, 20) * scale), float(rng.uniform(-12, 12) * scale)),
        lens=float(rng.uniform(-0.03, 0.03)) * worst,
        blur=float(rng.uniform(0.4, 0.9)) * worst,
        shake=float(rng.uniform(0.0, 2.0)) * worst * scale,
        noise=float(rng.uniform(2.0, 6.0)) * worst,
        moire=float(rng.uniform(2.0, 10.0)) * worst,
        glare=float(rng.uniform(0.1, 0.5)) * worst,
        jpeg=int(rng.integers(70, 92)),
        seed=seed,
    )
