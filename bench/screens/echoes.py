"""Made echoes for made screens, and how far a screen that was found is from where it was drawn."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from bench.screens.camera import Taken
from bench.screens.layouts import Layout
from bench.screens.screen import Screen
from moonless.picture.geometry.plane import ScopePlane

TAU = 2.0 * math.pi


def made_echo(seed: int, n_spoke: int = 1024, n_cell: int = 512) -> NDArray[np.uint8]:
    """Return a made turn, (n_spoke, n_cell): noise, sea clutter, 26 point targets and a coast."""
    rng = np.random.default_rng(seed)
    azimuth = np.arange(n_spoke)[:, None] / n_spoke * TAU
    reach = np.arange(n_cell)[None, :] / n_cell
    echo = rng.exponential(8.0, (n_spoke, n_cell))
    echo += rng.exponential(1.0, (n_spoke, n_cell)) * 60.0 * np.exp(-reach / 0.08)
    for _ in range(26):
        at, away = rng.uniform(0.0, TAU), rng.uniform(0.12, 0.95)
        strength, wide, deep = rng.uniform(120, 400), rng.uniform(0.012, 0.025), rng.uniform(0.004, 0.012)
        off = (azimuth - at + math.pi) % TAU - math.pi
        echo += strength * np.exp(-((off / wide) ** 2) - ((reach - away) / deep) ** 2)
    shore = 0.75 + 0.12 * np.sin(3 * azimuth) + 0.04 * np.sin(11 * azimuth + 1.0) + 0.02 * np.sin(29 * azimuth)
    ashore = (azimuth > 1.0) & (azimuth < 2.6) & (reach > shore)
    land = 260.0 * np.exp(-(reach - shore) / 0.08) * rng.uniform(0.6, 1.2, (n_spoke, n_cell))
    return np.clip(echo + np.where(ashore, land, 0.0), 0, 255).astype(np.uint8)


def place_errors(
    plane: ScopePlane, rings: int, bow_rad: float | None, screen: Screen, layout: Layout, taken: Taken | None
) -> tuple[NDArray[np.float64], float]:
    """Return how far places on the scope are from where they are, pixels of the screen, and the bow's error, degrees.

    ``rings``: the number of the outermost ring as found; the screen's own rings are all within its radius.  The turn of
    the plane is taken from the bow; without one, from the best fit.
    """
    angle = np.arange(0.0, TAU, 0.3)
    share = np.array([0.15, 0.3, 0.45, 0.6, 0.75, 0.9, 1.0])
    x = (share[:, None] * np.sin(angle)).ravel()
    y = (-share[:, None] * np.cos(angle)).ravel()
    u, v = screen.centre[0] + x * screen.radius, screen.centre[1] + y * screen.radius
    if taken is not None:
        u, v = taken.at(u, v)
        size = taken.camera.size
    else:
        size = (screen.pixels.shape[1], screen.pixels.shape[0])
    inside = (u > 0) & (v > 0) & (u < size[0]) & (v < size[1])
    px, py = plane.to_plane(u[inside], v[inside])
    # The radar's own frame: ring spacings, bow at the top.
    true = (x[inside] + 1j * y[inside]) * layout.rings * np.exp(-1j * screen.bow_rad)
    found = px + 1j * py
    lag = np.vdot(true, found)
    turn = float(np.angle(lag))
    bow_error = math.nan if bow_rad is None else math.degrees(math.remainder(turn - bow_rad, TAU))
    found = found * np.exp(-1j * (turn if bow_rad is None else bow_rad))
    return np.abs(found - true) * screen.radius / layout.rings, bow_error
