"""When a radar is called deaf: at once where there was ample, after two turns of nothing where there was little."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from moonless.units import NS_PER_S
from moonless.watch.instruments.radar.hearing import RadarHearing

T0 = 1_800_000_000 * NS_PER_S


def _deaf(
    monkeypatch: pytest.MonkeyPatch, turns: list[tuple[int, float]], *, is_cut: bool = False
) -> list[float | None]:
    """Return since when it is deaf after each turn of (standing echoes, return over noise in dB), seconds."""
    hearing, out = RadarHearing(), list[float | None]()
    standing = iter([n for n, _ in turns])
    monkeypatch.setattr(RadarHearing, "_standing", lambda self, picture, reach_m: next(standing))
    for k, (_, return_db) in enumerate(turns):
        end_ns = T0 + 2 * k * NS_PER_S
        scan: Any = SimpleNamespace(
            time_ns=np.array([end_ns - NS_PER_S, end_ns]),
            end_ns=end_ns,
            n_cell=100,
            received_fraction=1.0,
            max_range_m=3e3,
        )
        picture: Any = SimpleNamespace(clutter_db=np.full((8, 100), return_db), is_cut=is_cut)
        hearing._last = hearing._last or []  # something stood to be held against
        hearing.picture(scan, picture)
        out.append(None if hearing.deaf_since_ns is None else (hearing.deaf_since_ns - T0) / NS_PER_S)
    return out


NOTHING = (0, -40.0)


@pytest.mark.parametrize(
    ("last", "told"),
    [
        # Three echoes that stand, or 6 dB of return: losing all of it is no weather.
        ((3, -40.0), [None, 0.0, 0.0]), ((2, -40.0), [None, None, 0.0]), ((0, 6.1), [None, 0.0, 0.0]),
        ((0, 5.9), [None, None, 0.0]),
    ],
)  # fmt: skip
def test_where_there_was_ample_it_is_deaf_at_once(
    last: tuple[int, float], told: list[float | None], monkeypatch: pytest.MonkeyPatch
) -> None:
    assert _deaf(monkeypatch, [last, NOTHING, NOTHING]) == told


def test_a_set_that_cuts_is_not_called_deaf_for_little_and_hearing_ends_it(monkeypatch: pytest.MonkeyPatch) -> None:
    assert _deaf(monkeypatch, [(2, -40.0), NOTHING, NOTHING, NOTHING], is_cut=True) == [None] * 4
    assert _deaf(monkeypatch, [(3, -40.0), NOTHING, (2, -40.0)], is_cut=True) == [None, 0.0, None]
    # Where it never heard three turns of nothing are asked for, since the first began.
    assert _deaf(monkeypatch, [NOTHING] * 4) == [None, None, 3.0, 3.0]
