"""Scene files: strict reading, clear errors, every key documented."""

from __future__ import annotations

import math
import re
from pathlib import Path

import pytest

from moonless.errors import InputError
from moonless.scene.file import load_scene
from moonless.scene.keys import KEYS
from moonless.scene.kinds import OBJECT_KINDS
from moonless.scene.types import Scene

ROOT = Path(__file__).parents[2]
MINIMAL = """
[scene]
name = "small"
start = 2028-03-01T05:00:00Z
duration_s = 10
origin = [-12.4, -118.3]
[own]
start_m = [0, 0]
"""


def _load(tmp_path: Path, text: str) -> Scene:
    path = tmp_path / "scene.toml"
    path.write_text(text, encoding="utf-8")
    return load_scene(path)


def test_minimal_file_takes_every_default(tmp_path: Path) -> None:
    scene = _load(tmp_path, MINIMAL)
    assert scene.radar.scale_nm == 1.5 and scene.objects == () and scene.boat_is_assumed
    assert scene.waters.paths == () and scene.sensors.heading_bias_rad == 0.0


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (
            MINIMAL.replace("duration_s", "duraton_s"),
            "scene.duraton_s: is not a key of [scene]; did you mean \"duration_s\"",
        ),
        (MINIMAL + "[wether]\n", "wether: is not a table of a scene file; did you mean \"weather\""),
        (MINIMAL.replace('name = "small"\n', ""), "scene.name: is missing"),
        (MINIMAL + "[radar]\nscale_nm = -1\n", "radar.scale_nm: -1 is out of range, allowed is 0.1 to 24"),
        (MINIMAL + "[radar]\nspokes = 12.5\n", "radar.spokes: 12.5 is not a whole number"),
        (MINIMAL + '[[object]]\nname = "a"\nkind = "kayac"\nstart_m = [0, 1]\n', "did you mean \"kayak\""),
        (MINIMAL + "legs = [{ to_m = [0, 9], hold_s = 3 }]\n", "each leg has one of to_m, turn_to_deg, hold_s"),
        (MINIMAL + "[sensors]\ngnss_out_s = [[9, 3]]\n", "each ending after it begins"),
        (MINIMAL.replace("05:00:00Z", "05:00:00"), "is not a date and time with its zone"),
        (
            MINIMAL + '[[object]]\nname = "a"\nkind = "rib"\nstart_m = [0, 1]\nais = { mmsi = 211000000 }\n',
            "211000000 is out of range, allowed is 799000000 to 799999999",
        ),
        (MINIMAL + '[[object]]\nname = "a"\nkind = "rib"\nstart_m = [0]\n', "object.start_m: [0] is not two numbers"),
        ("[scene\n", "is not TOML"),
    ],
)
def test_wrong_file_says_what_and_where(tmp_path: Path, text: str, words: str) -> None:
    with pytest.raises(InputError, match=re.escape(words)) as caught:
        _load(tmp_path, text)
    assert "scene.toml" in str(caught.value) and "\n" not in str(caught.value)


def test_two_objects_of_one_name_are_refused(tmp_path: Path) -> None:
    one = '[[object]]\nname = "a"\nkind = "rib"\nstart_m = [0, 1]\n'
    with pytest.raises(InputError, match="'a' is given twice"):
        _load(tmp_path, MINIMAL + one + one)


def test_missing_file_is_one_line(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="cannot be read: No such file"):
        load_scene(tmp_path / "nowhere.toml")


def test_units_become_si(tmp_path: Path) -> None:
    text = MINIMAL + "speed_kn = 10\nheading_deg = 90\n[weather]\nwind_kn = 20\nwind_from_deg = 180\n"
    scene = _load(tmp_path, text)
    # A knot is 1852 m an hour.
    assert scene.own.speed == pytest.approx(10 * 1852 / 3600) and scene.own.heading_rad == pytest.approx(math.pi / 2)
    assert scene.skies.wind_from_rad == pytest.approx(math.pi)


def test_object_takes_its_kind_unless_told(tmp_path: Path) -> None:
    text = MINIMAL + '[[object]]\nname = "a"\nkind = "rib"\nstart_m = [0, 1]\nrcs_m2 = 9.0\n'
    (thing,) = _load(tmp_path, text).objects
    assert thing.rcs_m2 == 9.0 and thing.length_m == OBJECT_KINDS["rib"].length_m


def test_every_key_is_documented() -> None:
    page = (ROOT / "docs" / "scenes.md").read_text(encoding="utf-8")
    for key in KEYS:
        assert f"`{key.name}`" in page, f"{key.table}.{key.name} is not in docs/scenes.md"
    for kind in OBJECT_KINDS:
        assert kind in page, f"the kind {kind!r} is not in docs/scenes.md"


@pytest.mark.parametrize(
    "path", sorted((ROOT / "src" / "moonless" / "data" / "scenes").glob("*.toml")), ids=lambda p: p.stem
)
def test_built_in_scenes_read(path: Path) -> None:
    scene = load_scene(path)
    assert scene.duration_s is not None and scene.duration_s <= 300.0


def test_there_are_scenes_enough() -> None:
    assert len(list((ROOT / "src" / "moonless" / "data" / "scenes").glob("*.toml"))) >= 20
