"""Soundings by zoom: shoal first, room for each, nothing that jumps."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from moonless.chart.drawn.grid import pixel_m
from moonless.chart.drawn.soundings import SPACING_PX, first_zooms
from moonless.chart.drawn.what import SOUNDING_LAST_ZOOM, SOUNDING_ZOOM

place = st.tuples(st.floats(0.0, 4000.0), st.floats(0.0, 4000.0), st.floats(-2.0, 40.0))


@settings(deadline=None)
@given(st.lists(place, min_size=1, max_size=40))
def test_shoaler_first_and_none_too_close(found: list[tuple[float, float, float]]) -> None:
    xy = np.array([(x, y) for x, y, _ in found])
    depth = np.array([d for _, _, d in found])
    first = first_zooms(xy, depth)
    apart = np.hypot(*(xy[:, None] - xy[None, :]).transpose(2, 0, 1))
    for zoom in range(SOUNDING_ZOOM, SOUNDING_LAST_ZOOM + 1):
        shown = first <= zoom
        spacing = SPACING_PX * pixel_m(zoom)
        pairs = apart[np.ix_(shown, shown)][~np.eye(int(shown.sum()), dtype=bool)]
        assert not (pairs < spacing).any(), "two numbers lie over each other"
        for i in np.flatnonzero(~shown):
            near = np.flatnonzero(shown & (apart[i] < spacing))
            # Left out only for one that came earlier, or is no deeper.
            assert any(first[j] < zoom or depth[j] <= depth[i] for j in near)


def test_the_shoalest_is_there_from_the_first() -> None:
    xy = np.random.default_rng(1).uniform(0.0, 5000.0, (300, 2))
    depth = np.random.default_rng(2).uniform(1.0, 30.0, 300)
    first = first_zooms(xy, depth)
    assert first[np.argmin(depth)] == SOUNDING_ZOOM
    assert len(first_zooms(np.empty((0, 2)), np.empty(0))) == 0
