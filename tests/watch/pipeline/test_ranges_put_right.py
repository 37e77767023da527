"""What the chain does once the ranges of a set are known to be told wrong: from the next spoke on all is right, and
the skipper is told for as long as it lasts."""

from __future__ import annotations

import pytest
from watch_made_run import CELL_M, MadeRun, seconds_of

from moonless.reading.registration.stage import RegistrationStage


def test_ranges_are_put_right_from_the_next_turn_on_and_it_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[float | None] = []

    def factor(_: RegistrationStage) -> float | None:
        asked.append(None)
        return 2.0 if len(asked) == 2 else None  # at the end of the second turn

    monkeypatch.setattr(RegistrationStage, "range_factor", property(factor))
    turns = [t for t in MadeRun().play(25.0) if t.scan is not None]
    cells = [t.scan.cell_m for t in turns if t.scan is not None]
    at = cells.index(pytest.approx(2.0 * CELL_M))
    assert cells[:at] == pytest.approx([CELL_M] * at, rel=1e-3)
    assert cells[at:] == pytest.approx([2.0 * CELL_M] * (len(cells) - at), rel=1e-3)
    assert len(cells) - at >= 5
    # The lump that stands 51 cells off the bow: its plots move out with the metres, and no track of the old ones stays.
    for turn in turns[at + 2 :]:
        assert turn.picture is not None and turn.picture.plots.range_m.max() > 1.9 * 50.0 * CELL_M
        assert all(e.range_m is None or e.range_m > 1.5 * 50.0 * CELL_M for e in turn.reading.echoes)
    told = [(seconds_of(t), f) for t in turns for f in t.reading.faults]
    assert {(f.what, f.state) for _, f in told} == {("radar", "disagrees")}
    assert len(told) == len(turns) - at
    assert len({f.since_ns for _, f in told}) == 1
    says = [c.say for t in turns for c in t.reading.calls if c.key == "fault radar disagrees"]
    assert says and all("2 times what the radar tells" in say for say in says)
