"""The boat file written: read back it says the same, what a person wrote in it stays, and it is never half there."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from moonless.boat.file import read_boat
from moonless.boat.keys import KEYS
from moonless.boat.write import boat_values, write_boat
from moonless.errors import InputError, TableError
from moonless.files import write_whole
from moonless.tables import Key

# Neither half a letter nor a NUL is text.
TEXT = st.characters(blacklist_categories=["Cs"], blacklist_characters="\0")

LEAST = {
    "boat.name": "Plover", "boat.length_m": 9.2, "boat.beam_m": 3.1, "boat.draught_m": 0.9, "boat.air_draught_m": 4.2,
}  # fmt: skip

OWNERS = """\
# Plover, as measured on the slip.
[boat]
name = "Plover"   # the old name was Dunlin
length_m = 9.2
beam_m = 3.1
draught_m = 0.9    # with full tanks

air_draught_m = 4.2

[[boat.stopping]]  # in the channel, no wind
speed_kn = 10
distance_m = 38

# The set came with the boat.
[radar]
set = "small radome"
bow_offset_deg = -1.5   # measured 3 May
"""


def test_a_new_file_says_what_each_key_is_and_reads_back(tmp_path: Path) -> None:
    path = tmp_path / "deep" / "boat.toml"
    boat = write_boat(path, LEAST | {"radar.height_m": 3.4, "boat.stopping": [{"speed_kn": 10, "distance_m": 38}]})
    assert boat == read_boat(path)
    text = path.read_text()
    assert "length_m = 9.2 # Length over all." in text
    assert text.startswith("# What the boat is")
    assert boat.stopping[0].distance_m == 38


def test_what_a_person_wrote_stays(tmp_path: Path) -> None:
    path = tmp_path / "boat.toml"
    path.write_text(OWNERS)
    write_boat(path, {"radar.bow_offset_deg": -2.25, "boat.draught_m": 1.0, "boat.eye_height_m": 2.2})
    text = path.read_text()
    for kept in ("# Plover, as measured on the slip.", "# the old name was Dunlin", "# with full tanks",
                 "# in the channel, no wind", "# The set came with the boat.", "# measured 3 May"):  # fmt: skip
        assert kept in text
    # Line by line: only what was changed or added differs.
    before, after = OWNERS.splitlines(), text.splitlines()
    assert [line for line in before if line not in after] == [
        "draught_m = 0.9    # with full tanks", "bow_offset_deg = -1.5   # measured 3 May",
    ]  # fmt: skip
    boat = read_boat(path)
    assert boat.draught_m == 1.0 and boat.eye_height_m == 2.2 and boat.stopping[0].distance_m == 38


def test_a_key_taken_away_stands_at_its_default(tmp_path: Path) -> None:
    path = tmp_path / "boat.toml"
    path.write_text(OWNERS)
    boat = write_boat(path, {"radar.bow_offset_deg": None, "boat.stopping": None, "skipper.react_s": None})
    assert boat.radar.bow_offset_rad == 0.0 and boat.stopping == ()


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"boat.lenght_m": 9.0}, 'did you mean "length_m"'),
        ({"boat.length_m": 900.0}, "out of range"),
        ({"boat.name": None}, "is missing"),
        ({"skiper.react_s": 9.0}, "no table"),
        ({"boat.assumed": ["lenght_m"]}, 'did you mean "length_m"'),
    ],
)
def test_what_would_be_no_boat_file_is_refused_and_the_old_one_left(
    tmp_path: Path, changes: dict[str, Any], says: str
) -> None:
    path = tmp_path / "boat.toml"
    path.write_text(OWNERS)
    with pytest.raises(TableError, match=says):
        write_boat(path, changes)
    assert path.read_text() == OWNERS
    assert [p.name for p in tmp_path.iterdir()] == ["boat.toml"]


def test_a_file_that_is_not_toml_is_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "boat.toml"
    path.write_text("length = = 3")
    with pytest.raises(TableError, match="is not TOML"):
        write_boat(path, LEAST)
    assert path.read_text() == "length = = 3"


def test_a_full_disk_leaves_the_old_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "boat.toml"
    path.write_text(OWNERS)

    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(InputError, match="No space left on device"):
        write_boat(path, {"boat.draught_m": 1.0})
    assert path.read_text() == OWNERS
    assert [p.name for p in tmp_path.iterdir()] == ["boat.toml"]


def test_the_file_a_link_points_at_is_written_and_its_mode_kept(tmp_path: Path) -> None:
    real, link = tmp_path / "real.toml", tmp_path / "boat.toml"
    real.write_text(OWNERS)
    real.chmod(0o600)
    link.symlink_to(real)
    write_whole(link, "x = 1\n")
    assert link.is_symlink() and real.read_text() == "x = 1\n" and real.stat().st_mode & 0o777 == 0o600


def test_what_is_assumed_of_her_is_told_in_words(tmp_path: Path) -> None:
    boat = write_boat(tmp_path / "boat.toml", LEAST | {"boat.assumed": ["beam_m", "air_draught_m"]})
    assert boat.assumed_words == "beam 3.1 m, air draught 4.2 m"
    assert write_boat(tmp_path / "boat.toml", {"boat.assumed": None}).assumed_words == ""


def values_of(key: Key) -> st.SearchStrategy[Any]:
    if key.kind == "choice":
        return st.sampled_from(key.choices)
    if key.kind == "integer":
        return st.integers(int(key.low), int(key.high))
    if key.name == "local_time_zone":
        return st.sampled_from(["UTC", "Etc/GMT+8", "America/New_York", "Asia/Kathmandu"])
    if key.kind == "text":
        return st.text(TEXT, min_size=1, max_size=30).filter(str.strip)
    if key.kind == "names":
        return st.lists(st.sampled_from(key.choices), unique=True)
    if key.kind == "sectors":
        return st.lists(st.lists(st.floats(0, 360), min_size=2, max_size=2), max_size=3)
    return st.floats(key.low, key.high, allow_nan=False)


PLAIN = [key for key in KEYS if "." not in key.table and key.table != "light"]
CHANGES = st.fixed_dictionaries(
    {f"{key.table}.{key.name}": values_of(key) for key in PLAIN if key.default == "required"},
    optional={f"{key.table}.{key.name}": values_of(key) for key in PLAIN if key.default != "required"}
    | {
        "boat.stopping": st.lists(
            st.fixed_dictionaries({"speed_kn": st.floats(0.5, 80), "distance_m": st.floats(0, 5000)}), max_size=3
        ),
        "light": st.lists(st.fixed_dictionaries({"role": st.sampled_from(["masthead", "stern"])}), max_size=2),
    },
)


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(first=CHANGES, second=CHANGES)
def test_round_trip(tmp_path: Path, first: dict[str, Any], second: dict[str, Any]) -> None:
    path = tmp_path / "boat.toml"
    path.write_text(OWNERS)
    write_boat(path, first)
    written = write_boat(path, second)
    assert read_boat(path) == written
    values = boat_values(path)
    for dotted, value in (first | second).items():
        if value == [] and dotted in ("boat.stopping", "light"):
            assert dotted not in values
        else:
            assert values[dotted] == value
    text = path.read_text(encoding="utf-8")
    assert "# Plover, as measured on the slip." in text and "# The set came with the boat." in text
