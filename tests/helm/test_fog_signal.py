"""The reminder of the fog signal."""

from __future__ import annotations

from moonless.helm.fog_signal import EARLY_S, FogReminder


def test_in_time_for_every_interval() -> None:
    # COLREGs Rule 35(a), (b): intervals of not more than 2 minutes; one prolonged making way, two when stopped.
    fog = FogReminder(18.0)
    assert fog.due(0.0, 10.0) is None and fog.wait_s(0.0) is None
    fog.switch(True, 100.0)
    assert fog.due(100.0, 10.0) == "Fog signal now: one prolonged blast. Rule 35(a)."
    assert fog.due(101.0, 10.0) is None
    told = [t for t in range(101, 700) if fog.due(float(t), 0.1) is not None]
    assert all(b - a <= 120.0 for a, b in zip([100, *told], told, strict=False))
    assert len(told) == 5 and told[0] == 100 + 120 - EARLY_S
    fog.switch(False, 700.0)
    assert fog.due(10_000.0, 0.1) is None and not fog.is_on


def test_stopped_and_small() -> None:
    fog = FogReminder(18.0)
    assert "two prolonged" in fog.signal(0.0).say
    # An unknown speed is not taken for stopped.
    assert "one prolonged" in fog.signal(None).say
    # Rule 35(j): under 12 m some other efficient sound may serve.
    assert "another efficient sound" in FogReminder(9.0).signal(10.0).say
