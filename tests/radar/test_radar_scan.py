"""What the expected scan must look like, whatever its figures."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
import shapely

from moonless.boat import GENERIC_SETS
from moonless.errors import InputError
from moonless.radar.artefacts import cable_echoes
from moonless.radar.environment.heights import LandDefaults
from moonless.radar.expected import expected_marks, expected_scan
from moonless.radar.mean import mean_echo
from moonless.radar.targets import KINDS, scatterers_of, target_of
from moonless.radar.types import PointTarget, RadarPose, RainCell, ScanGrid, Weather
from moonless.radar.walls import walls_of
from moonless.radar.world import World

RADOME = GENERIC_SETS["small radome"]
GRID = ScanGrid(720, 400, 5.0, 5.0)
STILL = Weather(wave_height_m=0.0, wind_speed=0.0)
HERE = RadarPose(0.0, 0.0, 0.0)


def test_the_near_shore_is_bright_and_what_is_behind_is_dark(coast: World) -> None:
    scan = expected_scan(coast, RADOME, HERE, GRID, 1.5, STILL)
    reach = GRID.first_cell_m + np.arange(GRID.n_cell) * GRID.cell_m
    ahead = scan.snr[0]
    shore = ahead[(reach > 930) & (reach < 990)].max()
    far_side = ahead[(reach > 1350) & (reach < 1440)].max()
    behind = ahead[reach > 1550].max()
    assert shore > 1e4 and shore > 30.0 * far_side and behind < 0.05 * shore
    # Hidden behind: about the island's height and more; open to the south.
    assert scan.shadow_height_m[0, -1] > 9.0
    assert scan.shadow_height_m[360, -1] == 0.0
    assert scan.p_detect[0, np.argmax(ahead)] > 0.99


def test_turning_the_boat_turns_the_picture(coast: World) -> None:
    north = expected_scan(coast, RADOME, HERE, GRID, 1.5, Weather(1.0, 0.7, 6.0))
    turned = expected_scan(coast, RADOME, RadarPose(0.0, 0.0, math.tau * 180 / 720), GRID, 1.5, Weather(1.0, 0.7, 6.0))
    for name in ("snr", "p_detect", "shadow_height_m", "clutter_to_noise"):
        a, b = getattr(north, name), np.roll(getattr(turned, name), 180, axis=0)
        # A spoke on the very edge of land may fall to either side of it.
        assert np.mean(np.isclose(a, b, rtol=0.02, atol=0.02)) > 0.99, name


def test_moving_the_world_and_the_boat_together_changes_nothing() -> None:
    plain = LandDefaults(rough_m=0.0)
    land = shapely.box(300.0, 400.0, 600.0, 700.0)
    here = World.of_land(land, radius_m=3000.0, defaults=plain)
    there = World.of_land(shapely.affinity.translate(land, 80.0, -160.0), radius_m=3000.0, defaults=plain)
    a = expected_scan(here, RADOME, HERE, GRID, 1.5, STILL).snr
    b = expected_scan(there, RADOME, RadarPose(80.0, -160.0, 0.0), GRID, 1.5, STILL).snr
    assert np.mean(np.isclose(a, b, rtol=0.05, atol=0.05)) > 0.99


def test_a_mark_widens_with_range_by_the_beam(open_water: World) -> None:
    widths = []
    for range_m in (400.0, 1600.0):
        target = PointTarget("buoy", 0.0, range_m, 10.0, 3.0, 1)
        snr = expected_scan(open_water, RADOME, HERE, GRID, 1.5, Weather(0.4), (target,)).snr
        j = round((range_m - GRID.first_cell_m) / GRID.cell_m)
        column = snr[:, j]
        # Across the mark, metres between the points a quarter as strong: the beam's half-power width.
        widths.append(np.count_nonzero(column > 0.25 * column.max()) * range_m * math.tau / 720)
    assert widths[0] == pytest.approx(400.0 * RADOME.beam_horizontal_rad, rel=0.15)
    assert widths[1] == pytest.approx(4.0 * widths[0], rel=0.15)


def test_tall_things_show_over_low_land_that_hides_small_ones(coast: World) -> None:
    low = PointTarget("skiff", 1300.0, -300.0, 5.0, 1.0)
    tall = PointTarget("mast", 1300.0, -300.0, 5.0, 60.0)
    free = PointTarget("skiff", -1300.0, -300.0, 5.0, 1.0)
    found = expected_marks(coast, RADOME, HERE, 1.5, (low, tall, free), STILL)
    assert found[0].hidden_by_land and not found[1].hidden_by_land and not found[2].hidden_by_land
    assert found[0].p_detect < 0.1 < found[2].p_detect
    assert found[1].p_detect > 0.9
    assert [f.index for f in found] == [0, 1, 2]
    assert found[0].range_m == pytest.approx(math.hypot(1300.0, 300.0))
    assert found[0].azimuth_rel_rad == pytest.approx(math.atan2(1300.0, -300.0))


def test_nothing_in_the_blind_sector_or_below_the_shortest_range(coast: World) -> None:
    radar = replace(RADOME, blind_sectors_rad=((math.radians(350.0), math.radians(10.0)),), min_range_m=40.0)
    scan = expected_scan(coast, radar, HERE, GRID, 1.5, Weather(1.5))
    assert np.all(scan.snr[:20] == 0.0) and np.all(scan.p_detect[-19:] == 0.0)
    assert np.all(scan.snr[:, :7] == 0.0) and scan.snr[100, 8] > 0.0
    hidden = expected_marks(coast, radar, HERE, 1.5, (PointTarget("buoy", 0.0, 500.0, 10.0, 3.0),), STILL)
    assert hidden[0].snr == 0.0 and hidden[0].p_detect == 0.0


def test_the_sea_is_strongest_upwind_and_near(open_water: World) -> None:
    scan = expected_scan(open_water, RADOME, HERE, GRID, 0.75, Weather(1.9, 0.0, 9.0))
    upwind, downwind = scan.clutter_to_noise[0], scan.clutter_to_noise[360]
    assert np.all(upwind[10:200] > 3.0 * downwind[10:200])
    assert upwind[40] > 10.0 * upwind[200] > 0.0
    # More sea, less seen in it: a small float at 300 m.
    float_ = PointTarget("float", 300.0, 0.0, 0.1, 0.5)
    calm = expected_marks(open_water, RADOME, HERE, 0.75, (float_,), Weather(0.05))[0].p_detect
    rough = expected_marks(open_water, RADOME, HERE, 0.75, (float_,), Weather(1.9))[0].p_detect
    assert calm > rough


def test_rain_shows_and_takes(open_water: World) -> None:
    shower = Weather(0.0, 0.0, 0.0, 0.0, (RainCell(0.0, 1000.0, 400.0, 40.0),))
    wet = expected_scan(open_water, RADOME, HERE, GRID, 1.5, shower)
    j = round((1000.0 - 5.0) / 5.0)
    assert wet.clutter_to_noise[0, j] > 3.0 and wet.clutter_to_noise[360, j] < 1e-3
    assert wet.loss[0, -1] > wet.loss[360, -1] >= 1.0
    dry = expected_scan(open_water, RADOME, HERE, GRID, 1.5, STILL)
    assert dry.loss.shape == dry.snr.shape and dry.loss[0, -1] == pytest.approx(1.0, abs=0.02)


def test_a_bridge_is_a_bar_one_sees_beneath() -> None:
    from moonless.chart.types import Bridge

    deck = shapely.box(-800.0, 500.0, 800.0, 512.0)
    bridge = Bridge("span", "made", "1", deck, 8.0, None, False, {})
    world = replace(World.of_land(shapely.MultiPolygon(), radius_m=3000.0), walls=walls_of((), (bridge,), 4.0))
    scan = expected_scan(world, RADOME, HERE, GRID, 0.75, STILL)
    for degrees in (-40, -20, 0, 20, 40):
        row = scan.snr[round(degrees * 2) % 720]
        at = GRID.first_cell_m + int(np.argmax(row)) * GRID.cell_m
        # A straight bar: farther off to the side.
        assert at * math.cos(math.radians(degrees)) == pytest.approx(506.0, abs=12.0)
    assert np.all(scan.shadow_height_m[0] == 0.0)


def test_a_hull_casts_its_shadow_and_shows_its_side(open_water: World) -> None:
    ship = PointTarget("ship", 0.0, 600.0, 3000.0, 20.0, 1, length_m=120.0, beam_m=18.0, heading_rad=math.pi / 2,
                       casts_shadow=True)  # fmt: skip
    scan = expected_scan(open_water, RADOME, HERE, GRID, 0.75, STILL, (ship,))
    assert scan.shadow_height_m[0, 300] > 8.0 and scan.shadow_height_m[100, 300] == 0.0
    points = [p for _, p in scatterers_of((ship,), 0.0, 0.0)]
    assert len(points) == 5 and np.ptp([p.east_m for p in points]) > 100.0
    end_on = [p for _, p in scatterers_of((replace(ship, heading_rad=0.0),), 0.0, 0.0)]
    assert sum(p.rcs_m2 for p in points) == pytest.approx(4.0 * sum(p.rcs_m2 for p in end_on))


def test_a_power_cable_shows_one_point_at_right_angles(open_water: World) -> None:
    wire = np.array([[-500.0, 300.0], [500.0, 700.0]])
    world = replace(open_water, cables=(wire,))
    mean = mean_echo(world, RADOME, HERE, GRID, 0.75, STILL)
    spoke, cell, snr = cable_echoes(world, mean, HERE)
    along = wire[1] - wire[0]
    foot = wire[0] + (np.dot(-wire[0], along) / np.dot(along, along)) * along
    assert len(spoke) == 1 and snr[0] > 100.0
    assert cell[0] * GRID.cell_m + GRID.first_cell_m == pytest.approx(math.hypot(*foot))
    assert spoke[0] * math.tau / 720 == pytest.approx(math.atan2(foot[0], foot[1]) % math.tau)


def test_quiet_where_there_is_nothing(open_water: World) -> None:
    scan = expected_scan(open_water, RADOME, HERE, GRID, 0.75, STILL)
    assert np.all(scan.snr == 0.0)
    assert np.all(scan.p_detect[:, 10:] == pytest.approx(1e-4, rel=0.01))


def test_bad_questions_are_refused(open_water: World) -> None:
    with pytest.raises(InputError, match="cannot be made"):
        expected_scan(open_water, RADOME, HERE, ScanGrid(2, 400, 5.0, 5.0), 1.5)
    with pytest.raises(InputError, match="must be known"):
        expected_scan(open_water, RADOME, RadarPose(0.0, 0.0, math.nan), GRID, 1.5)
    with pytest.raises(InputError, match="not a kind"):
        target_of("submarine", "x", 0.0, 0.0)


def test_every_kind_says_where_its_figures_come_from() -> None:
    for name, kind in KINDS.items():
        assert kind.rcs_m2 > 0.0 and kind.height_m > 0.0 and len(kind.source) > 10, name


def test_an_antenna_charted_on_land_still_sees(coast: World) -> None:
    scan = expected_scan(coast, RADOME, RadarPose(0.0, 1200.0, 0.0), GRID, 1.5, STILL)
    assert np.isfinite(scan.snr).all()


@pytest.mark.data
def test_the_real_harbour(harbour) -> None:
    world = World.from_chart(harbour)
    east, north = (float(v) for v in harbour.frame.to_plane(42.3527, -71.0350))
    grid = ScanGrid(512, 256, 10.0, 10.0)
    scan = expected_scan(world, RADOME, RadarPose(east, north, 0.0), grid, 1.5)
    assert np.isfinite(scan.snr).all() and np.isfinite(scan.p_detect).all()
    seen = expected_marks(world, RADOME, RadarPose(east, north, 0.0), 1.5, world.marks)
    assert len(seen) == len(world.marks) == len(world.mark_targets)
    near = [s for s in seen if s.range_m < 1500.0]
    assert any(s.hidden_by_land for s in near) and any(s.p_detect > 0.8 for s in near)
    # Where the charted land begins, looking out, something bright stands.
    ray = shapely.LineString([(east, north), (east + 2500.0, north)])
    first = shapely.distance(shapely.Point(east, north), shapely.intersection(world.land, ray))
    j = round((first - 10.0) / 10.0)
    assert scan.snr[128, max(j - 3, 0) : j + 4].max() > 1e3


@pytest.mark.parametrize("places", [((0.0, 1500.0), (0.0, 1540.0)), ((-26.2, 1200.0), (26.2, 1200.0))])
def test_two_points_the_standard_wants_apart_are_two(open_water: World, places) -> None:
    # MSC.192(79) 5.5: 40 m apart on one bearing, or 2.5 degrees apart at one range, on the 1.5 NM scale or less.
    radar = replace(GENERIC_SETS["open array"], height_m=15.0)
    grid = ScanGrid(2048, 600, 4.0, 4.0)
    two = [PointTarget("p", e, n, 5.0, 3.5, 0) for e, n in places]
    snr = expected_scan(open_water, radar, HERE, grid, 1.5, Weather(0.5), two).snr
    spots = [
        (round(math.atan2(e, n) / math.tau * 2048) % 2048, round((math.hypot(e, n) - 4.0) / 4.0)) for e, n in places
    ]
    between_e, between_n = np.mean(places, axis=0)
    i = round(math.atan2(between_e, between_n) / math.tau * 2048) % 2048
    j = round((math.hypot(between_e, between_n) - 4.0) / 4.0)
    assert snr[i, j] < 0.3 * min(snr[s] for s in spots)


def test_heights_of_the_chart_count() -> None:
    from moonless.chart.types import Feature
    from moonless.radar.environment.heights import height_raster

    land = shapely.box(0.0, -1000.0, 2000.0, 1000.0)
    hill = Feature("LNDELV", "made", "1", shapely.Point(600.0, 0.0), {"ELEVAT": 60.0}, 10_000)
    town = Feature("BUAARE", "made", "2", shapely.box(0.0, 500.0, 2000.0, 1000.0), {}, 10_000)
    raster = height_raster(land, (hill, town), 0.0, 0.0, 2500.0, LandDefaults(rough_m=0.0), 0)

    def at(east: float, north: float) -> float:
        i = round((north - raster.south_m) / raster.step_m)
        return float(raster.height_m[i, round((east - raster.west_m) / raster.step_m)])

    assert at(600.0, 0.0) == pytest.approx(60.0 + 0.5 * 9.0, abs=3.0)
    assert at(1900.0, -900.0) == pytest.approx(9.0, abs=1.5)
    assert at(1900.0, 900.0) == pytest.approx(14.0, abs=1.5)
    # A bank at the water, then a slope.
    assert at(8.0, -900.0) < 5.0


# A library beneath rasterio announces a change of its own operators.
@pytest.mark.filterwarnings("ignore:Use `@` matmul:PendingDeprecationWarning")
def test_heights_from_a_raster(tmp_path) -> None:
    rasterio = pytest.importorskip("rasterio", reason="rasterio is not installed: no heights from rasters")
    from moonless.errors import SourceError
    from moonless.frames import LocalFrame
    from moonless.radar.environment.heights import raster_shape, read_ground

    path = tmp_path / "ground.tif"
    # 25 m for the northern half, -9999 (none) for the southern.
    band = np.full((40, 40), 25.0, dtype=np.float32)
    band[20:] = -9999.0
    with rasterio.open(
        path, "w", driver="GTiff", height=40, width=40, count=1, dtype="float32", crs="EPSG:4326", nodata=-9999.0,
        transform=rasterio.transform.from_origin(-0.02, 0.02, 0.001, 0.001),
    ) as out:  # fmt: skip
        out.write(band, 1)
    ground = read_ground(path, LocalFrame(0.0, 0.0), 0.0, 0.0, 1500.0)
    n, step = raster_shape(1500.0)
    assert ground.shape == (n, n)
    middle = n // 2
    assert ground[middle + round(500 / step), middle] == 25.0
    assert np.isnan(ground[middle - round(500 / step), middle])
    with pytest.raises(SourceError, match="cannot be read as a raster"):
        read_ground(tmp_path / "absent.tif", LocalFrame(0.0, 0.0), 0.0, 0.0, 1500.0)


def test_a_bridge_mirrors_what_stands_before_it() -> None:
    from moonless.chart.types import Bridge
    from moonless.radar.artefacts import bridge_images
    from moonless.radar.points import point_echoes

    # A long face along east, 500 m north of us; a ship on our side of it, another beyond.
    bridge = Bridge("span", "made", "1", shapely.box(-400.0, 500.0, 400.0, 512.0), 8.0, None, False, {})
    world = replace(World.of_land(shapely.MultiPolygon(), radius_m=3000.0), walls=walls_of((), (bridge,), 4.0))
    mean = mean_echo(world, RADOME, HERE, GRID, 0.75, STILL)
    ships = (PointTarget("near", 300.0, 200.0, 5000.0, 10.0), PointTarget("beyond", 300.0, 900.0, 5000.0, 10.0))
    echoes = point_echoes(ships, mean.link, mean.path, HERE, GRID, mean.shadow_m, mean.water)
    spoke, cell, snr = bridge_images(world, mean, echoes, HERE, -20.0)
    # Mirrored in the line north = 500: from (300, 200) to (300, 800); in the far face, 512, to (300, 824).
    places = {(round(r * math.sin(a)), round(r * math.cos(a))) for a, r in
              zip(spoke * math.tau / 720, cell * 5.0 + 5.0, strict=True)}  # fmt: skip
    assert places == {(300, 800), (300, 824)}
    assert np.all(snr < echoes.snr[0] * 0.01)
