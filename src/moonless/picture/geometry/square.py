"""The scope squared: tilt, perspective and lens found from the rings themselves.

Rings are circles about one centre.  Of all ways the screen could lean before the camera, the one is sought that puts
the edges of the picture at the fewest different distances from the centre (`gather`); then the rings are followed
round, to a fraction of a pixel, and all fitted at once (`follow`).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy import ndimage, optimize

from moonless.picture.geometry.centre import Guess
from moonless.picture.geometry.edges import EdgePoints, Picture
from moonless.picture.geometry.plane import Floats, ScopePlane, polar_grid, unbend

# How sharply distances must gather, coarse to fine, in half picture heights.
SHARPNESS = (0.04, 0.015, 0.006)
NEAREST, FARTHEST = 0.06, 2.4
# A phone's or a webcam's lens, and how far screens are held away: one standard deviation each.
LENS_SIGMA, PERSPECTIVE_SIGMA = 0.02, 0.25
# How far the outermost ring's line may be seen off its place, pixels; points that err together, own choice.
RIM_PX, TOGETHER = 1.5, 12.0
GROUPS, RAYS = 72, 720
# How far along a ray roughness is measured, pixels.
LOCAL_PX = 41


@dataclass(frozen=True, slots=True, eq=False)
class Lean:
    """The seven numbers: centre (px), shape of a circle (two), perspective (two), lens."""

    values: Floats
    unit_px: float
    size: tuple[int, int]

    def plane(self) -> ScopePlane:
        """Return the map."""
        cx, cy, a, b, p, q, lens = self.values
        shape = self.unit_px * _shape(a, b)
        matrix = np.eye(3)
        matrix[:2, :2] = shape
        matrix[:2, 2] = cx, cy
        tip = np.eye(3)
        tip[2, :2] = p, q
        return ScopePlane(matrix @ tip, float(lens), self.size)


def _shape(a: float, b: float) -> Floats:
    """Return the symmetric matrix of determinant 1 whose logarithm is [[a, b], [b, -a]]."""
    size = math.hypot(a, b)
    if size < 1e-12:
        return np.eye(2)
    out: Floats = math.cosh(size) * np.eye(2) + math.sinh(size) / size * np.array([[a, b], [b, -a]])
    return out


def distances(values: Floats, x: Floats, y: Floats, unit_px: float, size: tuple[int, int]) -> Floats:
    """Return the distance from the centre, in the plane, of pixels; infinite where they lie behind the camera."""
    cx, cy, a, b, p, q, lens = values
    if lens != 0.0:
        x, y = unbend(x, y, lens, size)
    back = _shape(-a, -b) / unit_px
    zx = back[0, 0] * (x - cx) + back[0, 1] * (y - cy)
    zy = back[1, 0] * (x - cx) + back[1, 1] * (y - cy)
    w = 1.0 - p * zx - q * zy
    return np.where(w > 0.05, np.hypot(zx, zy) / np.maximum(w, 0.05), np.inf)


def gather(points: EdgePoints, guesses: list[Guess], size: tuple[int, int], keep: int = 2) -> list[tuple[Lean, float]]:
    """Return the leans that gather the edges at the fewest distances, best first, each with how well it does."""
    unit = 0.5 * size[1]
    first = [_polish(points, Lean(_start(guess), unit, size), SHARPNESS[:1], 1.0, 130) for guess in guesses]
    first.sort(key=lambda found: -found[1])
    out = []
    for lean, _ in _unlike(first)[:keep]:
        out.append(max((_polish(points, lean, SHARPNESS, wide, 170) for wide in (0.5, 1.0)), key=lambda f: f[1]))
    return sorted(out, key=lambda found: -found[1])


def _unlike(found: list[tuple[Lean, float]]) -> list[tuple[Lean, float]]:
    """Leave out what has ended at the same centre as a better one."""
    kept: list[tuple[Lean, float]] = []
    for lean, score in found:
        near = 0.03 * lean.unit_px
        if all(np.hypot(*(lean.values[:2] - other.values[:2])) > near for other, _ in kept):
            kept.append((lean, score))
    return kept


def _polish(points: EdgePoints, lean: Lean, sharpness: tuple[float, ...], wide: float, most: int) -> tuple[Lean, float]:
    unit, size = lean.unit_px, lean.size
    step = wide * np.array([0.05 * unit, 0.05 * unit, 0.07, 0.07, 0.1, 0.1])
    score = 0.0
    for sharp in sharpness:
        weight = _faces_centre(points, lean)
        chosen = weight > 0.0
        x, y, w = points.x[chosen], points.y[chosen], weight[chosen]
        if x.size < 50:
            return lean, 0.0

        def spread(six: Floats, x: Floats = x, y: Floats = y, w: Floats = w, sharp: float = sharp) -> float:
            prior = 0.5 * (six[4] ** 2 + six[5] ** 2) / PERSPECTIVE_SIGMA**2 + 0.5 * (six[2] ** 2 + six[3] ** 2) / 0.04
            values = np.append(six, 0.0)
            return -_gathered(distances(values, x, y, unit, size), w, sharp) * max(1.0 - 0.02 * float(prior), 0.0)

        simplex = np.vstack([lean.values[:6], lean.values[:6] + np.diag(step)])
        found = optimize.minimize(
            spread, lean.values[:6], method="Nelder-Mead",
            options={"initial_simplex": simplex, "maxfev": most, "xatol": 1e-4, "fatol": 1e-6},
        )  # fmt: skip
        lean = Lean(np.append(found.x, 0.0), unit, size)
        score = -float(found.fun)
        step = step * 0.4
    return lean, score


def _start(guess: Guess) -> Floats:
    shape = guess.shape()
    values, vectors = np.linalg.eigh(shape)
    log = vectors @ np.diag(np.log(values)) @ vectors.T
    return np.array([guess.x, guess.y, log[0, 0], log[0, 1], 0.0, 0.0, 0.0])


def _faces_centre(points: EdgePoints, lean: Lean) -> Floats:
    """Return a weight for each point: 1 where its edge lies along a ring, 0 from 25 degrees off."""
    away = 1.0
    r = [
        distances(lean.values, points.x + dx, points.y + dy, lean.unit_px, lean.size)
        for dx, dy in ((0.0, 0.0), (away, 0.0), (0.0, away))
    ]
    ok = np.isfinite(r[0]) & np.isfinite(r[1]) & np.isfinite(r[2])
    r = [np.where(ok, one, 0.0) for one in r]
    gx, gy = r[1] - r[0], r[2] - r[0]
    along = np.abs(gx * points.across_x + gy * points.across_y) / np.maximum(np.hypot(gx, gy), 1e-12)
    weight = np.clip((along - 0.906) / (1.0 - 0.906), 0.0, 1.0)
    return np.where(ok & (r[0] > NEAREST) & (r[0] < FARTHEST), weight, 0.0)


def _gathered(r: Floats, weight: Floats, sharp: float) -> float:
    n = math.ceil((FARTHEST - NEAREST) / (0.5 * sharp))
    place = (r - NEAREST) * (n / (FARTHEST - NEAREST))
    inside = (place >= 0.0) & (place < n - 1)
    counts = np.bincount(place[inside].astype(np.int64), weights=weight[inside], minlength=n)
    smooth = counts[:-2] + 2.0 * counts[1:-1] + counts[2:]
    wide = np.convolve(counts, np.ones(21) / 21.0 * 4.0, mode="same")[1:-1]
    # What stands out above its surroundings counts: an even spread of echoes is nothing.
    over = np.maximum(smooth - wide, 0.0)
    return float(np.sum(over**2)) / max(float(weight.sum()), 1.0) ** 2 * 10.0


# --- following the rings ---


@dataclass(frozen=True, slots=True, eq=False)
class Followed:
    """Rings as they were followed: the plane with the ring spacing as its unit."""

    plane: ScopePlane
    numbers: tuple[int, ...]  # of the rings found, from 1
    coverage: Floats  # share of the directions inside the picture in which each was found
    residual_px: float  # median distance of the points followed from their fitted ring

    @property
    def quality(self) -> float:
        """How complete the rings are, 0 to 1: every one up to the outermost followed all round is 1."""
        return float(self.coverage.sum()) / self.numbers[-1] / (1.0 + 0.3 * self.residual_px)


def follow(picture: Picture, lean: Lean, *, windows: tuple[float, ...] = (14.0, 9.0, 5.0, 3.0, 2.5)) -> Followed | None:
    """Follow the rings round and fit them all at once; None where none can be followed.

    ``windows``: how far a ring may be from where it is expected, pixels of a 720-line picture, step by step.
    """
    size = (picture.shape[1], picture.shape[0])
    factor = size[1] / lean.size[1]
    values = lean.values.copy()
    values[:2] = (values[:2] + 0.5) * factor - 0.5
    unit = lean.unit_px * factor
    followed: Followed | None = None
    for number, window in enumerate(windows):
        reach = max(2.0, window * size[1] / 720.0)
        plane = Lean(values, unit, size).plane()
        profile = Profile.read(picture, plane, unit)
        seen = profile.follow(profile.rings(), plane, reach)
        lattice = find_lattice(seen)
        if lattice is None:
            return None
        spacing, chosen = lattice
        values, spacing, left = _fit(values, spacing, chosen, unit, size, is_late=number >= 2)
        numbers = tuple(sorted(chosen))
        coverage = np.array([chosen[k].coverage for k in numbers])
        followed = Followed(Lean(values, unit, size).plane().scaled(spacing), numbers, coverage, left)
    return followed


@dataclass(frozen=True, slots=True, eq=False)
class SeenRing:
    """Points followed at one radius."""

    radius: float
    coverage: float
    told: float  # how far it stands out of the grain
    x: Floats
    y: Floats
    weight: Floats


@dataclass(frozen=True, slots=True, eq=False)
class Profile:
    """How line-like the picture is, (group, radius, colour), signed: a light line is positive."""

    radii: Floats
    lines: Floats  # (GROUPS, n_radius, 3)
    inside: NDArray[np.bool_]  # (GROUPS, n_radius): in the picture
    grain: Floats  # (n_radius,), of what is no ring; among clutter it is more

    @classmethod
    def read(cls, picture: Picture, plane: ScopePlane, unit: float) -> Profile:
        """Unroll the picture about the centre."""
        height, width = picture.shape[:2]
        radii = np.arange(0.08, FARTHEST, 1.0 / unit)
        u, v = polar_grid(plane, RAYS, radii)
        ok = (u > 1) & (v > 1) & (u < width - 2) & (v < height - 2)
        polar = cv2.remap(picture, u.astype(np.float32), v.astype(np.float32), cv2.INTER_LINEAR).astype(np.float32)
        step = max(2, round(0.0022 * height))
        smooth = cv2.blur(polar, (3, 1))
        lines = np.zeros_like(smooth)
        lines[:, step:-step] = 2.0 * smooth[:, step:-step] - smooth[:, : -2 * step] - smooth[:, 2 * step :]
        # One bright echo must not outweigh a whole ring.
        lines = np.clip(lines, -150.0, 150.0) * ok[:, :, None]
        per = RAYS // GROUPS
        grouped = lines.reshape(GROUPS, per, radii.size, 3).mean(axis=1)
        inside = ok.reshape(GROUPS, per, radii.size).mean(axis=1) > 0.7
        whole = float(np.median(np.abs(grouped[inside]))) * 1.4826 + 0.05 if inside.any() else 1.0
        # A ring is a few columns wide and does not count; what is rough everywhere about a radius does.
        rough = np.median(np.abs(grouped).max(axis=2), axis=0) * 0.8
        grain = np.maximum(ndimage.median_filter(rough, LOCAL_PX, mode="nearest"), whole)
        return cls(radii, grouped.astype(np.float64), inside, grain)

    def _held(self) -> Floats:
        most = 6.0 * self.grain[None, :, None]
        held = np.clip(self.lines, -most, most)
        return np.where(self.inside[:, :, None], held, 0.0)

    def rings(self) -> dict[int, float]:
        """Return the indices of the radii at which a line goes round, with how far each stands out."""
        many = np.maximum(self.inside.sum(axis=0), 1)
        mean = self._held().sum(axis=0) / many[:, None]
        size = np.sqrt((mean**2).sum(axis=1))
        told = np.where(many > 0.15 * GROUPS, size * np.sqrt(many) / (1.7 * self.grain), 0.0)
        # Held back, a line and the dark borders beside it stand out alike; the line itself is the highest of them.
        full = np.where(self.inside[:, :, None], self.lines, 0.0).sum(axis=0) / many[:, None]
        height = np.sqrt((full**2).sum(axis=1))
        found: dict[int, float] = {}
        for r in np.argsort(-told)[:600].tolist():
            if told[r] < 4.0 or len(found) >= 18:
                break
            lo = max(0, r - 6)
            r = lo + int(np.argmax(height[lo : r + 7] * (told[lo : r + 7] > 0.5 * told[r])))
            if all(abs(r - f) > 8 for f in found):
                found[r] = float(told[r])
        return found

    def follow(self, rings: dict[int, float], plane: ScopePlane, reach: float) -> list[SeenRing]:
        """Return the points found near each radius: the crest of the line in each group of directions."""
        wide = max(2, round(reach))
        out: list[SeenRing] = []
        middle = (np.arange(GROUPS) + 0.5 - 0.5 / (RAYS // GROUPS)) * (2.0 * math.pi / GROUPS)
        held = self._held()
        g = np.arange(GROUPS)
        for r, told in rings.items():
            lo, hi = max(1, r - wide), min(self.radii.size - 1, r + wide + 1)
            toward = held[:, r].sum(axis=0)
            toward = toward / max(float(np.linalg.norm(toward)), 1e-9)
            here = self.lines[:, lo - 1 : hi + 1] @ toward
            at = np.argmax(here[:, 1:-1], axis=1) + 1
            peak, a, b = here[g, at], here[g, at - 1], here[g, at + 1]
            off = np.clip(0.5 * (b - a) / np.maximum(2.0 * peak - a - b, 1e-6), -0.5, 0.5)
            good = (peak > 3.0 * self.grain[r]) & self.inside[:, r] & (at > 1) & (at < here.shape[1] - 2)
            radius = self.radii[0] + (lo - 1 + at + off) * (self.radii[1] - self.radii[0])
            u, v = plane.to_picture(np.sin(middle) * radius, -np.cos(middle) * radius)
            coverage = int(np.count_nonzero(good)) / max(int(np.count_nonzero(self.inside[:, r])), 1)
            weight = np.minimum(peak / self.grain[r], 12.0)
            own = float(np.median(radius[good])) if good.any() else float(self.radii[r])
            out.append(SeenRing(own, float(coverage), told, u[good], v[good], weight[good]))
        return out


MOST_RINGS = 12
LEAST_COVERAGE = 0.3
# Rings of one scale agree in their spacing to this share of it.
LATTICE_SLACK = 0.06


def find_lattice(seen: list[SeenRing]) -> tuple[float, dict[int, SeenRing]] | None:
    """Return (spacing, rings by number) of the evenly spaced rings that explain most; None where there are none.

    A ring that should be there and is not speaks against a spacing.
    """
    good = [ring for ring in seen if ring.coverage >= LEAST_COVERAGE and ring.x.size >= 8]
    best: tuple[float, float, dict[int, SeenRing]] | None = None
    # What goes as far round as the best ring is a ring; what is found half as often is found by chance.
    fullest = max((ring.coverage for ring in good), default=0.0)
    worth = {id(ring): max(ring.coverage / fullest - 0.6, 0.0) / 0.4 * min(1.0, ring.told / 12.0) for ring in good}
    good = [ring for ring in good if worth[id(ring)] > 0.0]
    for ring in good:
        for number in range(1, MOST_RINGS + 1):
            spacing = ring.radius / number
            chosen: dict[int, SeenRing] = {}
            for other in good:
                k = round(other.radius / spacing)
                if not 1 <= k <= MOST_RINGS or abs(other.radius - k * spacing) > LATTICE_SLACK * spacing:
                    continue
                if k not in chosen or worth[id(other)] > worth[id(chosen[k])]:
                    chosen[k] = other
            if number not in chosen:
                continue
            outermost = max(chosen)
            score = sum(worth[id(one)] for one in chosen.values()) - 0.45 * (outermost - len(chosen))
            if best is None or score > best[0] + 1e-9:
                best = (score, spacing, chosen)
    if best is None or best[0] < 0.5:
        return None
    return best[1], best[2]


def _fit(
    values: Floats, spacing: float, chosen: dict[int, SeenRing], unit: float, size: tuple[int, int], *, is_late: bool
) -> tuple[Floats, float, float]:
    """Return (values, spacing, median of what is left, pixels): all rings fitted at once, outliers held back."""
    number = np.concatenate([np.full(ring.x.size, k, float) for k, ring in chosen.items()])
    x = np.concatenate([ring.x for ring in chosen.values()])
    y = np.concatenate([ring.y for ring in chosen.values()])
    weight = np.concatenate([ring.weight for ring in chosen.values()])
    root = np.sqrt(weight / weight.mean())
    # One circle alone does not tell how the screen leans: its own shape does, and the perspective is taken as none.
    n_free = 4 if len(chosen) < 2 else 7 if is_late else 6
    scale = np.array([unit, unit, 1.0, 1.0, 1.0, 1.0, 1.0])
    # The outermost ring is often the border of the picture or stands against a bearing scale: where its line is seen
    # may be off by a pixel or two all round, and must not be taken for a bent lens.
    rim = (number == number.max()).astype(np.float64) * (is_late and len(chosen) > 2)
    # All points of a ring are off together: what is known beforehand weighs as much as a part of them.
    known = math.sqrt(x.size / TOGETHER)
    # The size of everything is told by the spacing, so the shape keeps its determinant.

    def unpack(z: Floats) -> tuple[Floats, float, float]:
        out = values.copy()
        out[:n_free] = z[:n_free] * scale[:n_free]
        return out, float(z[n_free]), float(z[n_free + 1])

    def residual(z: Floats) -> Floats:
        out, step, off = unpack(z)
        away = distances(out, x, y, unit, size)
        away = np.where(np.isfinite(away), away, 9.0)
        prior = [
            out[4] / PERSPECTIVE_SIGMA,
            out[5] / PERSPECTIVE_SIGMA,
            known * out[6] / LENS_SIGMA,
            known * off / RIM_PX,
        ]
        return np.concatenate([((away - step * number) * unit - off * rim) * root, prior])

    start = np.append(values[:n_free] / scale[:n_free], [spacing, 0.0])
    found = optimize.least_squares(residual, start, loss="soft_l1", f_scale=0.7, max_nfev=40)
    out, step, off = unpack(found.x)
    left = np.abs((distances(out, x, y, unit, size) - step * number) * unit - off * rim)
    return out, step, float(np.median(left))
