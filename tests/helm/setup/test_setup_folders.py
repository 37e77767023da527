"""The folders that a screen may look into."""

from __future__ import annotations

import json
import os
from pathlib import Path

import pytest

from moonless.errors import InputError
from moonless.helm.setup.folders import count_cells, default_roots, look


def test_folders_tell_names_and_cells_and_nothing_else(home: Path) -> None:
    told = look(home / "charts" / "north", [home])
    assert told["cells"] == ["XX5MADE1"] and "notes" not in str(told) and "mine alone" not in str(told)
    top = look(None, [home])
    assert [(f["name"], f["cells"]) for f in top["folders"]] == [("charts", 1)]
    assert top["up"] is None and top["below"] == 1


@pytest.mark.parametrize("path", ["/etc", "/", "{home}/../outside", "{home}/way out", "{home}/charts/../../outside"])
def test_nothing_outside_is_looked_into(home: Path, path: str) -> None:
    with pytest.raises(InputError, match="only your own folders"):
        look(Path(path.format(home=home)), [home])


def test_a_folder_that_is_not_there_is_one_line(home: Path) -> None:
    with pytest.raises(InputError, match="there is no such folder"):
        look(home / "chart", [home])


def test_the_roots_begin_at_home(home: Path) -> None:
    assert default_roots()[0] == home


def test_counting_stops_in_time(tmp_path: Path) -> None:
    deep = tmp_path
    for k in range(9):
        deep = deep / str(k)
    deep.mkdir(parents=True)
    (deep / "A.000").touch()
    assert count_cells(tmp_path) == (0, False)


def test_a_folder_whose_name_is_no_utf_8_is_counted_and_the_rest_is_told(home: Path) -> None:
    os.mkdir(os.fsencode(home) + b"/caf\xe9")  # Latin-1, as an old memory stick has it
    told = look(None, [home])
    json.dumps(told, ensure_ascii=False).encode()
    assert told["more"] == 1 and [f["name"] for f in told["folders"]] == ["charts"]
    with pytest.raises(InputError, match="not UTF-8"):
        look(Path(os.fsdecode(os.fsencode(home) + b"/caf\xe9")), [home])
