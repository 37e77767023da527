"""The model against published figures, one by one."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from moonless.boat.sets import GENERIC_SETS
from moonless.constants import NAUTICAL_MILE_M, SPEED_OF_LIGHT_MPS
from moonless.radar.artefacts import SART_SPACING_M
from moonless.radar.environment import propagation
from moonless.radar.environment.clutter import NRL_COEFFICIENTS, k_shape, nrl_sigma0_db, sea_state, wind_factor
from moonless.radar.environment.diffraction import knife_edge_db, smooth_earth_db
from moonless.radar.environment.multipath import Path, flat_sea_lobe_m, two_way_factor
from moonless.radar.environment.rain import rain_maps, reflectivity_mm6_m3, volume_reflectivity
from moonless.radar.link.budget import link_budget
from moonless.radar.link.detection import albersheim_db, p_detect, p_detect_table, required_snr
from moonless.radar.standard import ROWS, TABLE_SET, first_seen_nm
from moonless.radar.targets import (
    dihedral_rcs_m2,
    plate_rcs_m2,
    ship_rcs_m2,
    sphere_rcs_m2,
    square_trihedral_rcs_m2,
    trihedral_rcs_m2,
)
from moonless.radar.types import RadarPose, ScanGrid, Weather


def db(power: float) -> float:
    return 10.0 * math.log10(power)


# ---- detection -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("pd", "pfa", "one", "ten"),
    # Albersheim's equation as the sdr 0.0.30 library evaluates it, printed to 0.001 dB.
    [(0.5, 1e-4, 9.396, 2.157), (0.5, 1e-6, 11.232, 3.556), (0.9, 1e-4, 11.674, 3.893), (0.9, 1e-6, 13.115, 4.990)],
)
def test_albersheim(pd: float, pfa: float, one: float, ten: float) -> None:
    assert albersheim_db(pd, pfa, 1) == pytest.approx(one, abs=6e-4)
    assert albersheim_db(pd, pfa, 10) == pytest.approx(ten, abs=6e-4)
    # Its author's claim is 0.2 dB against the exact steady target.
    for n, printed in ((1, one), (10, ten)):
        assert db(required_snr(pd, float(n), 0, pfa)) == pytest.approx(printed, abs=0.3)


def test_steady_target_exactly() -> None:
    # sdr documentation, min_snr: square law, Pd 0.9, Pfa 1e-6, one pulse: 13.183490056794499 dB.
    assert db(required_snr(0.9, 1.0, 0, 1e-6)) == pytest.approx(13.183490056794499, abs=1e-6)


@pytest.mark.parametrize(
    ("case", "printed"),
    # Shnidman's equation, Pd 0.9, Pfa 1e-6, dB a pulse for N = 1, 5, 10, 20, as the sdr 0.0.30 library evaluates it.
    [
        (0, (13.122, 7.579, 5.334, 3.202)),
        (1, (21.346, 15.814, 13.581, 11.473)),
        (2, (21.346, 9.226, 6.158, 3.615)),
        (3, (17.234, 11.696, 9.457, 7.338)),
        (4, (17.234, 8.403, 5.746, 3.408)),
    ],
)
def test_swerling_cases(case: int, printed: tuple[float, ...]) -> None:
    for n, want in zip((1, 5, 10, 20), printed, strict=True):
        # Shnidman (2002) states errors within 0.5 dB of the exact value for this range.
        assert db(required_snr(0.9, float(n), case, 1e-6)) == pytest.approx(want, abs=0.5)


@pytest.mark.parametrize(
    ("pfa", "pd", "printed"),
    # Pd = Pfa^(1/(1+S)), exact for Swerling 1 and one pulse; worked out by hand calculator, not by our code.
    [(1e-6, 0.5, 12.772), (1e-6, 0.8, 17.847), (1e-6, 0.9, 21.144), (1e-4, 0.5, 10.895), (1e-4, 0.9, 19.366)],
)
def test_swerling_1_in_closed_form(pfa: float, pd: float, printed: float) -> None:
    assert db(required_snr(pd, 1.0, 1, pfa)) == pytest.approx(printed, abs=6e-4)


def test_p_detect_rises_from_the_false_alarm_rate_to_one() -> None:
    level = np.geomspace(1e-4, 1e5, 200)
    for case in range(5):
        found = p_detect(level, 12.0, case)
        assert np.all(np.diff(found) >= -1e-9)
        assert found[0] == pytest.approx(1e-4, rel=0.05) and found[-1] > 0.999
    assert math.isnan(float(p_detect(math.nan, 12.0)))


def test_the_table_says_what_the_formula_says() -> None:
    table = p_detect_table(12.0)
    level = np.geomspace(1e-3, 1e4, 500).astype(np.float32)
    found = table[level.view(np.int32) >> 20]
    # Steps of 0.4 dB: half a step off is at most 0.03 in probability on the steepest part.
    assert np.max(np.abs(found - p_detect(level, 12.0))) < 0.03


# ---- sea -----------------------------------------------------------------------------------------------------------


def test_nrl_coefficients_and_values() -> None:
    # NRL/MR/5310-12-9346 table 1 rounds V to these; H as printed.
    assert NRL_COEFFICIENTS["H"] == (-73.0, 20.781, 7.351, 25.65, 0.0054)
    assert NRL_COEFFICIENTS["V"] == pytest.approx((-50.79, 25.93, 0.7093, 21.58, 0.00211), abs=0.01)


# Nathanson, Radar Design Principles, 2nd ed. 1991, 9.3 GHz columns, as listed in NRL/MR/5310-12-9346 appendix B.
# Rows: grazing 0.1, 0.3, 1, 3, 10 degrees; columns: sea state 0..6; NaN: not measured.
_X = math.nan
NATHANSON_DEG = (0.1, 0.3, 1.0, 3.0, 10.0)
NATHANSON = {
    "H": [
        [_X, -71, -59, -53, -48, -42, _X],
        [-74, -66, -56, -46, -42, -39, -34],
        [-60, -51, -46, -40, -36, -34, -32],
        [-58, -50, -43, -39, -35, -33, -30],
        [-56, -51, -43, -37, -34, -30, -27],
    ],
    "V": [
        [_X, -65, -56, -51, -48, -44, _X],
        [_X, -58, -52, -45, -43, -39, -34],
        [-60, -50, -44, -39, -37, -33, -31],
        [-56, -45, -41, -38, -35, -33, -28],
        [-47, -42, -36, -32, -29, -25, -22],
    ],
}


@pytest.mark.parametrize(("polarisation", "printed"), [("H", 2.3), ("V", 2.2)])
def test_nrl_against_nathanson_at_9_3_ghz(polarisation: str, printed: float) -> None:
    model = np.array(
        [[float(nrl_sigma0_db(math.radians(a), 9.3e9, s, polarisation)) for s in range(7)] for a in NATHANSON_DEG]
    )
    off = np.abs(model - np.array(NATHANSON[polarisation], dtype=float))
    # Table 2 of the report gives 2.3 (H) and 2.2 dB (V) over all bands; one band may be a little better or worse.
    assert float(np.nanmean(off)) == pytest.approx(printed, abs=0.8)


def test_wind_and_spikes() -> None:
    wavelength = SPEED_OF_LIGHT_MPS / 9.41e9
    round_ = np.linspace(0.0, 2.0 * math.pi, 3601)[:-1]
    assert float(np.mean(wind_factor(round_, wavelength))) == pytest.approx(1.0, abs=1e-9)
    assert db(float(wind_factor(0.0, wavelength) / wind_factor(math.pi, wavelength))) == pytest.approx(6.8, abs=0.1)
    # Spikier at lower grazing, in a finer beam, and in H.
    assert k_shape(0.01, 1000.0, "V") < k_shape(0.05, 1000.0, "V") < k_shape(0.05, 4000.0, "V")
    assert k_shape(0.05, 1000.0, "H") < k_shape(0.05, 1000.0, "V")
    # One degree, 100 m2, V: 10^(5/8 x 2 - 1.39), by hand calculator.
    assert float(k_shape(math.radians(1.0), 100.0, "V")) == pytest.approx(0.724, abs=1e-3)
    assert sea_state(0.0) == 0.0 and sea_state(1.875) == 4.0 and sea_state(20.0) == 6.0


# ---- rain and air --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("ghz", "k_h", "a_h", "k_v", "a_v"),
    # ITU-R P.838-3 coefficients as the itur 0.4 library evaluates them, printed to these digits.
    [
        (3.05, 0.000137, 1.24807, 0.000199, 1.07495),
        (9.0, 0.007535, 1.31546, 0.006691, 1.28951),
        (9.4, 0.009254, 1.29011, 0.008360, 1.25742),
        (10.0, 0.012167, 1.25710, 0.011292, 1.21565),
    ],
)
def test_p838(ghz: float, k_h: float, a_h: float, k_v: float, a_v: float) -> None:
    assert propagation.rain_coefficients(ghz * 1e9, "H") == pytest.approx((k_h, a_h), abs=6e-6, rel=4e-4)
    assert propagation.rain_coefficients(ghz * 1e9, "V") == pytest.approx((k_v, a_v), abs=6e-6, rel=4e-4)


@pytest.mark.parametrize(("rate", "h", "v"), [(4, 0.0553, 0.0478), (16, 0.331, 0.273), (50, 1.439, 1.144)])
def test_rain_takes(rate: float, h: float, v: float) -> None:
    # The same library, dB/km at 9.4 GHz.
    assert propagation.rain_attenuation_db_per_km(rate, 9.4e9, "H") == pytest.approx(h, rel=2e-3)
    assert propagation.rain_attenuation_db_per_km(rate, 9.4e9, "V") == pytest.approx(v, rel=2e-3)


def test_rain_takes_there_and_back() -> None:
    """By the published figure of 16 mm/h at 9.4 GHz, 0.331 dB/km one way: 2 km off four kilometres are rained on."""
    radar = replace(GENERIC_SETS["open array"], frequency_hz=9.4e9, polarisation="H")
    grid = ScanGrid(64, 400, 5.0, 10.0)
    weather = Weather(0.1, 0.0, 3.0, rain_everywhere_mmh=16.0)
    _, passed = rain_maps(weather, link_budget(radar, 3.0), RadarPose(0.0, 0.0, 0.7), grid)
    reach_km = np.linspace(5.0, 5.0 + 399 * 10.0, passed.shape[1]) / 1e3
    np.testing.assert_allclose(10.0 * np.log10(passed[0]), -2.0 * 0.331 * reach_km, rtol=5e-3, atol=0.01)


def test_rain_returns() -> None:
    # KNMI: Z = 200 R^1.6; 23 dBZ at 1 mm/h, 39 dBZ at 10 mm/h.
    assert db(reflectivity_mm6_m3(1.0)) == pytest.approx(23.0, abs=0.05)
    assert db(reflectivity_mm6_m3(10.0)) == pytest.approx(39.0, abs=0.05)
    # bioRad documentation (zenodo 3820252): 10 000 cm2/km3 is 13.73165 dBZ at 5 cm and 25.77285 dBZ at 10 cm.
    for wavelength, dbz in ((0.05, 13.73165), (0.10, 25.77285)):
        rate = (10.0 ** (dbz / 10.0) / 200.0) ** (1.0 / 1.6)
        # 10 000 cm2/km3 is 1e-9 m2/m3.  There 0.93 is |K|; in Richards, and here, it is |K|^2.
        assert volume_reflectivity(rate, wavelength) / 0.93 * 0.93**2 == pytest.approx(1e-9, rel=1e-5)


# ---- geometry and field --------------------------------------------------------------------------------------------


def test_radar_horizon() -> None:
    # Pub. 9 (Bowditch): 1.22 sqrt(feet) nautical miles; its table at 9, 36 and 100 ft.  The factor has three figures.
    for feet, printed in ((9, 3.66), (36, 7.32), (100, 12.20)):
        got = float(propagation.horizon_m(feet * 0.3048)) / NAUTICAL_MILE_M
        assert got == pytest.approx(printed, rel=0.01)


def test_four_thirds_geometry() -> None:
    # MathWorks, height2range and height2grndrange: 1 000 m up, antenna 10 m, elevation 2 degrees, effective radius
    # 8.4774e6 m: slant 2.7125e4 m, ground 2.7106e4 m, printed to five figures.
    slant = propagation.slant_range_m(10.0, 1000.0, math.radians(2.0), 8.4774e6)
    assert slant == pytest.approx(2.7125e4, abs=0.6)
    assert propagation.ground_range_m(slant, 10.0, 1000.0, 8.4774e6) == pytest.approx(2.7106e4, abs=0.6)


def test_grazing_is_nothing_at_the_horizon() -> None:
    edge = float(propagation.horizon_m(4.0))
    assert float(propagation.grazing_rad(4.0, edge * 1.001)) == 0.0
    assert float(propagation.grazing_rad(4.0, edge * 0.9)) > 0.0
    assert float(propagation.grazing_rad(4.0, 100.0)) == pytest.approx(0.04, rel=1e-3)


@pytest.mark.parametrize(("v", "loss"), [(0, 6.03), (0.5, 10.29), (1, 13.93), (2, 19.04), (3, 22.42), (5, 26.81)])
def test_knife_edge(v: float, loss: float) -> None:
    # ITU-R P.526, J(v) = 6.9 + 20 log10(sqrt((v - 0.1)^2 + 1) + v - 0.1), by hand calculator.
    assert knife_edge_db(v) == pytest.approx(loss, abs=6e-3)
    assert knife_edge_db(-0.78) == 0.0


def test_knife_edge_is_near_the_fresnel_integral() -> None:
    # The exact half-plane: loss = -20 log10 |(1 + i)/2 * integral from v|.  P.526 calls J(v) an approximation.
    from scipy.special import fresnel

    for v in (0.0, 0.7, 1.5, 3.0, 6.0):
        s, c = fresnel(v)
        exact = -20.0 * math.log10(math.hypot(0.5 - c, 0.5 - s) / math.sqrt(2.0))
        assert knife_edge_db(v) == pytest.approx(exact, abs=0.3)


@pytest.mark.parametrize(
    ("antenna", "target", "null_nm", "peak_nm"),
    # Textbook: last null 2 h h'/lambda, last peak twice that, at 9.4 GHz.
    [(3, 3, 0.305, 0.609), (4, 2, 0.271, 0.542), (15, 3.5, 1.778, 3.555), (15, 10, 5.079, 10.158)],
)
def test_flat_sea_lobes(antenna: float, target: float, null_nm: float, peak_nm: float) -> None:
    wavelength = SPEED_OF_LIGHT_MPS / 9.4e9
    null, peak = flat_sea_lobe_m(antenna, target, wavelength)
    assert null / NAUTICAL_MILE_M == pytest.approx(null_nm, abs=6e-4)
    assert peak / NAUTICAL_MILE_M == pytest.approx(peak_nm, abs=6e-4)
    if antenna < 10:
        # Near enough for the earth to be flat, the model's own lobes stand there, two-way up to 16 (12 dB).
        path = Path(antenna, wavelength, "H", 0.0)
        ranges = np.linspace(0.6 * null, 1.6 * peak, 4000)
        field = two_way_factor(path, ranges, np.full(ranges.shape, float(target)))
        inner = ranges < 0.75 * peak
        assert ranges[inner][np.argmin(field[inner])] == pytest.approx(null, rel=0.02)
        assert ranges[~inner][np.argmax(field[~inner])] == pytest.approx(peak, rel=0.05)
        assert 12.0 < field.max() <= 16.0


def test_far_beyond_the_lobes_power_falls_with_the_eighth_power() -> None:
    # Textbook: F^4 / R^4 falls as R^-8 there; near enough the earth hardly shows.
    path = Path(4.0, 0.0319, "H", 0.0)
    field = two_way_factor(path, np.array([1000.0, 1300.0]), np.array([0.5, 0.5])) / np.array([1000.0, 1300.0]) ** 4
    assert math.log(field[0] / field[1]) / math.log(1300 / 1000) == pytest.approx(8.0, abs=0.3)


def test_a_rough_sea_levels_the_lobes() -> None:
    ranges = np.linspace(300.0, 2000.0, 600)
    calm = two_way_factor(Path(4.0, 0.0319, "H", 0.0), ranges, np.full(600, 3.0))
    rough = two_way_factor(Path(4.0, 0.0319, "H", 0.5), ranges, np.full(600, 3.0))
    assert np.ptp(np.log10(rough)) < 0.5 * np.ptp(np.log10(np.maximum(calm, 1e-6)))


def test_the_field_has_no_step_at_the_horizon() -> None:
    # From beyond the last null, whose flank is steep, to far past the horizon.
    ranges = np.linspace(12_000.0, 40_000.0, 3000)
    field = 10 * np.log10(two_way_factor(Path(15.0, 0.0319, "H", 0.0), ranges, np.full(3000, 10.0)))
    assert np.max(np.abs(np.diff(field))) < 0.5
    assert smooth_earth_db(40_000.0, 15.0, 10.0, 0.0319) > smooth_earth_db(30_000.0, 15.0, 10.0, 0.0319) > 15.0


# ---- cross-sections ------------------------------------------------------------------------------------------------


def test_reflector_formulas() -> None:
    # ESA STEP forum, thread 14333: trihedral of 2.5 m at 5.405 GHz 47.26 dB, dihedral 1.5 x 1.5 m 46.17 dB.
    wavelength = SPEED_OF_LIGHT_MPS / 5.405e9
    assert db(trihedral_rcs_m2(2.5, wavelength)) == pytest.approx(47.26, abs=6e-3)
    assert db(dihedral_rcs_m2(1.5, 1.5, wavelength)) == pytest.approx(46.17, abs=6e-3)
    # By hand calculator from the same formula at 9.4 GHz: 0.41, 2.08, 6.6, 33, 257 m2.
    wavelength = SPEED_OF_LIGHT_MPS / 9.4e9
    for edge, printed, unit in ((0.10, 0.41, 0.01), (0.15, 2.08, 0.01), (0.20, 6.6, 0.1), (0.30, 33, 1), (0.5, 257, 1)):
        assert trihedral_rcs_m2(edge, wavelength) == pytest.approx(printed, abs=0.51 * unit)
    assert square_trihedral_rcs_m2(0.2, wavelength) == pytest.approx(9.0 * trihedral_rcs_m2(0.2, wavelength))
    assert sphere_rcs_m2(1.0) == pytest.approx(3.14159, abs=1e-5)
    assert plate_rcs_m2(1.0, 0.1) == pytest.approx(1256.637, abs=1e-3)
    assert ship_rcs_m2(10.0, 9.4e9) == pytest.approx(2.5)
    assert ship_rcs_m2(100.0, 9.4e9) > 10_000.0


def test_sart_dots() -> None:
    # SN/Circ.197: twelve dots 0.64 NM apart.
    assert pytest.approx(0.64, abs=0.005) == SART_SPACING_M / NAUTICAL_MILE_M


# ---- the standard's detection table --------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def table() -> dict[str, float]:
    return {row.says: first_seen_nm(row) for row in ROWS}


def test_msc_192_table_2(table: dict[str, float]) -> None:
    # MSC.192(79) table 2, X band: antenna 15 m, 8 of 10 scans, false alarms 1e-4, no clutter.
    for row in ROWS:
        ratio = table[row.says] / row.range_nm
        if row.kind is None:
            assert 1.0 <= ratio <= 1.5, (row.says, ratio)
        else:
            assert 0.95 <= ratio <= 1.2, (row.says, ratio)
    vessels = [table[row.says] / row.range_nm for row in ROWS if row.kind is not None]
    # Pinned, not checked: 7 dB of losses instead of the ten make 1.16 of it, 13 dB 1.03.
    assert math.exp(np.mean(np.log(vessels))) == pytest.approx(1.09, abs=0.03)


def test_a_shipped_set_does_what_the_standard_asks() -> None:
    """The open array as the boat file has it, losses and all, 15 m up: MSC.192(79) table 2 asks no less than this.

    A table of least ranges is no measurement; a set that passed it by half as much again would be none we know.
    """
    radar = replace(GENERIC_SETS["open array"], height_m=15.0)
    for row in ROWS:
        if row.kind is not None:
            assert 1.0 <= first_seen_nm(row, radar) / row.range_nm <= 1.25, row.says


@pytest.mark.parametrize(
    ("name", "ratio"),
    # Pinned, not checked: the geometric mean over the six vessels and buoys, each set 15 m up with its own losses.
    # Three decibels more or less move it by 0.06 to 0.07.
    [("small radome", 0.958), ("larger radome", 1.011), ("open array", 1.156), ("solid state", 0.976)],
)
def test_shipped_sets_stand_where_they_stood(name: str, ratio: float) -> None:
    radar = replace(GENERIC_SETS[name], height_m=15.0)
    ratios = [first_seen_nm(row, radar) / row.range_nm for row in ROWS if row.kind is not None]
    assert math.exp(np.mean(np.log(ratios))) == pytest.approx(ratio, abs=0.03)


def test_msc_192_rank_order(table: dict[str, float]) -> None:
    vessels = [row for row in ROWS if row.kind is not None]
    ranges = [table[row.says] for row in vessels]
    assert ranges == sorted(ranges, reverse=True)
    assert len(set(ranges)) == len(ranges)


def test_msc_192_shortest_range() -> None:
    # MSC.192(79) 5.4.1: the buoy of table 2 seen from 40 m to 1 NM with nothing touched; antenna 15 m, calm.
    import shapely

    from moonless.radar.expected import expected_marks
    from moonless.radar.targets import target_of
    from moonless.radar.types import RadarPose, Weather
    from moonless.radar.world import World

    world = World.of_land(shapely.MultiPolygon(), radius_m=2000.0)
    ranges = np.geomspace(40.0, NAUTICAL_MILE_M, 60)
    buoys = [target_of("navigation buoy", "buoy", 0.0, float(r), height_m=3.5) for r in ranges]
    found = expected_marks(
        world, TABLE_SET, RadarPose(0.0, 0.0, 0.0), 1.5, buoys, Weather(wave_height_m=0.0, wind_speed=0.0)
    )
    assert min(one.p_detect for one in found) >= 0.8


def test_the_manual_prints_the_table(table: dict[str, float]) -> None:
    from pathlib import Path as File

    manual = (File(__file__).parents[2] / "docs" / "radar-model.md").read_text(encoding="utf-8")
    for row in ROWS:
        line = next(line for line in manual.splitlines() if line.startswith(f"| {row.says} |"))
        printed = float(line.split("|")[5])
        assert printed == pytest.approx(table[row.says], abs=0.03), row.says
