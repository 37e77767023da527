"""The wild drawer against closed forms: the beam, the range of a point, the pulse, shadows, ghosts, the receiver."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
import shapely

from moonless.constants import SPEED_OF_LIGHT_MPS
from moonless.scene.wild import ghosts, polar
from moonless.scene.wild.ground import slopes, wall_mirror
from moonless.scene.wild.polar import PolarPoints, RadarView
from moonless.scene.wild.receiver import counts, level, power_of_level, stc
from moonless.scene.wild.types import WAVELENGTH_M, Antenna, Ghosts, Receiver

N, CELLS, CELL_M = 1440, 300, 5.0


def _antenna(**changes: Any) -> Antenna:
    known: dict[str, Any] = {
        "beam_rad": math.radians(3.0), "lobe_near_db": -24.0, "lobe_far_db": -30.0, "pulse_m": 30.0,
        "range_m": CELLS * CELL_M, "n_spoke": N, "n_cell": CELLS, "turn_s": 2.5, "height_m": 5.0, "gain_db": 20.0,
        "looks": 1, "prf_hz": 1_500.0,
    }  # fmt: skip
    return Antenna(**{**known, **changes})


def _view(speed: float = 0.0, heading: float = 0.0, turn_rate: float = 0.0) -> RadarView:
    share = np.arange(N) / N
    time_s = share * 2.5
    head = heading + turn_rate * time_s
    return polar.look(
        time_s, 2.0 * math.pi * share, speed * time_s * math.sin(heading), speed * time_s * math.cos(heading), head,
        np.arange(1.0, CELLS + 0.5) * CELL_M,
    )  # fmt: skip


def _drawn(view: RadarView, antenna: Antenna, east: float, north: float, power: float = 1e3) -> np.ndarray:
    field = np.zeros(view.shape, dtype=np.complex64)
    one = np.array([1.0])
    points = PolarPoints(one * east, one * north, one * 0.0, one * 0.0, one * power, one * 0.3, one * 1e3)
    polar.add_points(field, view, antenna, points, np.full(view.shape, -1e3, dtype=np.float32))
    return np.square(np.abs(field))


@pytest.mark.parametrize(("bearing_deg", "range_m"), [(10.0, 400.0), (123.0, 777.0), (359.9, 1_200.0)])
def test_a_point_lies_at_its_range_and_bearing(bearing_deg: float, range_m: float) -> None:
    view, antenna = _view(), _antenna()
    bearing = math.radians(bearing_deg)
    power = _drawn(view, antenna, range_m * math.sin(bearing), range_m * math.cos(bearing))
    row, cell = np.unravel_index(int(np.argmax(power)), power.shape)
    off = (view.bearing_rad[row] - bearing + math.pi) % (2.0 * math.pi) - math.pi
    assert abs(off) <= view.step_rad
    assert abs(view.range_m[cell] - range_m) <= 0.5 * CELL_M + 1e-6
    # On the axis and at the range of a cell the power is the point's own.
    assert float(power.max()) == pytest.approx(1e3, rel=0.05)


def test_the_beam_is_half_at_half_its_width() -> None:
    antenna = _antenna()
    half = 0.5 * antenna.beam_rad
    assert float(polar.beam_gain(np.array([half]), antenna, lobes=False)[0]) == pytest.approx(0.5)
    view = _view()
    power = _drawn(view, antenna, 0.0, 600.0, 1e6)
    cell = int(np.argmax(power.max(axis=0)))
    # Two way, a quarter: 3 degrees are 12 spokes here, so six spokes off the axis.
    assert power[6, cell] / power[0, cell] == pytest.approx(0.25, rel=1e-3)
    assert power[6, cell] == pytest.approx(power[-6, cell], rel=1e-3)
    # Far off the axis stands the lobe, twice.
    assert 10.0 * math.log10(power[N // 2, cell] / power[0, cell]) == pytest.approx(2.0 * -30.0, abs=0.01)


def test_the_pulse_is_half_at_half_its_width() -> None:
    antenna = _antenna()
    power = _drawn(_view(), antenna, 0.0, 600.0)
    cell = int(np.argmax(power.max(axis=0)))
    # 15 m off, three cells, of a pulse of 30 m.
    assert power[0, cell + 3] / power[0, cell] == pytest.approx(0.5, rel=1e-3)


def test_a_boat_that_runs_and_turns_sees_it_where_the_beam_crosses() -> None:
    view, antenna = _view(speed=15.0, heading=1.0, turn_rate=0.1), _antenna(beam_rad=math.radians(1.0))
    e, n = -500.0, 300.0
    power = _drawn(view, antenna, e, n)
    row, cell = np.unravel_index(int(np.argmax(power)), power.shape)
    de, dn = e - view.own_east_m[row], n - view.own_north_m[row]
    assert abs(math.hypot(de, dn) - view.range_m[cell]) <= CELL_M
    off = (math.atan2(de, dn) - view.bearing_rad[row] + math.pi) % (2.0 * math.pi) - math.pi
    assert abs(off) <= 1.2 * view.step_rad


def test_a_mover_is_where_it_is_when_crossed() -> None:
    view = _view()
    velocity = (np.array([0.0]), np.array([20.0]))
    # In the middle of the turn due west: crossed at three quarters of it, a quarter turn and 12.5 m later.
    row = int(polar.when_crossed(view, np.array([-800.0]), np.array([0.0]), velocity)[0])
    late = view.time_s[row] - view.time_s[N // 2]
    bearing = math.atan2(-800.0, 20.0 * late) % (2.0 * math.pi)
    assert abs(bearing - view.bearing_rad[row]) <= view.step_rad


def test_power_falls_by_the_fourth_power_and_by_the_mirror() -> None:
    antenna = _antenna(height_m=5.0)
    one = np.array([1.0])
    # High and near: the mean of the lobes, six, and the reference figure scaled.
    near = float(polar.echo_power(one * 10.0, one * 20.0, one * 926.0, antenna)[0])
    assert 10.0 * math.log10(near) == pytest.approx(20.0 + 40.0 * math.log10(2.0) + 10.0 * math.log10(6.0), abs=1e-6)
    # Low and far: 16 x^4, so the eighth power of range.
    far = polar.echo_power(one * 10.0, one * 0.5, np.array([4_000.0]), antenna)
    farther = polar.echo_power(one * 10.0, one * 0.5, np.array([8_000.0]), antenna)
    assert float(far[0] / farther[0]) == pytest.approx(2.0**8, rel=1e-6)
    x = 2.0 * math.pi * 5.0 * 0.5 / (WAVELENGTH_M * 4_000.0)
    assert float(polar.height_gain(one * 0.5, one * 4_000.0, 5.0)[0]) == pytest.approx(16.0 * x**4)


def test_shadows_are_those_of_lines_of_sight() -> None:
    """Against shapely: a wall of a height hides what a straight line from the antenna to it crosses below the top."""
    view, antenna_m = _view(), 5.0
    height = np.zeros(view.shape, dtype=np.float32)
    wall = shapely.Polygon([(-100.0, 295.0), (100.0, 295.0), (100.0, 305.0), (-100.0, 305.0)])
    height[shapely.contains_xy(wall, view.east_m, view.north_m)] = 8.0
    horizon = polar.highest_before(slopes(height, view, antenna_m))
    for bearing_deg, range_m, top_m in [
        (0.0, 500.0, 1.0), (0.0, 500.0, 9.0), (0.0, 500.0, 12.0), (10.0, 900.0, 3.0), (40.0, 500.0, 1.0),
        (0.0, 200.0, 1.0), (17.0, 600.0, 10.0), (19.0, 600.0, 10.0),
    ]:  # fmt: skip
        bearing = math.radians(bearing_deg)
        line = shapely.LineString([(0.0, 0.0), (range_m * math.sin(bearing), range_m * math.cos(bearing))])
        crossed = shapely.intersection(line, wall)
        is_hidden = False
        if not shapely.is_empty(crossed):
            at = float(shapely.distance(shapely.Point(0.0, 0.0), crossed))
            # Height of the straight line over the wall, the earth's fall left out: centimetres here.
            is_hidden = antenna_m + (top_m - antenna_m) * at / range_m < 8.0
        row, cell = round(bearing / view.step_rad), round(range_m / CELL_M) - 1
        slope = float(polar.slope_of(top_m, np.array([range_m]), antenna_m)[0])
        assert bool(horizon[row, cell] > slope) == is_hidden, (bearing_deg, range_m, top_m)


def test_a_hull_hides_the_sector_behind_it() -> None:
    view = _view()
    slope = np.full(view.shape, -1e3, dtype=np.float32)
    corners = np.array([[-60.0, 390.0], [60.0, 390.0], [60.0, 410.0], [-60.0, 410.0]])
    polar.add_walls_of(slope, view, [corners], [10.0], 5.0)
    horizon = polar.highest_before(slope)
    hull = shapely.Polygon(corners)
    for bearing_deg in range(-20, 21):
        bearing = math.radians(bearing_deg)
        row = round(bearing / view.step_rad) % N
        ray = shapely.LineString([(0.0, 0.0), (1_000.0 * math.sin(bearing), 1_000.0 * math.cos(bearing))])
        assert bool(horizon[row, 150] > 0.0) == shapely.intersects(ray, hull), bearing_deg


def test_wide_even_land_keeps_its_level_when_smeared() -> None:
    view, antenna = _view(), _antenna()
    out = polar.smear(np.full(view.shape, 7.0, dtype=np.float32), view, antenna)
    assert np.allclose(out, 7.0, rtol=1e-4)


# --- ghosts -----------------------------------------------------------------------------------------------------------


def _found(use: Ghosts, things: list[ghosts.Strong], **more: Any) -> list[ghosts.Ghost]:
    return ghosts.ghosts_of(
        things, use, _antenna(range_m=20_000.0), more.get("heading", 0.0), more.get("walls", []), more.get("far", [])
    )


SHIP = ghosts.Strong("ship", 300.0, 400.0, 1e6, 120.0)
BOAT = ghosts.Strong("boat", 300.0, 800.0, 1e5, 8.0)


def test_mast_ghosts_lie_on_the_masts_bearing_at_the_things_range() -> None:
    (one,) = _found(Ghosts(mast_rad=(math.pi,), mast_db=-30.0), [SHIP], heading=0.5)
    assert one.bearing_rad == pytest.approx(math.pi + 0.5) and one.range_m == pytest.approx(500.0)
    assert one.power == pytest.approx(1e3)


def test_multiples_lie_at_twice_and_three_times_the_range() -> None:
    found = _found(Ghosts(multiple_db=-20.0), [SHIP, BOAT])
    assert [g.range_m for g in found] == pytest.approx([1_000.0, 1_500.0])
    assert [g.power for g in found] == pytest.approx([1e4, 1e2])


def test_a_ship_mirrors_another_on_her_own_bearing() -> None:
    found = _found(Ghosts(hulls_db=-20.0), [SHIP, BOAT])
    (one,) = [g for g in found if g.of == "boat"]
    assert one.bearing_rad == pytest.approx(math.atan2(300.0, 400.0)) and one.range_m == pytest.approx(500.0 + 400.0)


def test_a_wall_shows_the_mirror_image_where_the_line_crosses_it() -> None:
    wall = ((-1_000.0, 600.0), (1_000.0, 600.0))
    assert wall_mirror(wall, (300.0, 400.0)) == pytest.approx((300.0, 800.0))
    (one,) = _found(Ghosts(walls_db=-10.0), [SHIP], walls=[wall])
    assert one.range_m == pytest.approx(math.hypot(300.0, 800.0))
    assert one.bearing_rad == pytest.approx(math.atan2(300.0, 800.0))
    assert _found(Ghosts(walls_db=-10.0), [SHIP], walls=[((500.0, 600.0), (1_000.0, 600.0))]) == []


def test_second_trace_lies_at_the_rest_of_the_interval() -> None:
    interval = 0.5 * SPEED_OF_LIGHT_MPS / 1_500.0
    assert ghosts.interval_m(1_500.0) == pytest.approx(interval)
    far = [ghosts.Strong("far", 0.0, interval + 3_000.0, 100.0, 150.0)]
    (one,) = _found(Ghosts(second_trace=True), [], far=far)
    assert one.range_m == pytest.approx(3_000.0) and one.bearing_rad == pytest.approx(0.0)


# --- the receiver -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("curve", ["log", "linear", "sqrt"])
@pytest.mark.parametrize("levels", [4, 16, 256])
def test_steps_and_their_powers_agree(curve: Any, levels: int) -> None:
    receiver = Receiver(curve, 0.0, 40.0, levels, levels - 1)
    for step in range(1, levels):
        least = power_of_level(step, receiver)
        assert counts(np.array([[least * 1.003]], dtype=np.float32), receiver)[0, 0] == step
        assert counts(np.array([[least * 0.995]], dtype=np.float32), receiver)[0, 0] == step - 1
    assert math.isinf(power_of_level(levels, receiver))
    # Full scale stands where it is said to, and nothing passes it.
    assert counts(np.array([[1e12]], dtype=np.float32), receiver)[0, 0] == levels - 1
    assert power_of_level(levels - 1, receiver) == pytest.approx(1e4, rel=1e-6)


def test_the_sets_threshold_sends_nothing_below_it() -> None:
    receiver = Receiver("log", 0.0, 40.0, 256, 255, threshold_db=10.0)
    assert level(np.array([9.9]), receiver)[0] == 0.0 and level(np.array([10.1]), receiver)[0] > 0.0


def test_time_varied_gain_takes_all_near_and_nothing_far() -> None:
    receiver = Receiver(stc_db=20.0, stc_reach_m=800.0)
    gain = 10.0 * np.log10(stc(np.array([20.0, 50.0, 200.0, 800.0, 2_000.0]), receiver))
    assert gain == pytest.approx([-20.0, -20.0, -10.0, 0.0, 0.0])
