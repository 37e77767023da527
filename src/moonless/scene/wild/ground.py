"""The ground as heights on a grid, drawn along rays; and the chart of it, written as the demo's waters are."""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.ndimage import distance_transform_edt, gaussian_filter

from moonless.chart.s57.attributes import Attribute
from moonless.frames import LocalFrame
from moonless.scene.chart_layer import write_layer
from moonless.scene.wild.polar import EARTH_M, REFERENCE_M, REFERENCE_RCS_M2, RadarView, highest_before
from moonless.scene.wild.types import Antenna, Land, Wild

Floats = NDArray[np.float64]
N_GRID = 512
WARNING = "INVENTED WATERS. NOT FOR NAVIGATION."
AGENCY = 65_534  # no producing agency has this number


@dataclass(frozen=True, slots=True)
class Relief:
    """Heights (n, n) above the water, rows north, columns east; 0 is water.  ``sigma``: the ground's reflectivity."""

    west_m: float
    south_m: float
    step_m: float
    height_m: NDArray[np.float32]
    sigma: NDArray[np.float32]

    @classmethod
    def of(cls, land: Land, centre_m: tuple[float, float], half_m: float, rng: np.random.Generator) -> Relief:
        """Lay land on a grid of N_GRID squares about a place."""
        step = 2.0 * half_m / N_GRID
        west, south = centre_m[0] - half_m, centre_m[1] - half_m
        at = (np.arange(N_GRID) + 0.5) * step
        e, n = np.meshgrid(west + at, south + at)
        shapely.prepare(land.real)
        is_land = shapely.contains_xy(land.real, e.ravel(), n.ravel()).reshape(e.shape)
        inland = distance_transform_edt(is_land) * step
        hills = gaussian_filter(rng.standard_normal(e.shape), 12.0)
        hills = 1.0 + 0.5 * hills / max(float(np.std(hills)), 1e-9)
        height = np.minimum(1.5 + land.slope * inland, land.relief_m * np.clip(hills, 0.2, 2.5))
        rough = np.exp(1.0 * rng.standard_normal(e.shape) - 0.5)
        sigma = 10.0 ** (land.sigma_db / 10.0) * rough * is_land
        return cls(west, south, step, np.where(is_land, height, 0.0).astype(np.float32), sigma.astype(np.float32))

    def along(self, view: RadarView) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
        """Return (height, reflectivity) in every cell of a view; 0 off the grid."""
        i = ((view.east_m - np.float32(self.west_m)) * np.float32(1.0 / self.step_m)).astype(np.int32)
        j = ((view.north_m - np.float32(self.south_m)) * np.float32(1.0 / self.step_m)).astype(np.int32)
        inside = (i >= 0) & (i < N_GRID) & (j >= 0) & (j < N_GRID)
        at = np.where(inside, j * N_GRID + i, 0)
        h = np.where(inside, self.height_m.ravel()[at], np.float32(0.0))
        s = np.where(inside, self.sigma.ravel()[at], np.float32(0.0))
        return np.asarray(h, dtype=np.float32), np.asarray(s, dtype=np.float32)


def slopes(height_m: NDArray[np.float32], view: RadarView, antenna_m: float) -> NDArray[np.float32]:
    """Return the slope of the ground in every cell: water too, which stands at its own slope, below all land."""
    r = np.maximum(view.range_m, 1.0).astype(np.float32)
    fall = np.float32(antenna_m) + r * r / np.float32(2.0 * EARTH_M)
    return np.asarray(np.where(height_m > 0.0, (height_m - fall[None, :]) / r[None, :], np.float32(-1e3)))


def land_power(
    sigma: NDArray[np.float32], slope: NDArray[np.float32], view: RadarView, antenna: Antenna
) -> NDArray[np.float32]:
    """Return land's mean power before the beam smears it: reflectivity times the area of the cell that is lit."""
    before = highest_before(slope)
    lit = (sigma > 0.0) & (slope >= before)
    r = np.maximum(view.range_m, 15.0)
    cell_m = float(view.range_m[1] - view.range_m[0])
    # A face that rises is seen square on: up to eight times the grazing patch.  Own choice.
    with np.errstate(invalid="ignore"):
        rise = np.clip((slope - np.maximum(before, np.float32(-1.0))) * np.float32(200.0), 0.0, 7.0)
    k = 10.0 ** (antenna.gain_db / 10.0) * REFERENCE_M**4 / REFERENCE_RCS_M2
    # Smearing by the two-way beam adds neighbours up: what one ray stands for is its own width.
    area = k * cell_m * antenna.beam_rad / r**3
    return np.asarray(np.where(lit, sigma * (1.0 + rise), 0.0) * area[None, :].astype(np.float32), dtype=np.float32)


# --- the chart --------------------------------------------------------------------------------------------------------


def write_chart(wild: Wild, path: Path) -> None:
    """Write the chart of a wild scene as a GeoPackage of S-57 layers."""
    land = wild.land
    reach = 3.0 * wild.antenna.range_m + 2_000.0
    limits = shapely.box(-reach, -reach, reach, reach)
    layers: dict[str, list[tuple[shapely.Geometry | None, dict[str, Attribute]]]] = {}

    def add(name: str, shape: shapely.Geometry | None, **attributes: Attribute) -> None:
        number = sum(map(len, layers.values())) + 1
        long_name = f"{AGENCY:04X}{number:08X}0001"
        known: dict[str, Attribute] = {"AGEN": AGENCY, "FIDN": number, "FIDS": 1, "LNAM": long_name}
        layers.setdefault(name, []).append((shape, {**attributes, **known}))

    wet = limits
    if land is not None:
        ground = shapely.intersection(land.charted, limits)
        wet = shapely.difference(limits, ground)
        for part in _polygons(ground):
            add("LNDARE", part)
            for ring in [part.exterior, *part.interiors]:
                add("COALNE", shapely.LineString(ring.coords), CATCOA=4)
        for start, stop in land.bridges:
            shape = shapely.LineString([start, stop]).buffer(5.0, cap_style="flat")
            moved = shapely.affinity.translate(shape, -wild.shift_m[0], -wild.shift_m[1])
            add("BRIDGE", moved, CATBRG="1", VERCLR=6.0, HORCLR=40.0)
    for part in _polygons(wet):
        add("DEPARE", part, DRVAL1=5.0, DRVAL2=20.0)
    for mark in wild.marks:
        at = shapely.Point(mark.east_m, mark.north_m)
        if mark.object == "BOYLAT":
            add("BOYLAT", at, BOYSHP=4, CATLAM=1, COLOUR="4", OBJNAM=mark.name, VERLEN=3.0)
        elif mark.object == "BOYSPP":
            add("BOYSPP", at, BOYSHP=3, CATSPM="27", COLOUR="6", OBJNAM=mark.name)
        elif mark.object == "BCNLAT":
            add("BCNLAT", at, BCNSHP=5, CATLAM=2, COLOUR="3", HEIGHT=4.0, OBJNAM=mark.name)
        else:
            add(mark.object, at, OBJNAM=mark.name)
    add("M_COVR", limits, CATCOV=1, INFORM=WARNING)
    add("M_QUAL", limits, CATZOC=3, SURSTA="20270401", SUREND="20270531")
    add(
        "DSID", None, DSID_DSNM="wild", DSID_EDTN="1", DSID_UPDN="0", DSID_ISDT="20270601", DSID_UADT="20270601",
        DSID_COMT=WARNING, DSPM_CSCL=12_000, DSPM_HDAT=2, DSPM_VDAT=16, DSPM_SDAT=12, DSPM_DUNI=1, DSPM_HUNI=1,
    )  # fmt: skip
    for name in sorted(layers):
        shapes = [_in_degrees(shape, wild.scene.frame) for shape, _ in layers[name] if shape is not None]
        write_layer(path, name, shapes, [attributes for _, attributes in layers[name]])


def _polygons(shape: shapely.Geometry) -> list[shapely.Geometry]:
    return [p for p in shapely.get_parts(shape) if p.geom_type == "Polygon" and p.area > 1.0]


def _in_degrees(shape: shapely.Geometry, frame: LocalFrame) -> shapely.Geometry:
    def degrees(xy: NDArray[np.float64]) -> NDArray[np.float64]:
        lat, lon = frame.to_geographic(xy[:, 0], xy[:, 1])
        return np.column_stack([np.round(lon, 7), np.round(lat, 7)])

    turned = shapely.transform(shape, degrees)
    return turned if turned.is_valid else shapely.make_valid(turned)


def wall_mirror(
    wall: tuple[tuple[float, float], tuple[float, float]], place: tuple[float, float]
) -> tuple[float, float]:
    """Return the mirror image of a place in the line of a wall."""
    (e0, n0), (e1, n1) = wall
    length = math.hypot(e1 - e0, n1 - n0)
    de, dn = (e1 - e0) / length, (n1 - n0) / length
    along = (place[0] - e0) * de + (place[1] - n0) * dn
    foot = (e0 + along * de, n0 + along * dn)
    return 2.0 * foot[0] - place[0], 2.0 * foot[1] - place[1]
