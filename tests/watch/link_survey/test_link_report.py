"""What is said of a link, line by line: counts, what cannot be used, what is stale, whose clock is off."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest

from moonless.units import NS_PER_S
from moonless.watch.link_survey.report import InstrumentCheck, LinkCheck, RadarCheck, missing
from moonless.wire.cat240 import encode_video
from moonless.wire.links import parse_link
from moonless.wire.nmea_write import write_hdt, write_rmc, write_zda

T0 = 1_930_000_000 * NS_PER_S


def _sentence(body: str) -> bytes:
    sum_ = 0
    for c in body:
        sum_ ^= ord(c)
    return f"${body}*{sum_:02X}\r\n".encode()


def _check(*lines: bytes, is_file: bool = False, every_s: float = 0.0) -> InstrumentCheck:
    check = InstrumentCheck(is_file)
    for k, line in enumerate(lines):
        check.put(line, T0 + round(k * every_s * NS_PER_S), False)
    return check


def test_what_is_heard_is_counted_by_kind() -> None:
    rmc, hdt = (f"{text}\r\n".encode() for text in (write_rmc(T0, 10.0, -20.0, 0.5, 4.0), write_hdt(0.5)))
    check = _check(rmc, hdt, hdt)
    assert check.lines(T0) == ["heard: HDT 2, RMC 1"]
    assert check.whats == {"position", "motion", "heading", "date"} and check.has_true_heading


def test_what_cannot_be_used_is_said_line_by_line() -> None:
    good = f"{write_hdt(0.5)}\r\n".encode()
    wrong, none = b"$HEHDT,10.0,T*00\r\n", b"$HEHDT,10.0,T\r\n"
    assert _check(wrong, none, none).lines(T0) == ["no sentence with a right checksum (1 wrong, 2 without)"]
    lines = _check(good, wrong, none, none, _sentence("GPXDR,C,1.0,C,X"), _sentence("HEHDT,400.0,T")).lines(T0)
    assert lines[0] == "heard: HDT 1" and "not used: XDR 1" in lines
    assert "1 sentences with a wrong checksum, 2 without one" in lines
    assert any(line.startswith("fields that cannot be: ") for line in lines)
    # A receiver that has no fix, and a compass that cannot be made true before there is a place.
    void = _sentence("GPRMC,120000.00,V,,,,,,,240331,,,N")
    lines = _check(void, void, _sentence("HCHDM,100.0,M")).lines(T0)
    assert "the position receiver said 2 times that it has no fix" in lines
    assert "1 compass headings could not be made true: no position yet" in lines


@pytest.mark.parametrize(("late_s", "is_stale"), [(2.9, False), (3.1, True)])
def test_what_has_not_come_for_three_seconds_is_stale_on_a_live_link(late_s: float, is_stale: bool) -> None:
    line = f"{write_hdt(0.5)}\r\n".encode()
    now = T0 + round(late_s * NS_PER_S)
    assert ("stale: HDT" in _check(line).lines(now)) is is_stale
    assert not any("stale" in said for said in _check(line, is_file=True).lines(now))


@pytest.mark.parametrize(
    ("off_s", "said"),
    [
        (0.9, None),
        (1.2, "its clock is 1.2 s ahead of this computer's"),
        (-7.5, "its clock is 7.5 s behind this computer's"),
    ],
)
def test_a_clock_a_second_off_is_said(off_s: float, said: str | None) -> None:
    line = f"{write_zda(T0 + round(off_s * NS_PER_S))}\r\n".encode()
    assert [x for x in _check(line).lines(T0) if "clock" in x] == ([] if said is None else [said])
    assert not any("clock" in x for x in _check(line, is_file=True).lines(T0))
    assert "heard: ZDA 1" in _check(line).lines(T0)


def _turn(n_spoke: int = 90, turns: float = 1.2, period_s: float = 2.5, *, drop: int = 0) -> RadarCheck:
    check, step = RadarCheck(False), 2.0 * math.pi / n_spoke
    for k in range(round(turns * n_spoke)):
        if k % n_spoke < drop:
            continue
        block = encode_video(
            np.zeros(96, np.uint8), azimuth_start_rad=(k % n_spoke) * step, azimuth_end_rad=(k % n_spoke + 1) * step,
            cell_m=20.0, sequence=k, sic=1,
        )  # fmt: skip
        check.put(block, T0 + round(k * period_s / n_spoke * NS_PER_S), True)
    return check


def test_what_a_radar_sends_is_told_with_its_figures() -> None:
    lines = _turn(turns=3.2).lines()
    assert lines[0] == "288 spokes, 8-bit, without time of day"
    # The first cell stands at nought, so the far edge of the last lies at 95.5 times 20 m, 1.03 miles; 2.5 s a turn.
    assert lines[1].startswith(
        "90 spokes a turn of 96 cells of 20.00 m to 1.03 NM, 24.0 turns a minute; 100.0% of the last"
    )
    assert _turn(turns=0.5).lines() == ["45 spokes, 8-bit, without time of day", "no whole turn heard yet"]


def test_what_is_no_video_is_said_to_be_that() -> None:
    check = RadarCheck(False)
    assert check.lines() == ["no radar video in it (0 category 240 blocks)"]
    check.put(bytes([48, 0, 8, 0x80, 1, 2, 3, 4]), T0, True)
    lines = check.lines()
    assert lines[0].startswith("no radar video in it (") and "other categories passed over: 48" in lines


@pytest.mark.parametrize(
    ("state", "text", "n", "says"),
    [
        ("open", "", 0, "open; nothing heard"), ("ended", "", 0, "ended; nothing heard"),
        ("opening", "", 0, "not open"),
        ("lost", "udp://0.0.0.0:10110: refused", 0, "refused"), ("open", "", 1, "open, 19 bytes"),
    ],
)  # fmt: skip
def test_how_a_link_stands(state: Any, text: str, n: int, says: str) -> None:
    check = LinkCheck(parse_link("udp://0.0.0.0:10110"), False)
    check.state, check.text = state, text
    for _ in range(n):
        check.put(f"{write_hdt(0.5)}\r\n".encode(), T0, False)
    lines = check.lines(T0)
    assert lines[0] == f"nmea  udp://0.0.0.0:10110: {says}"
    assert lines[1:] == (["    heard: HDT 1"] if n else [])


def test_what_the_watch_would_have_to_do_without() -> None:
    check = LinkCheck(parse_link("udp://0.0.0.0:10110"), False)
    check.put(f"{write_rmc(T0, 10.0, -20.0, 0.5, 4.0)}\r\n".encode(), T0, False)
    check.put(_sentence("HCHDM,100.0,M"), T0, False)
    said = missing([check])
    assert said[0] == "no radar link is named"
    assert [line.split(" (")[0] for line in said[1:5]] == ["no rate of turn", "no depth", "no wind", "no AIS"]
    assert said[5:] == [
        "heading from a compass only: it is corrected by the magnetic model, not for its deviation card"
    ]
    check.put(f"{write_hdt(0.5)}\r\n".encode(), T0, False)
    assert not any("compass only" in line for line in missing([check]))
    radar = LinkCheck(parse_link("udp://0.0.0.0:4001"), True)
    assert missing([check, radar])[0] == "no radar video: no echoes, no seeing line"
    radar.radar = _turn()
    assert not any("radar" in line for line in missing([check, radar]))
    assert any(line.startswith("no heading (") and line.endswith("will be withdrawn") for line in missing([radar]))
