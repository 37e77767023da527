"""The scope found in a picture that nobody has told anything of."""

from __future__ import annotations

import cv2
import numpy as np

from moonless.errors import SourceError
from moonless.picture.geometry.centre import Guess, guess_centres
from moonless.picture.geometry.edges import Picture, edge_points
from moonless.picture.geometry.square import Followed, follow, gather

# Looked for in the picture made so large (its longer side), with so many edge points; the second way is for the
# pictures that the first has failed on.
EFFORTS = ((720, 6000, 4, 2), (960, 9000, 6, 4))
GOOD_ENOUGH, LEAST = 0.62, 0.4
SMALLEST_SIDE = 160
# What is all one colour holds nothing: the spread of a picture's brightness, counts.
BLANK = 1.5


class NoScope(SourceError):
    """A picture in which no radar scope can be found, or none that can be squared."""


def find_scope(picture: Picture) -> Followed:
    """Return the scope's plane, its rings and how well they fit.

    Raises NoScope, saying why, where there is none or where there are two.
    """
    height, width = picture.shape[:2]
    if min(height, width) < SMALLEST_SIDE:
        raise NoScope(f"the picture has {width} x {height} pixels; {SMALLEST_SIDE} on the shorter side are needed")
    if float(np.std(picture[::4, ::4])) < BLANK:
        raise NoScope("the picture is all of one brightness: is the lens covered, or the screen dark?")
    found: list[Followed] = []
    for longest, most, first, keep in EFFORTS:
        factor = min(1.0, longest / max(height, width))
        small = cv2.resize(picture, None, fx=factor, fy=factor, interpolation=cv2.INTER_AREA)
        size = (small.shape[1], small.shape[0])
        points = edge_points(small, most)
        if points.x.size < 100:
            continue
        guesses: list[Guess] = guess_centres(points, size, first)
        for lean, score in gather(points, guesses, size, keep):
            if score < 0.05:
                continue
            one = follow(picture, lean)
            if one is not None:
                found.append(one)
        found.sort(key=lambda f: -_told(f))
        if found and found[0].quality > GOOD_ENOUGH and len(found[0].numbers) > 1:
            break
    if not found or found[0].quality < LEAST:
        raise NoScope("no range rings go round one centre here: show the whole scope, with its range rings on")
    best = found[0]
    _refuse_two(best, found[1:])
    return best


def _told(one: Followed) -> float:
    # Of two that are both complete, the one with more rings.
    return one.quality * float(np.sqrt(min(len(one.numbers), 4)))


def _refuse_two(best: Followed, others: list[Followed]) -> None:
    reach = best.plane.radius_px * best.numbers[-1]
    for other in others:
        if other.quality < 0.85 * best.quality or len(other.numbers) < 2:
            continue
        apart = np.hypot(other.plane.centre[0] - best.plane.centre[0], other.plane.centre[1] - best.plane.centre[1])
        if apart > reach:
            raise NoScope("there are two scopes in the picture: show one of them alone")
