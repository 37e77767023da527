"""Sea clutter and rain: textures that live over the water and in time, and the speckle on them.

The texture is a Gaussian field over the ground, correlated in place and time, drifting; it is bent into the wanted
distribution by its own quantile function, so the marginal is exact:

    K           gamma of the shape, mean 1                      (power then K distributed: Ward, Tough & Watts)
    Pareto      inverse gamma, mean 1                           (compound Gaussian with it is Pareto II)
    lognormal   exp(s g - s^2 / 2)
    Weibull     power itself, no texture: mean * E^(1/c) / Gamma(1 + 1/c), E exponential
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import special, stats

from moonless.scene.wild.polar import RadarView
from moonless.scene.wild.types import Rain, Sea

Floats = NDArray[np.float64]
SIDE = 256


class GroundField:
    """A standard Gaussian field over the ground, (SIDE, SIDE) and periodic, that forgets in time and drifts."""

    def __init__(self, rng: np.random.Generator, patch_m: float, memory_s: float, drift: tuple[float, float]) -> None:
        """``patch_m``: where its correlation has fallen to 1/e; a pixel is half of it."""
        self._rng = rng
        self.pixel_m = 0.5 * patch_m
        self._memory_s, self._drift = memory_s, drift
        f = np.fft.fftfreq(SIDE)
        # Correlation exp(-d^2 / patch^2): its transform is a Gaussian.
        width = patch_m / self.pixel_m
        self._shape = np.exp(-0.5 * (math.pi * width) ** 2 * (f[:, None] ** 2 + f[None, : SIDE // 2 + 1] ** 2))
        unit = np.fft.irfft2(self._shape * np.fft.rfft2(_delta()), s=(SIDE, SIDE))
        self._norm = 1.0 / math.sqrt(float(np.sum(unit**2)))
        self._field = self._fresh()
        self._time_s = 0.0

    def _fresh(self) -> NDArray[np.float32]:
        white = self._rng.standard_normal((SIDE, SIDE), dtype=np.float32)
        smooth = np.fft.irfft2(self._shape * np.fft.rfft2(white), s=(SIDE, SIDE)) * self._norm
        return smooth.astype(np.float32)

    def step_to(self, time_s: float) -> None:
        """Let time pass."""
        gap = time_s - self._time_s
        if gap <= 0.0:
            return
        keep = math.exp(-gap / self._memory_s)
        self._field = np.asarray(keep * self._field + math.sqrt(1.0 - keep * keep) * self._fresh(), dtype=np.float32)
        self._time_s = time_s

    def at(self, east_m: NDArray[np.float32], north_m: NDArray[np.float32]) -> NDArray[np.float32]:
        """Return the field at places, any shape: that of the nearest pixel, so that the marginal stays exact."""
        e = east_m - np.float32(self._drift[0] * self._time_s)
        n = north_m - np.float32(self._drift[1] * self._time_s)
        scale = np.float32(1.0 / self.pixel_m)
        i = np.floor(e * scale).astype(np.int32) & (SIDE - 1)
        j = np.floor(n * scale).astype(np.int32) & (SIDE - 1)
        return np.asarray(self._field.ravel()[j * SIDE + i])


def _delta() -> Floats:
    out = np.zeros((SIDE, SIDE))
    out[0, 0] = 1.0
    return out


@dataclass(frozen=True, slots=True)
class Bend:
    """A table from a standard Gaussian to a texture of mean 1."""

    g: NDArray[np.float32]
    value: NDArray[np.float32]

    def __call__(self, g: NDArray[np.float32]) -> NDArray[np.float32]:
        """Bend a field."""
        return np.interp(g, self.g, self.value).astype(np.float32)


def bend_of(sea: Sea) -> Bend | None:
    """Return the table of this clutter; None where it has no texture."""
    g = np.linspace(-5.0, 5.0, 1001)
    p = special.ndtr(g)
    if sea.kind == "k":
        value = special.gammaincinv(sea.shape, p) / sea.shape
    elif sea.kind == "pareto":
        # Inverse gamma of shape a has mean 1 / (a - 1).
        value = (sea.shape - 1.0) / special.gammainccinv(sea.shape, p)
    elif sea.kind == "lognormal":
        value = np.exp(sea.shape * g - 0.5 * sea.shape**2)
    else:
        return None
    return Bend(g.astype(np.float32), value.astype(np.float32))


def speckle(rng: np.random.Generator, shape: tuple[int, int], looks: int) -> NDArray[np.float32]:
    """Return power of mean 1 of ``looks`` independent pulses averaged: gamma."""
    if looks == 1:
        return rng.standard_exponential(shape, dtype=np.float32)
    return np.asarray(rng.standard_gamma(looks, shape, dtype=np.float32) / np.float32(looks))


def weibull(rng: np.random.Generator, shape: tuple[int, int], c: float) -> NDArray[np.float32]:
    """Return Weibull power of mean 1."""
    e = rng.standard_exponential(shape, dtype=np.float32)
    return np.asarray(e ** np.float32(1.0 / c) / np.float32(math.gamma(1.0 + 1.0 / c)))


def tail(sea: Sea, looks: int, pfa: float) -> float:
    """Return how far over its own mean a cell of this clutter is with probability ``pfa``."""
    if sea.kind == "weibull":
        return float((-math.log(pfa)) ** (1.0 / sea.shape) / math.gamma(1.0 + 1.0 / sea.shape))
    bend = bend_of(sea)
    if bend is None:
        return float(special.gammainccinv(looks, pfa) / looks)
    # P(power > t) = E over the texture of the gamma's survival.
    g = np.linspace(-5.0, 5.0, 401)
    weight = stats.norm.pdf(g) / stats.norm.pdf(g).sum()
    texture = np.maximum(np.interp(g, bend.g, bend.value), 1e-9)
    low, high = 1.0, 1e5
    for _ in range(60):
        middle = math.sqrt(low * high)
        over = float(np.sum(weight * special.gammaincc(looks, looks * middle / texture)))
        low, high = (middle, high) if over > pfa else (low, middle)
    return math.sqrt(low * high)


def mean_sea(view: RadarView, sea: Sea) -> NDArray[np.float32]:
    """Return the clutter's mean power over noise in every cell, without its texture."""
    r = np.maximum(view.range_m, 30.0)
    along = 10.0 ** (sea.cnr_db / 10.0) * (200.0 / r) ** sea.fall / (1.0 + (r / sea.critical_m) ** 4)
    # A cosine in decibels from upwind to downwind.
    wind = 10.0 ** (-sea.upwind_db / 20.0 * (1.0 - np.cos(view.bearing_rad - sea.from_rad)))
    out = (wind[:, None] * along[None, :]).astype(np.float32)
    if sea.breeze_m > 0.0:
        near = 10.0 ** (sea.breeze_db / 10.0) * (100.0 / r) ** 2 * np.exp(-np.square(view.range_m / sea.breeze_m))
        out += near[None, :].astype(np.float32)
    return np.asarray(out, dtype=np.float32)


def swell_bands(view: RadarView, sea: Sea) -> NDArray[np.float32] | float:
    """Return the swell's modulation of the clutter, mean 1; bands run with the swell at deep-water speed."""
    if sea.swell_m <= 0.0:
        return 1.0
    k = 2.0 * math.pi / sea.swell_m
    omega = math.sqrt(9.81 * k)
    to = sea.from_rad + math.pi
    phase = np.float32(k * math.sin(to)) * view.east_m + np.float32(k * math.cos(to)) * view.north_m
    phase -= (omega * view.time_s).astype(np.float32)[:, None]
    return np.asarray(1.0 + np.float32(sea.swell_depth) * np.sin(phase), dtype=np.float32)


class RainTexture:
    """The rough inside of a rain cell: a frozen field that drifts with it and slowly boils."""

    def __init__(self, rng: np.random.Generator, rain: Rain) -> None:
        self.rain = rain
        self._field = GroundField(rng, max(40.0, 0.25 * rain.across_m), 60.0, rain.velocity)

    def power(self, view: RadarView) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
        """Return (mean power without texture, with texture) in every cell; volume echo falls by two powers of range."""
        rain = self.rain
        middle_s = float(view.time_s[len(view.time_s) // 2])
        self._field.step_to(middle_s)
        e = view.east_m - np.float32(rain.at_m[0] + rain.velocity[0] * middle_s)
        n = view.north_m - np.float32(rain.at_m[1] + rain.velocity[1] * middle_s)
        sine, cosine = np.float32(math.sin(rain.angle_rad)), np.float32(math.cos(rain.angle_rad))
        u, v = e * sine + n * cosine, e * cosine - n * sine
        inside = np.exp(-0.5 * (np.square(u / np.float32(rain.along_m)) + np.square(v / np.float32(rain.across_m))))
        law = 10.0 ** (rain.rnr_db / 10.0) * (1000.0 / np.maximum(view.range_m, 50.0)) ** 2
        mean = (inside * law[None, :].astype(np.float32)).astype(np.float32)
        rough = np.exp(
            np.float32(rain.rough) * self._field.at(view.east_m, view.north_m) - np.float32(0.5 * rain.rough**2)
        )
        return mean, np.asarray(mean * rough, dtype=np.float32)

    def loss(self, view: RadarView) -> NDArray[np.float32]:
        """Return what is left of an echo, two way, past the rain on its ray."""
        rain = self.rain
        if rain.loss_db_km <= 0.0:
            return np.ones((1, 1), dtype=np.float32)
        middle_s = float(view.time_s[len(view.time_s) // 2])
        e = view.east_m - np.float32(rain.at_m[0] + rain.velocity[0] * middle_s)
        n = view.north_m - np.float32(rain.at_m[1] + rain.velocity[1] * middle_s)
        size = np.float32(math.sqrt(rain.along_m * rain.across_m))
        inside = np.exp(-0.5 * (np.square(e / size) + np.square(n / size)))
        cell_km = float(view.range_m[1] - view.range_m[0]) / 1000.0
        return np.asarray(10.0 ** (-np.cumsum(inside, axis=1) * rain.loss_db_km * cell_km / 10.0), dtype=np.float32)
