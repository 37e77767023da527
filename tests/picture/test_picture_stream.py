"""A screen frame after frame: the sweep gives time; a frozen, covered or changed screen sends nothing false."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

pytest.importorskip("cv2")

from bench.screens.echoes import made_echo
from bench.screens.layouts import Layout
from bench.screens.screen import Shown, draw_screen

from moonless.picture.stream import PictureStream
from moonless.picture.told import PictureErrors, Told
from moonless.scan.assembler import ScanAssembler
from moonless.scan.pose import PoseSeries
from moonless.scan.types import ScanErrors
from moonless.watch.screen.transcribe import blocks_of, errors_in, summary_of
from moonless.wire.cat240 import Cat240Decoder, Summary, Video

TAU = 2.0 * math.pi
NS = 1_000_000_000
TURN_NS = 5 * NS // 2


def frame(layout: Layout, turn: float, scale_nm: float = 3.0) -> NDArray[np.uint8]:
    """The screen at a time counted in turns; each turn has its own echoes."""
    number, part = int(turn), turn % 1.0
    older = None if number == 0 else made_echo(number - 1)
    pixels = draw_screen(layout, Shown(made_echo(number), scale_nm, older=older, sweep_rad=part * TAU)).pixels
    return np.ascontiguousarray(pixels[:, :, ::-1])


@pytest.fixture(scope="module")
def reading(layout: dict[str, Layout]) -> PictureStream:
    """A stream that has found its screen and follows its sweep: five looks a turn, the last after one turn."""
    stream = PictureStream(Told(range_nm=3.0))
    outs = [stream.put(frame(layout["small"], 1.0 + 0.2 * k), NS + k * TURN_NS // 5) for k in range(6)]
    assert stream.is_reading, outs[0].said
    return stream


def test_what_was_swept_since_the_last_frame_is_sent(reading: PictureStream, layout: dict[str, Layout]) -> None:
    begin = NS + TURN_NS
    outs = [reading.put(frame(layout["small"], 2.0 + 0.2 * k), begin + k * TURN_NS // 5) for k in (1, 2, 3)]
    angles, times = [], []
    for k, out in enumerate(outs):
        # A spoke that is covered in part comes in stretches; each direction counts once.
        assert out.spokes and out.errors is not None
        once = {s.azimuth_start_rad: s.time_ns for s in out.spokes}
        angles += list(once)
        times += list(once.values())
        # As far as the sweep was drawn, to three degrees.
        assert math.degrees(out.spokes[-1].azimuth_end_rad) == pytest.approx(72.0 * (k + 1), abs=3.0)
    # No direction twice, none left out: a row of 1024 is 0.35 degrees.
    step = np.remainder(np.diff(angles), TAU)
    assert np.degrees(step.min()) > 0.3 and np.degrees(step.max()) < 0.4
    # When the antenna looked there, to eight degrees of its turn.
    drawn_ns = begin + np.remainder(angles, TAU) / TAU * TURN_NS
    drawn_ns = np.where(np.array(angles) > 6.0, drawn_ns - TURN_NS, drawn_ns)
    assert np.abs(np.array(times) - drawn_ns).max() < 8.0 / 360.0 * TURN_NS


def test_a_frozen_screen_sends_nothing_and_says_so(reading: PictureStream, layout: dict[str, Layout]) -> None:
    still = frame(layout["small"], 2.6)
    outs = [reading.put(still, 6 * NS + k * NS) for k in range(7)]
    assert not any(out.spokes for out in outs)
    assert any("stands still" in line for out in outs for line in out.said)


def test_a_covered_lens_is_no_empty_sea(layout: dict[str, Layout]) -> None:
    stream = PictureStream(Told(range_nm=3.0))
    picture = frame(layout["small"], 1.0)
    stream.put(picture, NS)
    outs = [stream.put(np.full_like(picture, 9), (2 + k) * NS) for k in range(3)]
    assert not any(out.spokes for out in outs)
    assert not stream.is_reading


def test_another_range_is_seen_in_the_next_frame(layout: dict[str, Layout]) -> None:
    # The figure is one that can be read, so that the range is the screen's own.
    screen = replace(layout["steep"], range_words="{range} NM")
    stream = PictureStream()
    first = stream.put(frame(screen, 1.0, 3.0), NS)
    assert stream.is_reading and stream.found is not None, first.said
    assert stream.found.range_m == pytest.approx(3 * 1852.0)
    out = stream.put(frame(screen, 1.2, 6.0), 2 * NS)
    # Read anew in the same frame, or nothing is sent until it is.
    if stream.is_reading:
        assert stream.found.range_m == pytest.approx(6 * 1852.0)
    else:
        assert not out.spokes and out.said


def test_a_range_that_was_told_does_not_outlive_a_change(layout: dict[str, Layout]) -> None:
    screen = layout["steep"]
    stream = PictureStream(Told(range_nm=3.0))
    stream.put(frame(screen, 1.0, 3.0), NS)
    assert stream.is_reading
    stream.put(frame(screen, 1.2, 6.0), 2 * NS)
    assert stream.found is not None
    assert not stream.is_reading or stream.found.range_m == pytest.approx(6 * 1852.0)


def test_what_is_covered_comes_out_as_unknown_not_as_empty() -> None:
    from moonless.picture.types import PictureScan

    echo = np.full((64, 100), 9, np.uint8)
    shown = np.ones((64, 100), np.bool_)
    shown[10:20, 40:60] = False
    scan = PictureScan(echo, shown, 1000.0, False, 5.0, 0.003, 0)
    spokes = scan.spokes(np.arange(64, dtype=np.int64) * 10_000_000 + NS, np.arange(64), 0)
    videos = [v for b in blocks_of(spokes) for v in Cat240Decoder().datagram(b) if isinstance(v, Video)]
    assembler = ScanAssembler(ScanErrors(0.02, 10.0, 0.0, 0.0))
    for video in videos:
        assembler.add(video.to_spoke(NS), PoseSeries())
    got = assembler.flush(PoseSeries())
    assert got is not None and got.covered is not None
    assert got.covered[12, 40:60].all() and not got.covered[30].any()
    assert got.echo.shape == (64, 100) and (got.echo[30] == 9).all() and (got.echo[12, 60:] == 9).all()
    assert not got.shows(np.array([12]), np.array([500.0]))[0] and got.shows(np.array([30]), np.array([500.0]))[0]


def test_how_exact_it_is_goes_with_it() -> None:
    told = PictureErrors(12.34, math.radians(0.25), 0.5)
    (summary,) = Cat240Decoder().datagram(summary_of(told, NS))
    assert isinstance(summary, Summary)
    back = errors_in(summary.text)
    assert back is not None and back.range_sigma_m == pytest.approx(12.34)
    assert back.azimuth_sigma_rad == pytest.approx(told.azimuth_sigma_rad, rel=1e-3)
    assert errors_in("anything else") is None
