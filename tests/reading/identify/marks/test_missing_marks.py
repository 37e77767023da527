"""Which charted marks are missing: looked for long enough, and not where the beam cannot part them."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
from reading_fakes import make_boat, make_mark

from moonless.reading.chart_around import Place
from moonless.reading.identify.explain import Explained
from moonless.reading.identify.mark_watch import Looked, Lookout
from moonless.reading.identify.missing import MissingWatch


def _turns(watch: MissingWatch, p: float, looked: bool, seen: bool, n: int) -> Any:
    for _ in range(n):
        (account,) = watch.look([("c", "1")], np.array([p]), np.array([looked]), np.array([seen]))
    return account


def test_a_mark_that_should_show_and_does_not_is_missing_after_some_looks() -> None:
    watch = MissingWatch()
    assert not _turns(watch, 0.95, True, False, 4).is_missing
    assert _turns(watch, 0.95, True, False, 8).is_missing
    assert not _turns(watch, 0.95, False, True, 3).is_missing


def test_what_is_not_looked_at_or_hardly_shows_is_never_missing() -> None:
    assert not _turns(MissingWatch(), 0.95, False, False, 200).is_missing
    assert not _turns(MissingWatch(), 0.3, True, False, 200).is_missing


def test_marks_that_the_beam_cannot_part_are_not_looked_for() -> None:
    lookout = Lookout(make_boat())
    scan: Any = SimpleNamespace(errors=SimpleNamespace(beam_rad=0.07, pulse_m=40.0))
    # Two abreast 90 m apart and one far off: at 2000 m the beam is 140 m wide, at 1000 m 70 m.
    rel = np.array([[-45.0, 2000.0], [45.0, 2000.0], [800.0, 2000.0]])
    sure = np.ones(3)
    far = lookout._unparted(rel, np.hypot(*rel.T), sure, scan)
    near = lookout._unparted(rel - [0.0, 1000.0], np.hypot(*(rel - [0.0, 1000.0]).T), sure, scan)
    assert far.tolist() == [True, True, False]
    assert not near.any()
    # One that would not show anyway covers nothing.
    faint = lookout._unparted(rel, np.hypot(*rel.T), np.array([1.0, 0.1, 1.0]), scan)
    assert faint.tolist() == [False, True, False]


def _looked_for(n_silent: int, n: int = 6) -> tuple[Lookout, Place, Looked]:
    """So many marks in view, of which the first stay silent for twenty turns and the others show."""
    lookout = Lookout(make_boat())
    place: Any = SimpleNamespace(marks=tuple(make_mark(100.0 * i, 500.0, str(i)) for i in range(n)))
    silent, sure = np.arange(n) < n_silent, np.full(n, 0.95)
    names = [(m.cell, m.feature) for m in place.marks]
    assert len(set(names)) == n
    for _ in range(20):
        accounts = lookout._watch.look(names, sure, silent, ~silent)
    lookout._gone.update({name: a.p_gone for name, a in zip(names, accounts, strict=True)})
    return lookout, place, Looked(np.arange(n), sure, silent, ~silent)


def test_a_mark_found_elsewhere_has_moved_and_is_not_missing() -> None:
    lookout, place, looked = _looked_for(2)
    nothing, moved = Explained("mark", 0.9, np.zeros(7), None, None), Explained("mark", 0.9, np.zeros(7), 1, None)
    assert [m.mark.name for m in lookout.missing(place, looked, [nothing])] == ["0", "1"]
    assert [m.mark.name for m in lookout.missing(place, looked, [moved])] == ["0"]


def test_when_most_marks_are_silent_it_is_the_radar_that_does_not_see() -> None:
    lookout, place, looked = _looked_for(4)
    assert lookout.missing(place, looked, []) == ()
