"""A made source of turns: an island, a point, boats and marks of no real place; nothing here is radar physics."""

from __future__ import annotations

import asyncio
import math
import tempfile
from collections.abc import AsyncIterator, Mapping
from pathlib import Path
from typing import Any

import numpy as np
import pyogrio.raw
import shapely

from moonless.boat.types import Boat
from moonless.chart.library import Chart
from moonless.clock import steady_s
from moonless.frames import LocalFrame
from moonless.helm.bodies.sheet import SourceKind
from moonless.helm.process.events import ChartReady, Event, Notice, PoseNow, SourceState
from moonless.helm.process.requests import Asked, Asker, JumpTo, Pause, SourceRequest, StartAgain
from moonless.helm.web.boat_json import boat_json
from moonless.helm.web.chart_json import chart_ready
from moonless.reading.line import Kind
from moonless.reading.types import (
    AisLabel,
    Call,
    ChartedAs,
    Echo,
    Fault,
    Missing,
    Own,
    Reading,
    Registration,
    Seeing,
    SpeedAdvice,
)
from moonless.units import kn_to_mps
from moonless.watch.types import SpokesNow, Turn

# The middle of the South Pacific, days from any land.
LAT, LON = -38.0, -128.0
START_NS = 1_930_000_000 * 10**9 + 10 * 3600 * 10**9
N_SPOKE, N_CELL, CELL_M = 720, 512, 6.0
TURN_S = 2.5
SOG_KN = 8.0
HEADING = 24.0

# name, east, north, kind, cog, sog
THINGS: tuple[tuple[int, float, float, Kind, float | None, float, str | None], ...] = (
    (3, -420.0, 700.0, "charted", None, 0.0, "Tern beacon"),
    (5, 240.0, 1150.0, "charted", None, 0.0, "Petrel beacon"),
    (7, 130.0, 520.0, "uncharted", None, 0.0, None),
    (9, 700.0, 1500.0, "vessel", 215.0, 12.0, None),
    (11, -700.0, 1350.0, "vessel", 95.0, 6.0, "MADE TENDER"),
    (13, 60.0, 1980.0, "bridge", None, 0.0, "Heron bridge"),
    (17, -900.0, 300.0, "shore", None, 0.0, None),
    (19, 420.0, -260.0, "clutter", None, 0.0, None),
    (21, -300.0, -380.0, "false", None, 0.0, None),
)
ISLAND = [(-1500.0, 200.0), (-800.0, 0.0), (-620.0, 420.0), (-760.0, 900.0), (-1300.0, 1100.0), (-1700.0, 700.0)]
POINT = [(900.0, 700.0), (1700.0, 500.0), (1900.0, 1500.0), (1250.0, 1400.0), (780.0, 980.0)]


def made_boat() -> Boat:
    """Return a 9 m launch with a small radome of round numbers."""
    from moonless.boat.types import Pulse, RadarSet

    radar = RadarSet(
        kind="small radome", frequency_hz=9.41e9, polarisation="H", peak_power_w=4000.0, gain_db=27.0,
        beam_horizontal_rad=0.07, beam_vertical_rad=0.43, side_lobe_near_db=-23.0, side_lobe_far_db=-30.0,
        noise_figure_db=6.0, losses_db=4.0, rotation_hz=0.4, pulses=(Pulse(48.0, 1e-7, 2000.0, 1e7),), height_m=4.0,
    )  # fmt: skip
    return Boat("made launch", 9.0, 3.0, 0.8, 4.5, 2.5, radar)


def made_waters(folder: Path) -> Path:
    """Write the made islands as a chart: a GeoPackage of layers named by S-57 class."""
    frame = LocalFrame(LAT, LON)

    def place(east: float, north: float) -> tuple[float, float]:
        lat, lon = frame.to_geographic(east, north)
        return float(lon), float(lat)

    def area(points: list[tuple[float, float]]) -> shapely.Polygon:
        return shapely.Polygon([place(*p) for p in points])

    sea = area([(-4e3, -4e3), (4e3, -4e3), (4e3, 6e3), (-4e3, 6e3)])
    land = [area(points) for points in (ISLAND, POINT)]
    shoal = [area([(1.3 * x + 150, 1.2 * y - 60) for x, y in points]) for points in (ISLAND, POINT)]
    soundings = [
        (
            shapely.Point(place(i * 230.0 + 40.0 * (j % 2), j * 190.0)),
            {"DEPTH": round(6.0 + 3.0 * math.sin(i * 1.7 + j), 1)},
        )
        for i in range(-8, 9)
        for j in range(-4, 14)
    ]
    standing = [(place(e, n), name) for _, e, n, kind, _, _, name in THINGS if kind == "charted"]
    beacons = [(shapely.Point(where), {"OBJNAM": name}) for where, name in standing]
    beacons.append((shapely.Point(place(520.0, 820.0)), {"OBJNAM": "Gannet beacon"}))
    bridge = shapely.LineString([place(-600.0, 1950.0), place(60.0, 1980.0), place(800.0, 2020.0)])
    light = {"COLOUR": "1", "LITCHR": 2, "SIGPER": 4.0, "VALNMR": 4.0}
    # Beside the boat's way: one of each danger, a light with sectors, a place not to enter.
    sectors = [(210.0, 250.0, "3"), (250.0, 262.0, "1"), (262.0, 300.0, "4")]
    layers: dict[str, list[tuple[Any, dict[str, Any]]]] = {
        "DSID": [(None, {"DSPM_CSCL": 12000, "DSID_EDTN": "1", "DSID_UPDN": "0", "DSID_ISDT": "20310101"})],
        "M_COVR": [(sea, {"CATCOV": 1})],
        "LNDARE": [(one, {}) for one in land],
        "DEPARE": [
            (shapely.difference(sea, shapely.union_all(shoal)), {"DRVAL1": 5.0, "DRVAL2": 10.0}),
            *((shapely.difference(s, a), {"DRVAL1": 2.0, "DRVAL2": 5.0}) for s, a in zip(shoal, land, strict=True)),
        ],
        "SOUNDG": soundings,
        "BCNLAT": beacons,
        "LIGHTS": [
            *((shape, light) for shape, _ in beacons[:-1]),
            *((beacons[-1][0], light | {"COLOUR": c, "SECTR1": a, "SECTR2": b}) for a, b, c in sectors),
        ],
        "BRIDGE": [(bridge, {"OBJNAM": "Heron bridge", "VERCLR": 7.5, "HORCLR": 30.0})],
        "SLCONS": [(shapely.LineString([place(-640.0, 380.0), place(-520.0, 360.0)]), {"CATSLC": 4})],
        "WRECKS": [(shapely.Point(place(330.0, 240.0)), {"VALSOU": 1.8, "WATLEV": 3, "CATWRK": 2})],
        "UWTROC": [(shapely.Point(place(-260.0, 160.0)), {"VALSOU": 0.6, "WATLEV": 4})],
        "OBSTRN": [(shapely.Point(place(520.0, 330.0)), {"VALSOU": 2.1, "WATLEV": 3})],
        "RESARE": [(area([(-500.0, -900.0), (-100.0, -900.0), (-100.0, -500.0), (-500.0, -500.0)]), {"RESTRN": "7"})],
        "SEAARE": [(shapely.Point(place(300.0, 60.0)), {"OBJNAM": "Made Sound"})],
    }
    path = folder / "made.gpkg"
    for name, rows in layers.items():
        fields = sorted({field for _, given in rows for field in given})
        columns = [np.array([given.get(field) for _, given in rows], dtype=object) for field in fields]
        columns = [c.astype(np.float64) if all(isinstance(v, int | float) for v in c) else c for c in columns]
        has_shapes = rows[0][0] is not None
        pyogrio.raw.write(
            path,
            geometry=shapely.to_wkb(np.array([shape for shape, _ in rows], dtype=object)) if has_shapes else None,
            field_data=columns,
            fields=np.array(fields, dtype=object),
            layer=name,
            driver="GPKG",
            geometry_type="Unknown" if has_shapes else None,
            crs="EPSG:4326" if has_shapes else None,
            append=path.exists(),
        )
    return path


def made_chart(folder: Path) -> ChartReady:
    """Return the made islands as the screens are told of a chart."""
    path = made_waters(folder)
    return chart_ready(Chart.open([path], cache_dir=folder), [path])


class MadeSource:
    """Turns at the pace of an antenna; ``fast`` gives tests a turn each call of the loop instead."""

    kind: SourceKind = "test"

    def __init__(
        self, *, period_s: float = TURN_S, turns: int | None = None, batches: int = 40, cog_deg: float = HEADING
    ):
        self.boat: Mapping[str, Any] = boat_json(made_boat())
        self.asked: list[Asked] = []
        self.faults: tuple[Fault, ...] = ()
        self._period_s = period_s
        self._turns = turns
        self._batches = batches
        self._frame = LocalFrame(LAT, LON)
        self._t = 0.0
        self._paused = False
        self._noise = np.random.default_rng(3)

    def do(self, asker: Asker, request: SourceRequest) -> None:
        """Remember what was asked; stand still and go on."""
        self.asked.append(Asked(asker, request))
        if isinstance(request, Pause):
            self._paused = request.is_on
        if isinstance(request, StartAgain):
            self._t = 0.0
        if isinstance(request, JumpTo):
            self._t = max(0.0, (request.time_ns - START_NS) / 1e9)

    def own(self) -> tuple[float, float]:
        """Return east, north now."""
        d = kn_to_mps(SOG_KN) * self._t
        return d * math.sin(math.radians(HEADING)), d * math.cos(math.radians(HEADING))

    def heading_deg(self) -> float:
        """Return a heading that yaws a little, as boats do."""
        return HEADING + 4.0 * math.sin(self._t / 3.0)

    async def events(self) -> AsyncIterator[Event]:
        """Yield notice, chart, then turns for ever (or for ``turns``)."""
        yield Notice("radar warming", 0.5)
        with tempfile.TemporaryDirectory(prefix="moonless-made-") as folder:
            yield made_chart(Path(folder))
            async for event in self._turned():
                yield event

    async def _turned(self) -> AsyncIterator[Event]:
        yield Notice("")
        yield SourceState(False, 1.0, START_NS)
        done = 0
        while self._turns is None or done < self._turns:
            for part in range(self._batches):
                await asyncio.sleep(self._period_s / self._batches)
                yield SourceState(self._paused, 1.0, START_NS + int(self._t * 1e9))
                if self._paused:
                    continue
                self._t += self._period_s / self._batches
                yield self.pose()
                yield self.batch(part)
            if not self._paused:
                done += 1
                yield self.turn()

    def pose(self) -> PoseNow:
        """Return the pose now."""
        lat, lon = self._frame.to_geographic(*self.own())
        return PoseNow(lat, lon, self.heading_deg() % 360, HEADING, SOG_KN, 0.0)

    def batch(self, part: int) -> SpokesNow:
        """Return one sector of drawn video: discs, land, noise."""
        n = N_SPOKE // self._batches
        rel = (np.arange(n) + part * n) * (2 * math.pi / N_SPOKE)
        azimuth = np.mod(rel + math.radians(self.heading_deg()), 2 * math.pi)
        east0, north0 = self.own()
        r = (np.arange(N_CELL) + 0.5) * CELL_M
        east = east0 + np.sin(azimuth)[:, None] * r
        north = north0 + np.cos(azimuth)[:, None] * r
        level = self._noise.gamma(4.0, 5.0, size=east.shape)
        for land in (ISLAND, POINT):
            level += 190.0 * (_inside(land, east, north) & (_depth_of(land, east, north, (east0, north0)) < 260.0))
        for _, te, tn, kind, cog, sog, _ in THINGS:
            if kind in ("shore",):
                continue
            if cog is not None:
                te += kn_to_mps(sog) * self._t * math.sin(math.radians(cog))
                tn += kn_to_mps(sog) * self._t * math.cos(math.radians(cog))
            spread = np.hypot(east - te, north - tn)
            level += (210.0 if kind != "clutter" else 70.0) * np.exp(-((spread / 16.0) ** 2))
        lat, lon = self._frame.to_geographic(east0, north0)
        return SpokesNow(
            azimuth_rad=azimuth, from_bow=False, echo=np.clip(level, 0, 255).astype(np.uint8), n_spoke=N_SPOKE,
            first_cell_m=CELL_M / 2, cell_m=CELL_M, lat_deg=np.full(n, lat), lon_deg=np.full(n, lon),
            time_ns=np.full(n, START_NS + int(self._t * 1e9), dtype=np.int64), received_s=steady_s(),
        )  # fmt: skip

    def turn(self) -> Turn:
        """Return the reading of this moment."""
        east0, north0 = self.own()
        lat0, lon0 = self._frame.to_geographic(east0, north0)
        heading = self.heading_deg()
        if self.faults:
            withdrawn = Reading(
                time_ns=START_NS + int(self._t * 1e9), own=Own(None, None, None, None, None), echoes=(), missing=(),
                hidden=None, seeing=(Seeing(2.5, None),), seeing_line=None, stopping_m=None,
                registration=Registration(None, None, None, None, None),
                speed=SpeedAdvice(None, "position is silent"), faults=self.faults,
                calls=(
                    Call(
                        "fault position", "fault", 4, "The position is silent. Nothing here can be laid on the chart"
                    ),
                ),
            )  # fmt: skip
            return Turn(withdrawn, None, None, (), (), None)
        echoes = tuple(self._echo(*thing, east0, north0, heading) for thing in THINGS)
        seen = [(600.0 + 180.0 * math.cos(b - 0.6) - 130.0 * math.exp(-((b - 3.6) ** 2)), b) for b in _bearings()]
        line = [(east0 + r * math.sin(b), north0 + r * math.cos(b)) for r, b in seen]
        gannet = self._frame.to_geographic(520.0, 820.0)
        reading = Reading(
            time_ns=START_NS + int(self._t * 1e9),
            own=Own(lat0, lon0, HEADING, SOG_KN, heading % 360),
            echoes=echoes,
            missing=(Missing("BCNLAT", "Gannet beacon", *gannet, 0.97, 41),),
            hidden=self._hidden(east0, north0),
            seeing=(Seeing(0.5, 400.0), Seeing(2.5, 640.0), Seeing(10.0, 1200.0)),
            seeing_line={"type": "Polygon", "coordinates": [self._ring(line)]},
            stopping_m=95.0,
            registration=Registration(0.6, 3.0, -2.0, 4.0, True),
            speed=SpeedAdvice(6.5, "a small boat shows at 0.35 mile in this sea"),
            calls=(
                Call(
                    "echo 9", "vessel", 3, "A boat on the starboard bow will pass 150 m ahead in 4 minutes, no AIS", 9
                ),
                Call(
                    "echo 7", "uncharted", 2,
                    "Something still that the chart does not know lies fine on the starboard bow, 0.3 mile", 7,
                ),
                Call(
                    "missing INV1 3", "mark missing", 1,
                    "Gannet beacon should be on the starboard bow and is not seen", None,
                ),
            ),
        )
        return Turn(reading, None, None, (), (), self._frame)

    def _echo(
        self, id: int, east: float, north: float, kind: Kind, cog: float | None, sog: float, name: str | None,
        east0: float, north0: float, heading: float,
    ) -> Echo:  # fmt: skip
        if cog is not None:
            east += kn_to_mps(sog) * self._t * math.sin(math.radians(cog))
            north += kn_to_mps(sog) * self._t * math.cos(math.radians(cog))
        lat, lon = self._frame.to_geographic(east, north)
        bearing = math.degrees(math.atan2(east - east0, north - north0)) % 360
        charted = None
        if kind in ("charted", "bridge"):
            charted = ChartedAs("BCNLAT" if kind == "charted" else "BRIDGE", name, "MADE", str(id), 4.0)
        return Echo(
            id=id, lat=lat, lon=lon, range_m=math.hypot(east - east0, north - north0), bearing_deg=bearing,
            relative_bearing_deg=(bearing - heading) % 360, cog_deg=cog, sog_kn=sog, length_m=None, kind=kind,
            confidence=0.93, p_moving=0.99 if cog is not None else 0.02, charted_as=charted,
            ais=AisLabel(999000001, name) if kind == "vessel" and name else None,
            cpa_m=150.0 if id == 9 else 700.0, tcpa_s=245.0 if id == 9 else 500.0, cpa_sigma_m=40.0,
            why="It moved 120 m over the ground in the last 20 s." if cog is not None else "It has stood still.",
        )  # fmt: skip

    def _ring(self, points: list[tuple[float, float]]) -> list[list[float]]:
        lats, lons = self._frame.to_geographic([p[0] for p in points], [p[1] for p in points])
        out = [[float(lon), float(lat)] for lat, lon in zip(lats, lons, strict=True)]
        return [*out, out[0]]

    def _hidden(self, east0: float, north0: float) -> dict[str, Any]:
        features = []
        for land in (ISLAND, POINT):
            far = [(e + 1.4 * (e - east0), n + 1.4 * (n - north0)) for e, n in land]
            bearings = [math.atan2(e - east0, n - north0) for e, n in land]
            low, high = int(np.argmin(bearings)), int(np.argmax(bearings))
            shadow = [land[low], land[high], far[high], far[low]]
            features.append({
                "type": "Feature", "properties": {"by": "land"},
                "geometry": {"type": "Polygon", "coordinates": [self._ring(shadow)]},
            })  # fmt: skip
        return {"type": "FeatureCollection", "features": features}


def _bearings() -> list[float]:
    return [i * 2 * math.pi / 120 for i in range(120)]


def _inside(polygon: list[tuple[float, float]], east: Any, north: Any) -> Any:
    inside = np.zeros(east.shape, bool)
    for (x1, y1), (x2, y2) in zip(polygon, [*polygon[1:], polygon[0]], strict=True):
        crosses = (y1 > north) != (y2 > north)
        with np.errstate(divide="ignore", invalid="ignore"):
            at = (x2 - x1) * (north - y1) / (y2 - y1) + x1
        inside ^= crosses & (east < at)
    return inside


def _depth_of(polygon: list[tuple[float, float]], east: Any, north: Any, own: tuple[float, float]) -> Any:
    near = min(math.hypot(e - own[0], n - own[1]) for e, n in polygon)
    return np.hypot(east - own[0], north - own[1]) - near


def main() -> None:
    """Serve the made source and print the address; for the browser tests and the benchmark."""
    import os
    import sys

    from moonless.helm.web.serve import serve

    # Made tiles are nobody's: a person's own are not pushed out of their cache by tests.
    folder = tempfile.TemporaryDirectory(prefix="moonless-cache-")
    os.environ["XDG_CACHE_HOME"] = folder.name
    source = MadeSource()
    if "--faulty" in sys.argv:
        source.faults = (Fault("position", "silent", START_NS),)
    serve(source, port=0, on_open=lambda address: print(address, flush=True))


if __name__ == "__main__":
    main()
