"""The wild bench: its means and worst tenths, what it refuses, and the plain reader beside it."""

from __future__ import annotations

import math
import sys
from collections import Counter
from pathlib import Path

import numpy as np
import pytest

from moonless.frames import LocalFrame
from moonless.scan.types import Scan, ScanErrors

sys.path.insert(0, str(Path(__file__).parents[2]))

from bench.scenes import wild
from bench.scenes.plain_reader import PlainReader
from bench.scenes.wild import Outcome, whole, worst_tenth

FRAME = LocalFrame(-12.4, -118.3)


def test_the_worst_tenth_by_hand() -> None:
    values = [0.1, 0.2, *[0.9] * 18]
    # Two of twenty; of what should be small, the two largest.
    assert worst_tenth("held", values) == pytest.approx(0.15)
    assert worst_tenth("false_vessels_per_turn", values) == pytest.approx(0.9)
    assert worst_tenth("held", [0.7, 0.8]) == 0.7


def test_the_whole_by_hand() -> None:
    good = Outcome(0, ("rain", "river"), {"held": 1.0, "missing_wrong": 1.0}, Counter({("vessel", "vessel"): 5}))
    bad = Outcome(1, ("rain",), {"held": 0.5, "missing_wrong": 2.0}, Counter({("false", "vessel"): 5}), crash="")
    told = {one.name: one.value for one in whole([good, bad])}
    assert told["wild.held.mean"] == 0.75 and told["wild.held.worst_tenth"] == 0.5
    assert told["wild.missing_wrong.sum"] == 3.0
    assert told["wild.macro_f1.pooled"] == pytest.approx((2 * 5 / (5 + 10) + 0.0) / 2)
    assert told["wild.with.rain.seeds"] == 2.0 and told["wild.with.rain.held"] == 0.75
    assert "wild.with.river.seeds" not in told


@pytest.mark.parametrize("option", [["--verbose"], ["--each", "out.jsonl"], ["--pictures", "pictures"]])
def test_telling_seeds_are_not_looked_at(option: list[str], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(wild, "run_seed", lambda *a: pytest.fail("was run"))
    with pytest.raises(SystemExit):
        list(wild.run(["wild"], ["--seed", "1290", "--count", "5", *option]))


def test_a_crash_is_a_scene_in_which_nothing_is_held(monkeypatch: pytest.MonkeyPatch) -> None:
    def fails(*_: object) -> None:
        raise RuntimeError("as if")

    monkeypatch.setattr(wild, "play", fails)
    out = wild.run_seed(0)
    assert "as if" in out.crash and out.figures["held"] == 0.0


def _scan(number: int, east: float, north: float) -> Scan:
    """One blip of three rows and cells over quiet noise, seen from the origin, head north."""
    rng = np.random.default_rng(number)
    echo = rng.integers(0, 12, (720, 200)).astype(np.uint8)
    row = round(math.atan2(east, north) / (2.0 * math.pi) * 720) % 720
    cell = round(math.hypot(east, north) / 10.0 - 1.0)
    for k in (-1, 0, 1):
        echo[(row + k) % 720, cell - 1 : cell + 2] = 200
    times = number * 2_500_000_000 + np.arange(720) * 3_472_222
    return Scan(
        echo, np.ones(720, dtype=bool), times.astype(np.int64), np.full(720, FRAME.lat_deg),
        np.full(720, FRAME.lon_deg), np.zeros(720), np.zeros(720), 10.0, 10.0, 255,
        ScanErrors(0.03, 10.0, 0.005, 5.0, 0.0), number,
    )  # fmt: skip


def test_the_plain_reader_holds_what_stands_out() -> None:
    reader = PlainReader()
    for number in range(16):
        scan = _scan(number, 300.0 + 12.0 * number, 900.0)
        reading = reader.read(scan, int(scan.time_ns[-1]), FRAME)
    (echo,) = reading.echoes
    assert echo.kind == "vessel"
    # 12 m in 2.5 s, due east.
    assert echo.sog_kn == pytest.approx(12.0 / 2.5 * 3600 / 1852, rel=0.2)
    assert abs((echo.cog_deg or 0.0) - 90.0) < 12.0
    assert echo.range_m == pytest.approx(math.hypot(480.0, 900.0), abs=20.0)
