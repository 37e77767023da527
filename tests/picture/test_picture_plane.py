"""The map between scope and picture, against OpenCV's own projection."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

cv2 = pytest.importorskip("cv2")

from moonless.picture.geometry.plane import ScopePlane  # noqa: E402

small = st.floats(-0.15, 0.15)


@settings(deadline=None, max_examples=60)
@given(small, small, st.floats(-0.04, 0.04), st.floats(-1.0, 1.0), st.floats(-1.0, 1.0))
def test_there_and_back(p: float, q: float, lens: float, x: float, y: float) -> None:
    plane = ScopePlane(np.array([[300.0, 10.0, 640.0], [-8.0, 280.0, 360.0], [p, q, 1.0]]), lens, (1280, 720))
    u, v = plane.to_picture(np.array([x]), np.array([y]))
    back = plane.to_plane(u, v)
    # The lens is undone by five steps, to a thousandth of a pixel of 300.
    assert back[0][0] == pytest.approx(x, abs=1e-4) and back[1][0] == pytest.approx(y, abs=1e-4)


@pytest.mark.parametrize("tilt", [0.0, 15.0, 35.0])
def test_tilt_is_what_a_pin_hole_camera_was_turned_by(tilt: float) -> None:
    turn = cv2.Rodrigues(np.array([math.radians(tilt), 0.0, 0.0]))[0]
    camera = np.array([[5000.0, 0.0, 640.0], [0.0, 5000.0, 360.0], [0.0, 0.0, 1.0]])
    # Far away, so that perspective adds nothing to the lean of the whole.
    matrix = camera @ np.column_stack([turn[:, :2], [0.0, 0.0, 20.0]])
    assert ScopePlane(matrix, 0.0, (1280, 720)).tilt_deg == pytest.approx(tilt, abs=0.1)


def test_resized_is_the_same_place() -> None:
    plane = ScopePlane(np.array([[300.0, 10.0, 640.0], [-8.0, 280.0, 360.0], [0.05, 0.02, 1.0]]), 0.0, (1280, 720))
    half = plane.resized((640, 360))
    u, v = plane.to_picture(np.array([0.3]), np.array([-0.4]))
    a, b = half.to_picture(np.array([0.3]), np.array([-0.4]))
    # Middles of pixels: 0.5 px off a half of the whole.
    assert a[0] == pytest.approx((u[0] + 0.5) / 2 - 0.5) and b[0] == pytest.approx((v[0] + 0.5) / 2 - 0.5)
