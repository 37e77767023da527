"""The public door: cheap to open, complete, and each job in a few lines against figures from outside."""

from __future__ import annotations

import subprocess
import sys
from datetime import UTC, datetime

import numpy as np
import pytest

import moonless as ml
from moonless.errors import InputError, NoCoverage


def test_import_brings_in_nothing_heavy() -> None:
    code = "import sys, moonless; print(len(sys.modules), sorted(sys.modules))"
    bare = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout
    for heavy in ("numpy", "numba", "scipy", "shapely", "pyproj", "click", "moonless.api", "moonless.errors"):
        assert f"'{heavy}'" not in bare
    count = int(bare.split()[0])
    code = code.replace(", moonless", "")
    without = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout
    assert count - int(without.split()[0]) < 60


def test_every_name_is_there_and_says_what_it_is() -> None:
    assert set(ml.__all__) == {name for names in ml._WHERE.values() for name in names}
    assert set(ml.__all__) <= set(dir(ml))
    for name in ml.__all__:
        assert (getattr(ml, name).__doc__ or "").strip(), f"{name} says nothing of itself"
    with pytest.raises(AttributeError, match="no attribute 'radar_gun'"):
        _ = ml.radar_gun  # type: ignore[attr-defined]


def test_two_that_steer_for_each_other_meet_half_way() -> None:
    # Four miles apart at ten knots each: twelve minutes. A minute of latitude is 1852 m nearly (1855 at 54 north).
    own, other = ml.Mover(54.0, 7.0, 0.0, 10.0), ml.Mover(54.0 + 4 / 60, 7.0, 180.0, 10.0)
    met = ml.encounter(own, other, sight="in sight")
    assert met.tcpa_s == pytest.approx(720.0, rel=3e-3) and met.cpa_m < 1.0
    assert met.range_m == pytest.approx(4 * 1852, rel=3e-3) and met.bearing_deg == pytest.approx(0.0, abs=1e-6)
    assert [(one.rule, one.meeting, one.gives_way) for one in met.rules] == [("14", "head-on", None)]
    assert repr(met).startswith("Meeting(CPA 0 m in 7") and "Rule 14 head-on" in repr(met)


def test_from_starboard_she_is_given_way_to_and_by_radar_alone_rule_19_holds() -> None:
    own, other = ml.Mover(54.0, 7.0, 0.0, 10.0), ml.Mover(54.02, 7.034, 270.0, 10.0)
    met = ml.encounter(own, other)
    assert [(one.rule, one.gives_way) for one in met.rules] == [("15", True), ("19", None)]
    assert met.relative_bearing_deg == pytest.approx(45.0, abs=1.0)
    turned = ml.encounter(ml.Mover(54.0, 7.0, 0.0, 10.0, heading_deg=20.0), other)
    assert turned.relative_bearing_deg == pytest.approx(25.0, abs=1.0)


@pytest.mark.parametrize("wrong", [(91.0, 0.0, 0.0, 1.0), (0.0, 0.0, float("nan"), 1.0), (0.0, 0.0, 0.0, -1.0)])
def test_a_boat_that_cannot_be_is_refused(wrong: tuple[float, float, float, float]) -> None:
    with pytest.raises(InputError):
        ml.encounter(ml.Mover(0.0, 0.0, 0.0, 1.0), ml.Mover(*wrong))


def test_the_sun_sets_when_the_almanac_says() -> None:
    # Timeanddate and USNO conventions put equinox noon over Greenwich near 38.6 degrees up (90 - 51.48 + 0.1): from
    # plain geometry, the sun over the equator at the March equinox of 2031 (2031-03-20 19:41 UTC, from memory).
    sky = ml.sky_at((51.48, 0.0), ["2031-03-20T12:07Z", "2031-03-21T00:07Z"])
    assert sky.sun_altitude_deg[0] == pytest.approx(90.0 - 51.48, abs=0.3)
    assert sky.sun_altitude_deg[1] == pytest.approx(51.48 - 90.0, abs=0.3)
    assert sky.sun_bearing_deg[0] == pytest.approx(180.0, abs=0.5)
    assert sky.darkness[0] == "daylight" and "night" in sky.darkness[1]
    single = ml.sky_at((51.48, 0.0), datetime(2031, 3, 20, 12, 7, tzinfo=UTC))
    assert single.sun_altitude_deg.shape == () and "daylight" in repr(single)


def test_times_come_in_every_usual_form_and_never_without_a_zone() -> None:
    moment = datetime(2031, 3, 2, 19, 0, tzinfo=UTC)
    forms = [
        "2031-03-02T20:00+01:00",
        moment,
        np.datetime64("2031-03-02T19:00"),
        np.datetime64(moment.replace(tzinfo=None)),
    ]
    assert {str(ml.sky_at((0.0, 0.0), form).time) for form in forms} == {"2031-03-02T19:00:00.000000000"}
    assert ml.sky_at((0.0, 0.0), np.arange("2031-03-02", "2031-03-03", dtype="datetime64[h]")).light_lux.shape == (24,)
    for wrong in ("2031-03-02T19:00", "tomorrow", datetime(2031, 3, 2)):
        with pytest.raises(InputError):
            ml.sky_at((0.0, 0.0), wrong)


STATION = """[{"kind": "tide", "id": "a", "name": "Invented", "latitude": 10.0, "longitude": -30.0,
  "chart_datum": "MLLW", "datums": {"MSL": 1.0, "MLLW": 0.0},
  "harmonic_constituents": [{"name": "S2", "amplitude": 0.8, "phase": 0.0}]}]"""


def test_a_tide_of_one_constituent_is_a_cosine(tmp_path) -> None:
    # S2 has a speed of exactly 30 degrees an hour and, with a phase of 0 at Greenwich, is high at 00 and 12 UT, with no
    # node factor (Schureman 1958, table 2: the mean sun alone).
    (tmp_path / "stations.json").write_text(STATION)
    hours = np.arange("2031-03-02T00", "2031-03-03T00", dtype="datetime64[h]")
    tide = ml.tide_at(tmp_path / "stations.json", (10.0, -30.0), hours)
    assert tide.height_m == pytest.approx(1.0 + 0.8 * np.cos(np.radians(30.0 * np.arange(24))), abs=2e-3)
    assert tide.datum == "MLLW" and "Invented" in tide.how
    at_noon = [when for when, _ in tide.high if abs(when - np.datetime64("2031-03-02T12:00")) < np.timedelta64(5, "m")]
    assert len(at_noon) == 1 and tide.high[0][1] == pytest.approx(1.8, abs=2e-3)
    assert repr(ml.tide_at(tmp_path / "stations.json", (10.0, -30.0), "2031-03-02T12:00Z")) == "Tide(1.80 m above MLLW)"
    with pytest.raises(NoCoverage):
        ml.tide_at(tmp_path / "stations.json", (20.0, -30.0), hours)


def test_the_lights_of_a_small_power_vessel() -> None:
    # COLREGs Rule 23(a), and 22(c) for under 12 m: masthead 2 NM, side 1 NM, stern 2 NM.
    first = ml.lights_required("power", 9.2)[0]
    assert [(one.role, one.range_nm) for one in first.lights] == [
        ("masthead", 2.0), ("side", 1.0), ("side", 1.0), ("stern", 2.0)
    ]  # fmt: skip
    assert "white masthead" in repr(first) and len(repr(first)) < 100
    with pytest.raises(InputError):
        ml.lights_required("spaceship", 9.2)  # type: ignore[arg-type]


def test_what_is_no_run_is_one_plain_line(tmp_path) -> None:
    for make in (ml.read_scans, ml.read_run):
        with pytest.raises(InputError, match="no such file"):
            list(make(tmp_path / "absent.mcap"))
        with pytest.raises(InputError, match=r"without radar\.cat240"):
            list(make(tmp_path))
    with pytest.raises(InputError, match="there is no scene 'storm'"):
        ml.make_run("storm", tmp_path)
    assert "quiet" in ml.scenes() and ml.demo_chart().is_file()
