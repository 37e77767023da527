"""Which plots are a sure track's wild ones: twice the gate about where she would be, by scipy's normal density."""

from __future__ import annotations

import math
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from scipy import stats

from moonless.track.management.initiation import is_wild_plot
from moonless.track.settings import TrackerSettings

S = TrackerSettings()
TRACK = np.array([[90.0, -20.0], [-20.0, 40.0]])
NOISE = np.array([[30.0, 25.0], [25.0, 110.0]])


def _wild(at: np.ndarray, **of: Any) -> bool:
    p = np.zeros((1, 4, 8, 8))
    p[:, :, :2, :2] = TRACK
    p[:, :, range(2, 8), range(2, 8)] = 1e-12
    x = np.zeros((1, 4, 8))
    x[..., :4] = (100.0, 50.0, 6.0, -3.0)
    plain: dict[str, Any] = {"confirmed": True, "exists": 0.6, "misses": 0, "own": -1, **of}
    store: Any = SimpleNamespace(
        x=x, p=p, mu=np.full((1, 4), 0.25), confirmed=np.array([plain["confirmed"]]),
        exists=np.array([plain["exists"]]), misses=np.array([plain["misses"]]),
    )  # fmt: skip

    class Got(SimpleNamespace):
        def __len__(self) -> int:
            return 1

    got: Any = Got(place_m=at[None], ahead_s=np.array([2.0]), noise=NOISE[None])
    return bool(is_wild_plot(store, S, got, np.array([plain["own"]]))[0])


@pytest.mark.parametrize("way_deg", range(0, 360, 30))
def test_how_far_off_a_wild_plot_may_lie(way_deg: int) -> None:
    """Two seconds on she is at (112, 44); both errors add, slanting as they do."""
    way = np.array([math.sin(math.radians(way_deg)), math.cos(math.radians(way_deg))])
    law = stats.multivariate_normal([0.0, 0.0], TRACK + NOISE)
    # Squared distance of one metre that way, from the log density's fall.
    one = -2.0 * (float(law.logpdf(way)) - float(law.logpdf([0.0, 0.0])))
    edge = math.sqrt(S.strayed_gates * S.gate / one)
    middle = np.array([112.0, 44.0])
    assert _wild(middle + 0.99 * edge * way) and not _wild(middle + 1.01 * edge * way)


@pytest.mark.parametrize(
    ("of", "is_so"),
    [({}, True), ({"confirmed": False}, False), ({"exists": 0.49}, False), ({"own": 3}, False),
     ({"misses": S.strayed_turns}, True), ({"misses": S.strayed_turns + 1}, False)],
)  # fmt: skip
def test_whose_wild_plots_they_are(of: dict[str, Any], is_so: bool) -> None:
    assert _wild(np.array([112.0, 44.0]), **of) is is_so
