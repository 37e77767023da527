"""The memory among thousands of echoes: what is followed stays the same, and is found in bounded work."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from moonless.echo.background import scan_correlation as memory_module
from moonless.echo.background.scan_correlation import ScanCorrelation

TURN_S, N_SPOKE = 2.5, 720


def _scan(number: int) -> Any:
    n = N_SPOKE
    return SimpleNamespace(
        n_spoke=n, lat_deg=np.zeros(n), lon_deg=np.zeros(n), heading_true_rad=np.zeros(n), cell_m=10.0,
        end_ns=int((number + 1) * TURN_S * 1e9),
        errors=SimpleNamespace(pulse_m=30.0, beam_rad=0.03, azimuth_sigma_rad=0.005),
    )  # fmt: skip


def _turn(number: int, crowd: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """A shore of ``crowd`` firm echoes to the north, and one weak thing that runs east at 8 m/s in open water south."""
    rng = np.random.default_rng(number)
    spoke = rng.integers(0, N_SPOKE // 8, crowd)
    reach = rng.uniform(400.0, 900.0, crowd)
    e, n = 8.0 * TURN_S * number - 80.0, -700.0
    spoke = np.append(spoke, round(np.arctan2(e, n) / (2.0 * np.pi) * N_SPOKE) % N_SPOKE)
    return spoke.astype(np.int64), np.append(reach, np.hypot(e, n)), np.ones(crowd + 1, dtype=bool)


def _followed(crowd: int, turns: int = 8) -> tuple[np.ndarray, int]:
    """Return what the last turn follows, and of how many places runs were asked for."""
    asked = []
    kernel = memory_module.follow_kernel  # type: ignore[attr-defined]

    def counted(*args: Any) -> None:
        asked.append(len(args[0]))
        kernel(*args)

    memory = ScanCorrelation()
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(memory_module, "follow_kernel", counted)
        for number in range(turns):
            spoke, reach, firm = _turn(number, crowd)
            met = memory.ask(_scan(number), spoke, reach)
            out = memory.followed(met)
            memory.remember(_scan(number), spoke, reach, firm)
    return out, asked[-1]


def test_what_is_followed_is_the_same_when_all_are_asked(monkeypatch: pytest.MonkeyPatch) -> None:
    few, asked = _followed(300)
    monkeypatch.setattr(ScanCorrelation, "_hopeful", lambda self, p: np.ones(p.shape, dtype=bool))
    every, asked_all = _followed(300)
    assert np.array_equal(few, every) and asked < asked_all
    # The runner in open water is followed, whatever stands on the shore.
    assert few[-1]


def test_a_crowded_shore_asks_for_no_runs() -> None:
    _, asked = _followed(6_000)
    # Only what lies apart from the shore.
    assert asked < 60
