"""What is looked after in every frame: that the rings are where they were, the bow, the figures that gave the range."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import cv2
import numpy as np
from numpy.typing import NDArray

from moonless.constants import TAU
from moonless.picture.digits import line_places
from moonless.picture.geometry.edges import Picture
from moonless.picture.geometry.scope import Unrolled
from moonless.picture.geometry.upright import Flat, find_roll, flatten
from moonless.picture.types import FoundScope

# Of the directions in which a ring can be looked for, so many must show it.
LEAST_HELD = 0.3
# A figure has changed when it is so unlike what it was: mean square of the difference, of pixels of mean square 1.
UNLIKE = 0.5
BOW_REACH_DEG = 12.0
MOST_PLACES = 24

News = Literal["same", "changed"]


def rings_hold(unrolled: Unrolled, found: FoundScope) -> bool:
    """Say whether the range rings are still where they were found: enough of any two, or of the only one.

    A covered lens, a menu over all of it, a camera that was knocked: then they are not.
    """
    radii = unrolled.radii
    held = []
    per = unrolled.colour.shape[0] // 64
    for ring in range(1, found.rings + 1):
        at = int(np.argmin(np.abs(radii - ring)))
        lo, hi = max(at - 6, 0), min(at + 7, radii.size)
        if hi - lo < 9:
            continue
        band = unrolled.colour[:, lo:hi].astype(np.float32)
        band = band[: 64 * per].reshape(64, per, hi - lo, 3).mean(axis=1)
        middle = min(at, radii.size - 3) - lo
        line = np.abs(band[:, middle - 1 : middle + 2] - 0.5 * (band[:, :1] + band[:, -1:])).max(axis=(1, 2))
        beside = np.abs(np.diff(band, axis=1)).mean(axis=(1, 2)) + 0.5
        held.append(float(np.mean(line > 2.5 * beside)))
    if not held:
        return False
    held.sort(reverse=True)
    return held[min(1, len(held) - 1)] > LEAST_HELD


def follow_bow(unrolled: Unrolled, found: FoundScope, last: float) -> float:
    """Return where the heading line is now, near where it was; where it was if it cannot be seen."""
    n = unrolled.colour.shape[0]
    reach = round(BOW_REACH_DEG / 360.0 * n)
    off = 3
    middle = round(last / TAU * n)
    rows = np.arange(middle - reach - off, middle + reach + off + 1) % n
    outer = unrolled.colour.shape[1] // 3
    colour = unrolled.colour[rows][:, outer:].astype(np.float32)
    line = 2.0 * colour[off:-off] - colour[: -2 * off] - colour[2 * off :]
    mean = np.clip(line, -60.0, 60.0).mean(axis=1)
    told = np.sqrt((mean**2).sum(axis=1))
    at = int(np.argmax(told))
    if told[at] < 4.0 * float(np.median(told)) + 1.0 or not 0 < at < told.size - 1:
        return last
    a, b, c = told[at - 1], told[at], told[at + 1]
    part = 0.5 * float(a - c) / max(float(a - 2 * b + c), -1e9) if a - 2 * b + c < 0 else 0.0
    now = (middle - reach + at + part) / n * TAU
    return math.remainder(now, TAU) % TAU


@dataclass(frozen=True, slots=True, eq=False)
class RangeWatch:
    """The writing beside the scope as it was when the range was found.

    Only places are watched whose writing a distance was read in, or could not be.  Cheap: a few small crops a frame.
    """

    places: tuple[tuple[NDArray[np.float32], NDArray[np.float32]], ...]  # (map x, map y) into the picture
    were: tuple[NDArray[np.float32], ...]

    @classmethod
    def make(cls, picture: Picture, found: FoundScope) -> RangeWatch | None:
        """Keep what the figures look like; None where there is no writing of a distance."""
        roll = find_roll(picture, found.plane)
        flat = flatten(picture, found.plane, -(roll if roll is not None else 0.0))
        boxes = line_places(flat.pixels)[:MOST_PLACES]
        places = tuple(_maps(flat, found, box) for box in boxes)
        return cls(places, tuple(_crop(picture, place) for place in places)) if places else None

    def look(self, picture: Picture, found: FoundScope) -> News:
        """Say whether all figures look as they did."""
        for place, was in zip(self.places, self.were, strict=True):
            away = (_crop(picture, place) - was) ** 2
            # One figure of three may have changed: the worst stretch as wide as the writing is high is looked at.
            high = away.shape[0]
            if float(cv2.blur(away, (high, high)).max()) > UNLIKE:
                return "changed"
        return "same"


def _maps(
    flat: Flat, found: FoundScope, box: tuple[int, int, int, int]
) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    x, y, width, height = box
    across, down = np.meshgrid(np.arange(x - 2, x + width + 2, 1.0), np.arange(y - 2, y + height + 2, 1.0))
    u, v = found.plane.to_picture(*flat.to_plane(across, down))
    return u.astype(np.float32), v.astype(np.float32)


def _crop(picture: Picture, place: tuple[NDArray[np.float32], NDArray[np.float32]]) -> NDArray[np.float32]:
    """Return one place's pixels, mean 0 and size 1: light and shade do not matter."""
    seen = cv2.remap(picture, place[0], place[1], cv2.INTER_LINEAR).max(axis=2).astype(np.float32)
    seen = cv2.GaussianBlur(seen, (0, 0), 1.0)
    seen -= seen.mean()
    out: NDArray[np.float32] = seen / max(float(seen.std()), 3.0)
    return out
