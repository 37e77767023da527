"""What was marked as a side-lobe echo, by its way: it keeps to its parent's range, at a steady angle off her."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from reading_fakes import FRAME, make_track

from moonless.reading.identify.ghosts.side_lobes import goes_as_marked
from moonless.reading.own import OwnPlane


def _goes(own: OwnPlane, *tracks: Any) -> Any:
    rel = np.array([(t.east_m - own.east_m, t.north_m - own.north_m) for t in tracks])
    return goes_as_marked(tracks, rel, own)


@pytest.mark.parametrize("turn", [0.0, 0.9, 2.2, 4.4])
def test_what_lies_still_while_its_parent_runs_is_no_lobe_of_hers(turn: float) -> None:
    def at(bearing: float, length: float) -> tuple[float, float]:
        return length * math.sin(bearing + turn), length * math.cos(bearing + turn)

    # The boat makes 4 m/s; a ship 500 m ahead of her runs away at 7: their range opens by 3 m/s on one bearing.
    way = at(0.0, 4.0)
    own = OwnPlane(FRAME, 0.0, 0.0, turn, turn, 4.0)
    ship = make_track(1, *at(0.0, 500.0), *at(0.0, 7.0), length_m=200.0)
    out = at(1.0, 3.0)
    # Her lobe a radian to the right goes out by 3 m/s there, beside the boat's own way.
    lobe = make_track(2, *at(1.0, 500.0), way[0] + out[0], way[1] + out[1], false_parent=1, false_cause="side lobe")
    anchored = make_track(2, *at(1.0, 500.0), false_parent=1, false_cause="side lobe")
    assert _goes(own, ship, lobe)[1] == 1.0
    assert _goes(own, ship, anchored)[1] < 0.001
    # Nothing is said of what was not marked, or whose parent is not there.
    assert _goes(own, ship, make_track(2, *at(1.0, 500.0)))[1] == 1.0
    assert _goes(own, anchored)[0] == 1.0


def test_where_boat_and_parent_lie_still_a_way_says_nothing() -> None:
    own = OwnPlane(FRAME, 0.0, 0.0, 0.0, 0.0, 0.0)
    quay = make_track(1, 0.0, 500.0, length_m=200.0)
    lobe = make_track(2, 500.0, 0.0, false_parent=1, false_cause="side lobe")
    assert _goes(own, quay, lobe)[1] == 1.0
