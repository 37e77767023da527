"""The one strict reader of TOML tables."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import pytest

from moonless.errors import TableError
from moonless.tables import Key, TableReader, build, editable, parse

KEYS = (
    Key("", "title", "text", '""', "Its title."),
    Key("", "pump", "table", "none", "The pump."),
    Key("pump", "rate_lph", "number", "required", "Litres an hour.", 1, 500, scale=1 / 3600, field="rate"),
    Key("pump", "stages", "integer", "1", "How many.", 1, 4),
    Key("pump", "kind", "choice", '"vane"', "Which.", choices=("vane", "gear")),
    Key("pump", "at_m", "place", "none", "Where."),
    Key("pump", "off_s", "spans", "none", "When not."),
    Key("pump", "names", "texts", "none", "What it is called."),
    Key("pump", "is_wet", "yes or no", "false", "Wet."),
    Key("pump.valve", "number", "integer", "required", "Its number."),
)


@dataclass
class Pump:
    rate: float
    stages: int = 1
    kind: str = "vane"


def reader() -> TableReader:
    return TableReader("pump.toml", KEYS, "a pump file")


def test_values_come_in_the_fields_units() -> None:
    found = {"rate_lph": 36, "at_m": [1, 2], "off_s": [[0, 1], [3, 4]], "valve": [{"number": 3}], "is_wet": True}
    assert reader().table("pump", found) == {
        "rate": pytest.approx(0.01),
        "at_m": (1.0, 2.0),
        "off_s": ((0.0, 1.0), (3.0, 4.0)),
        "valve": ({"number": 3},),
        "is_wet": True,
    }
    assert build(Pump, reader().table("pump", {"rate_lph": 36, "kind": "gear"})) == Pump(pytest.approx(0.01), 1, "gear")
    assert reader().table("", {"title": "", "pump": {"rate_lph": 1}})["title"] == ""


@pytest.mark.parametrize(
    ("found", "key", "says"),
    [
        ({"rate_lhp": 3}, "pump.rate_lhp", 'is not a key of [pump]; did you mean "rate_lph"?'),
        ({}, "pump.rate_lph", "is missing (Litres an hour) and must be 1 to 500"),
        ({"rate_lph": True}, "pump.rate_lph", "True is not a number"),
        ({"rate_lph": float("nan")}, "pump.rate_lph", "nan is out of range"),
        ({"rate_lph": 501}, "pump.rate_lph", "501 is out of range, allowed is 1 to 500"),
        ({"rate_lph": 2, "stages": 1.0}, "pump.stages", "1.0 is not a whole number"),
        ({"rate_lph": 2, "kind": "vain"}, "pump.kind", 'did you mean "vane"?'),
        ({"rate_lph": 2, "kind": 3}, "pump.kind", '3 is not one of "vane", "gear"'),
        ({"rate_lph": 2, "at_m": [1]}, "pump.at_m", "is not two numbers"),
        ({"rate_lph": 2, "at_m": [1, True]}, "pump.at_m", "is not two numbers"),
        ({"rate_lph": 2, "off_s": [[2, 1]]}, "pump.off_s", "each ending after it begins"),
        ({"rate_lph": 2, "names": ["a", " "]}, "pump.names", "is not a list of texts"),
        ({"rate_lph": 2, "is_wet": 1}, "pump.is_wet", "1 is not true or false"),
        ({"rate_lph": 2, "valve": {"number": 1}}, "pump.valve", "must be a list of tables, [[pump.valve]]"),
        ({"rate_lph": 2, "valve": [{"no": 1}]}, "pump.valve.no", "is not a key of [pump.valve]"),
        ([], "pump", "must be a table, [pump]"),
    ],
)
def test_what_cannot_be_used_names_the_key(found: object, key: str, says: str) -> None:
    with pytest.raises(TableError) as caught:
        reader().table("pump", found)
    assert caught.value.key == key and says in str(caught.value)
    assert str(caught.value).startswith("pump.toml: ") and "\n" not in str(caught.value)


def test_a_table_that_there_is_not_is_named() -> None:
    with pytest.raises(TableError, match='pmp: is not a table of a pump file; did you mean "pump"'):
        reader().only({"pmp": {}}, ("pump",))


def test_a_file_that_is_not_there_or_not_toml_is_one_line(tmp_path: Path) -> None:
    bad = tmp_path / "bad.toml"
    for read in (parse, lambda path: editable(path, ())):
        bad.write_bytes(b"a = = 1")
        with pytest.raises(TableError, match=r"bad\.toml: is not TOML"):
            read(bad)
        bad.write_bytes(b"a = '\xff'")
        with pytest.raises(TableError, match="is not UTF-8 text"):
            read(bad)
    with pytest.raises(TableError, match="cannot be read: No such file"):
        parse(tmp_path / "absent.toml")
    assert editable(tmp_path / "absent.toml", ("head",)).as_string() == "# head\n"


def test_lists_too_deep_are_one_line(tmp_path: Path) -> None:
    path = tmp_path / "a.toml"
    path.write_text("a = " + "[" * 50_000 + "]" * 50_000)
    with pytest.raises(TableError, match="too deep"):
        parse(path)
    with pytest.raises(TableError, match=r"too deep|nested"):  # the library of the second has a limit of its own
        editable(path, ())


def test_a_text_with_a_nul_is_no_text(tmp_path: Path) -> None:
    path = tmp_path / "a.toml"
    for line in ('title = "a\\u0000b"', '[pump]\nrate_lph = 5\nnames = ["a\\u0000b"]'):
        path.write_text(line)
        with pytest.raises(TableError, match="is not"):
            TableReader(path, KEYS, "a pump file").table("", parse(path))
