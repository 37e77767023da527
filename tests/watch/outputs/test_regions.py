"""Hidden water as it is sent on: each polygon once, its rings inside it (RFC 7946, 3.1.6 and 3.1.7)."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from moonless.boat.file import default_boat
from moonless.units import NS_PER_S
from moonless.watch.afterwards import pictured
from moonless.watch.outputs.deltas import _region_of

RING = [[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 0.0]]
HOLE = [[0.2, 0.1], [0.8, 0.1], [0.8, 0.7], [0.2, 0.1]]


def test_polygons_and_those_of_several_parts_are_put_together() -> None:
    one: Any = {"type": "Polygon", "coordinates": [RING, HOLE]}
    two: Any = {"type": "MultiPolygon", "coordinates": [[HOLE], [RING]]}
    region: Any = _region_of("land", [one, two], 0)
    assert region["feature"]["geometry"] == {"type": "MultiPolygon", "coordinates": [[RING, HOLE], [HOLE], [RING]]}


def test_the_picture_beside_what_was_told_is_of_the_seconds_about_it(monkeypatch: pytest.MonkeyPatch) -> None:
    """Eight seconds before, for a whole turn, to three after, for the pose."""
    asked: list[Any] = []

    class Reader:
        def __init__(self, path: Path) -> None: ...

        def only(self, *kinds: str, within: Any) -> Any:
            asked.append((kinds, within))
            return iter(())

    monkeypatch.setattr(pictured, "RecordingReader", Reader)
    at = 1_900_000_000 * NS_PER_S
    assert pictured.scans_before(Path("run.mcap"), default_boat(), at) == []
    pictured.scans_before(Path("run.mcap"), default_boat(), at, 60 * NS_PER_S)
    kinds = ("radar", "nmea", "bus", "signalk")
    assert asked == [
        (kinds, (at - 8 * NS_PER_S, at + 3 * NS_PER_S)), (kinds, (at - 60 * NS_PER_S, at + 3 * NS_PER_S)),
    ]  # fmt: skip
