"""The boat file: strict reading, errors that name the key, and a manual that cannot drift from the code."""

from __future__ import annotations

import dataclasses
import math
from pathlib import Path

import pytest

from moonless.boat import GENERIC_SETS, Boat, RadarSet, Skipper, default_boat, read_boat
from moonless.boat.keys import KEYS, keys_as_markdown, keys_of, sets_as_markdown
from moonless.errors import TableError

MANUAL = Path(__file__).parents[2] / "docs" / "boat-file.md"
LEAST = '[boat]\nname = "Plover"\nlength_m = 9\nbeam_m = 3\ndraught_m = 0.9\nair_draught_m = 4\n'


@pytest.fixture
def write(tmp_path: Path):
    def _write(text: str) -> Path:
        path = tmp_path / "boat.toml"
        path.write_text(text, encoding="utf-8")
        return path

    return _write


def test_the_least_file_reads_and_starts_from_the_small_radome(write) -> None:
    boat = read_boat(write(LEAST))
    assert (boat.name, boat.length_m, boat.eye_height_m) == ("Plover", 9.0, 2.5)
    assert boat.radar == GENERIC_SETS["small radome"]
    assert boat.skipper == Skipper()


def test_units_are_turned_into_si_and_radians(write) -> None:
    boat = read_boat(
        write(
            LEAST
            + """
        heading_offset_deg = -2
        [[boat.stopping]]
        speed_kn = 20
        distance_m = 90
        [[boat.stopping]]
        speed_kn = 10
        distance_m = 35
        [[boat.fuel]]
        speed_kn = 8
        litres_per_hour = 6.5
        [radar]
        set = "open array"
        rotation_rpm = 48
        blind_sectors_deg = [[170, 190]]
        [[radar.pulse]]
        up_to_nm = 24
        length_ns = 100
        prf_hz = 2000
        bandwidth_mhz = 12
        [skipper]
        night_limit_kn = 15
        [[light]]
        role = "masthead"
        """
        )
    )
    assert boat.heading_offset_rad == pytest.approx(math.radians(-2.0))
    assert [t.distance_m for t in boat.stopping] == [35.0, 90.0]
    assert boat.stopping[0].speed == pytest.approx(10 * 1852 / 3600)
    assert boat.fuel_lph_at_kn == ((8.0, 6.5),)
    assert boat.radar.kind == "open array" and boat.radar.rotation_hz == pytest.approx(0.8)
    assert boat.radar.blind_sectors_rad == ((pytest.approx(math.radians(170)), pytest.approx(math.radians(190))),)
    assert len(boat.radar.pulses) == 1 and boat.radar.pulses[0].length_s == pytest.approx(1e-7)
    assert boat.skipper.night_limit == pytest.approx(15 * 1852 / 3600)
    assert boat.fitted_lights == ({"role": "masthead"},)


@pytest.mark.parametrize(
    ("text", "key", "phrase"),
    [
        (LEAST.replace("length_m", "lenght_m"), "boat.lenght_m", 'did you mean "length_m"'),
        (LEAST.replace("length_m = 9", "length_m = -9"), "boat.length_m", "-9 is out of range, allowed is 2 to 60"),
        (LEAST.replace("length_m = 9", 'length_m = "9"'), "boat.length_m", "is not a number"),
        (LEAST.replace("length_m = 9", "length_m = nan"), "boat.length_m", "out of range"),
        (LEAST.replace("length_m = 9", "length_m = true"), "boat.length_m", "is not a number"),
        (LEAST.replace("beam_m = 3\n", ""), "boat.beam_m", "is missing"),
        ("[radar]\n", "boat", "the [boat] table is missing"),
        (LEAST + '[rader]\nset = "open array"\n', "rader", 'did you mean "radar"'),
        (LEAST + '[radar]\nset = "open aray"\n', "radar.set", 'did you mean "open array"'),
        (LEAST + "[radar]\nblind_sectors_deg = [170, 190]\n", "radar.blind_sectors_deg", "pairs of degrees"),
        (LEAST + "[radar.pulse]\nup_to_nm = 3\n", "radar.pulse", "must be a list of tables"),
        (LEAST + "mmsi = 2.5\n", "boat.mmsi", "is not a whole number"),
        ("light = 3\n" + LEAST, "light", "must be a list of tables"),
        (LEAST + '[[light]]\nrole = "port"\ncolr = "red"\n', "light.colr", 'did you mean "colour"'),
        (LEAST + '[[light]]\nrole = "stern"\ncolour = "blue"\n', "light.colour", "'blue' is not one of"),
        (LEAST + '[[light]]\nrole = "port"\n[[light]]\nrole = "mast"\n', "light.role", 'did you mean "masthead"'),
    ],
)
def test_what_cannot_be_used_is_refused_by_name(write, text: str, key: str, phrase: str) -> None:
    with pytest.raises(TableError) as caught:
        read_boat(write(text))
    assert caught.value.key == key
    assert phrase in str(caught.value) and key in str(caught.value)
    assert "\n" not in str(caught.value)


def test_a_file_that_is_not_toml_or_not_there_says_so(write, tmp_path: Path) -> None:
    with pytest.raises(TableError, match="is not TOML"):
        read_boat(write("[boat\n"))
    with pytest.raises(TableError, match="cannot be read"):
        read_boat(tmp_path / "absent.toml")


def test_pulses_out_of_order_are_refused(write) -> None:
    pulse = "[[radar.pulse]]\nup_to_nm = {}\nlength_ns = 100\nprf_hz = 2000\nbandwidth_mhz = 12\n"
    with pytest.raises(TableError, match="shortest range scale first"):
        read_boat(write(LEAST + pulse.format(6) + pulse.format(3)))


def test_every_field_of_the_types_can_be_set_by_a_key() -> None:
    for table, of in (("boat", Boat), ("radar", RadarSet), ("skipper", Skipper)):
        others = {"radar", "stopping", "skipper", "fuel_lph_at_kn", "deviation", "fitted_lights", "pulses"}
        assert {f.name for f in dataclasses.fields(of)} - others == {k.field for k in keys_of(table).values()}


def test_printed_defaults_are_the_real_ones(write) -> None:
    boat = read_boat(write(LEAST))
    for key in KEYS:
        if key.kind == "number" and key.default[0].isdigit() and "." not in key.table:
            holder = {"boat": boat, "radar": boat.radar, "skipper": boat.skipper}[key.table]
            # Printed to three figures.
            assert getattr(holder, key.field) / key.scale == pytest.approx(float(key.default), rel=3e-3), key.name


def test_the_manual_holds_the_table_of_the_code() -> None:
    manual = MANUAL.read_text(encoding="utf-8")
    assert keys_as_markdown() in manual
    assert sets_as_markdown() in manual


def test_the_manuals_example_reads(write) -> None:
    manual = MANUAL.read_text(encoding="utf-8")
    example = manual.split("```toml\n")[1].split("```")[0]
    assert read_boat(write(example)).length_m > 0


def test_default_boat_is_a_small_one() -> None:
    boat = default_boat()
    assert 6 <= boat.length_m <= 15 and boat.radar.kind == "small radome"


def test_sets_answer_for_every_scale() -> None:
    for radar in GENERIC_SETS.values():
        lengths = [radar.pulse_for(scale).length_s for scale in (0.125, 0.25, 0.5, 0.75, 1.5, 3, 6, 12, 24, 48)]
        assert lengths == sorted(lengths)


@pytest.mark.parametrize(
    "given", ["[[0, 361]]", "[[-1, 20]]", "[[true, 20]]", '[["a", 20]]', "[[10]]", "[10, 20]", "[[nan, 20]]"]
)
def test_sectors_are_pairs_of_degrees(write, given: str) -> None:
    with pytest.raises(TableError, match="pairs of degrees, 0 to 360"):
        read_boat(write(LEAST + f"[radar]\nblind_sectors_deg = {given}\n"))
    whole = read_boat(write(LEAST + "[radar]\nblind_sectors_deg = [[0, 360]]\n"))
    assert whole.radar.blind_sectors_rad == ((0.0, pytest.approx(math.tau)),)


def test_pulses_stand_in_order(write) -> None:
    def pulse(up_to_nm: float) -> str:
        return f"[[radar.pulse]]\nup_to_nm = {up_to_nm}\nlength_ns = 100\nprf_hz = 2000\nbandwidth_mhz = 12\n"

    assert len(read_boat(write(LEAST + "[radar]\n" + pulse(3) + pulse(6))).radar.pulses) == 2
    for second in (3, 2):
        with pytest.raises(TableError, match="in order, shortest range scale first"):
            read_boat(write(LEAST + "[radar]\n" + pulse(3) + pulse(second)))


def test_a_time_zone_that_is_none_is_refused(write) -> None:
    assert read_boat(write(LEAST + '[skipper]\nlocal_time_zone = "utc"\n')).skipper.local_time_zone == "utc"
    with pytest.raises(TableError, match=r"local_time_zone.*not a time zone"):
        read_boat(write(LEAST + '[skipper]\nlocal_time_zone = "Mars/Phobos"\n'))
