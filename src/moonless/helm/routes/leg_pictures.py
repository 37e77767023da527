"""One leg of the plan as pictures: the chart along it, what the radar should show at its turn, the depth along it.

They are sent as shapes and levels, never as colours: the screen's own ink draws them, so that none is brighter than the
night allows.
"""

from __future__ import annotations

import base64
import io

import numpy as np
import shapely
from PIL import Image

from moonless.boat.types import Boat
from moonless.helm.bodies.routes import DepthsBody, LegPicturesBody, ScopeBody
from moonless.passage.chartlet import chartlet_svg
from moonless.passage.night import Night
from moonless.passage.plan import LegGround
from moonless.passage.scope import picture_at_start

# The depth is asked for at so many places along a leg, each for the water this far to either hand.  Own figures.
N_DEPTH, BESIDE_M = 60, 15.0


def leg_pictures(place: LegGround, boat: Boat, night: Night) -> LegPicturesBody:
    """Return the pictures of one leg; what the chart cannot give is left out, and never drawn as nought."""
    body: LegPicturesBody = {"number": place.number}
    if place.stretch is None:
        return body
    body["chart"] = chartlet_svg([place], boat)
    body["depths"] = _depths(place, boat)
    scope = _scope(place, boat, night)
    if scope is not None:
        body["scope"] = scope
    return body


def _depths(place: LegGround, boat: Boat) -> DepthsBody:
    assert place.stretch is not None
    along = np.linspace(0.0, place.leg.length_m, N_DEPTH)
    frame = place.stretch.local.frame
    least: list[float | None] = []
    for metres in along:
        lat, lon = place.leg.at(float(metres))
        east, north = frame.to_plane(lat, lon)
        here = shapely.Point(float(east), float(north)).buffer(BESIDE_M)
        areas = [shallow for shallow, _ in place.stretch.dangers.depth_areas_at(here)]
        known = [depth for depth in areas if depth is not None]
        # One area without a depth leaves it unknown: the least of the others would be a guess to the deep side.
        least.append(round(min(known), 1) if known and len(known) == len(areas) else None)
    need_m = boat.draught_m + boat.skipper.depth_margin_m
    return {"along_m": [round(float(m)) for m in along], "least_m": least, "need_m": round(need_m, 1)}


def _scope(place: LegGround, boat: Boat, night: Night) -> ScopeBody | None:
    picture = picture_at_start(place, boat, night.weather)
    if picture is None:
        return None
    levels = np.asarray(Image.open(io.BytesIO(picture.png)).convert("RGB"))[:, :, 0]
    return {
        "size": int(levels.shape[0]),
        "levels": base64.b64encode(levels.tobytes()).decode("ascii"),
        "scale_nm": picture.scale_nm,
        "marks": list(picture.marks),
        "hidden": list(picture.hidden),
    }
