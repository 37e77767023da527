"""The helm's frames: round trips, the golden bytes that the TypeScript tests read too, and what is refused."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from moonless.errors import WireError
from moonless.helm.web import protocol as p

GOLDEN = Path(__file__).parents[1] / "golden"


CALL = {"number": 7, "key": "echo 9", "kind": "vessel", "urgency": 4, "say": "Stop", "echo": 9}


def golden_frames() -> dict[str, bytes]:
    """Return one frame of every kind; small, and with the awkward values in it."""
    spokes = p.SpokeFrame(
        n_spoke=720,
        flags=p.FORGET,
        first_cell_m=3.5,
        cell_m=6.25,
        ref_lat_deg=-12.4,
        ref_lon_deg=-118.3,
        received_unix_ms=1840598702040.5,
        picture=4_000_000_000,
        age_s=np.array([0.25, 1.5], np.float32),
        east_m=np.array([-4.5, 12.0], np.float32),
        north_m=np.array([0.0, -7.75], np.float32),
        row=np.array([0, 719], np.uint16),
        echo=np.array([[0, 127, 255], [1, 2, 3]], np.uint8),
    )
    return {
        "hello": p.encode_json(p.HELLO, 1, {"protocol": 1, "source": "test", "boat": {"name": "Über 9 m"}}),
        "spokes": p.encode_spokes(2, spokes),
        "pose": p.encode_pose(3, p.PoseFrame(-12.4, -118.3, 24.5, math.nan, 8.25, 0.5)),
        "call": p.encode_json(p.CALL, 0xFFFFFFFF, CALL),
        "fan": p.encode_fan(
            11, p.FanFrame(3, 2, 4, 1, 2306.5, np.array([0, 255], np.uint8), np.arange(8, dtype=np.uint8).reshape(2, 4))
        ),
        "ack": p.encode_ack(9),
    }


@pytest.mark.parametrize("name", ["hello", "spokes", "pose", "call", "fan", "ack"])
def test_golden_bytes_have_not_moved(name: str) -> None:
    # Pinned, not checked against anyone else: this protocol is ours.  A change here needs a new version number.
    assert golden_frames()[name].hex() == (GOLDEN / f"{name}.hex").read_text().strip()


def test_spokes_round_trip() -> None:
    body = p.decode_spokes(golden_frames()["spokes"])
    assert (body.n_spoke, body.flags, body.picture) == (720, p.FORGET, 4_000_000_000)
    assert body.echo.tolist() == [[0, 127, 255], [1, 2, 3]]
    assert body.row.tolist() == [0, 719]
    assert body.north_m.tolist() == [0.0, -7.75]


def test_pose_round_trip_keeps_the_unknown() -> None:
    pose = p.decode_pose(golden_frames()["pose"])
    assert math.isnan(pose.cog_deg) and pose.heading_deg == 24.5


@given(
    n_row=st.integers(0, 5),
    n_cell=st.integers(1, 9),
    seed=st.integers(0, 2**16),
)
def test_any_shape_round_trips(n_row: int, n_cell: int, seed: int) -> None:
    rng = np.random.default_rng(seed)
    body = p.SpokeFrame(  # type: ignore[call-arg]
        2048, 0, 1.0, 2.0, 0.0, 0.0, 0.0, 1,
        *rng.random((3, n_row)).astype(np.float32),
        rng.integers(0, 2048, n_row).astype(np.uint16), rng.integers(0, 256, (n_row, n_cell)).astype(np.uint8),
    )  # fmt: skip
    back = p.decode_spokes(p.encode_spokes(5, body))
    assert np.array_equal(back.echo, body.echo)
    assert np.array_equal(back.row, body.row)
    assert np.array_equal(back.age_s, body.age_s)


def test_a_cut_spokes_frame_is_refused() -> None:
    with pytest.raises(WireError, match="not"):
        p.decode_spokes(golden_frames()["spokes"][:-1])
    with pytest.raises(WireError, match="cut short"):
        p.decode_spokes(golden_frames()["spokes"][:20])


@pytest.mark.parametrize(
    ("frame", "says"),
    [(b"ML", "shorter"), (b"XX\x01\x01\0\0\0\0", "begins with"), (b"ML\x63\x01\0\0\0\0", "version 99")],
)
def test_foreign_frames_are_refused(frame: bytes, says: str) -> None:
    with pytest.raises(WireError, match=says):
        p.decode_head(frame)


def test_numbers_that_are_not_finite_never_leave() -> None:
    with pytest.raises(ValueError, match="JSON compliant"):
        p.encode_json(p.READING, 1, {"range_m": math.nan})


def test_a_body_that_is_no_object_is_refused() -> None:
    with pytest.raises(WireError, match="not JSON"):
        p.decode_json(b"ML\x01\x40\0\0\0\0{")
    with pytest.raises(WireError, match="list"):
        p.decode_json(b"ML\x01\x40\0\0\0\0[]")
