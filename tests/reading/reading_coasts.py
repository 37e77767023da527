"""A coast that the chart has wrong, shifted as a whole and drawn wrong here and there; the echoes of the true one."""

from __future__ import annotations

import math

import numpy as np
import shapely
from reading_edges import near_edge

from moonless.reading.registration.matching import turned_back
from moonless.reading.registration.observations import Sightings
from moonless.sight.edges import edges_of

LAND = shapely.MultiPolygon(
    [
        shapely.Polygon(
            [(-4000, 1400), (-1800, 1800), (-600, 2800), (400, 2200), (1400, 3000), (1400, 5000), (-4000, 5000)]
        ),
        shapely.Polygon([(1800, -800), (3200, -1400), (3400, 400), (2200, 200)]),
        shapely.Polygon([(-2800, -1800), (-2000, -2600), (-1400, -1600), (-2200, -1200)]),
    ]
)
NONE = np.zeros((0, 2))


def wrong(rng: np.random.Generator, points: np.ndarray, amplitude_m: float) -> np.ndarray:
    """Return (n, 2) by how much a coast is drawn wrong: three waves of one to four kilometres on each axis."""
    out = np.zeros(points.shape)
    for axis in range(2):
        for _ in range(3):
            wave, way, phase = rng.uniform(1000.0, 4000.0), rng.uniform(0.0, math.tau), rng.uniform(0.0, math.tau)
            along = points @ np.array([math.sin(way), math.cos(way)])
            out[:, axis] += amplitude_m * math.sqrt(2.0 / 3.0) * np.sin(math.tau * along / wave + phase)
    return out


def shore(bias: float, shift: tuple[float, float], rng: np.random.Generator, local_m: float = 50.0) -> Sightings:
    """Return the near edges of a ground whose coast lies off the charted one as a whole and here and there."""
    edge, _ = near_edge(edges_of(LAND), -shift[0], -shift[1], 5000.0, 0.035)
    edge = edge[rng.choice(len(edge), 360, replace=False)]  # as many as a turn is asked for (`sightings`)
    truth = edge + np.array(shift)
    truth = truth + wrong(rng, truth, local_m) + rng.normal(0.0, 8.0, truth.shape)
    # One in five is a boat at anchor, a shower, a hill behind the shore.
    stray = rng.random(len(truth)) < 0.2
    truth[stray] *= rng.uniform(0.4, 1.3, (int(stray.sum()), 1))
    return Sightings(turned_back(truth, -bias), np.zeros(truth.shape), NONE, NONE, np.zeros(0), np.zeros(0))
