"""What is not known of the radar takes from what is seen, and is said."""

from __future__ import annotations

from reading_fakes import make_boat

from moonless.reading.collision.safe_speed import advise
from moonless.reading.identify.performance import START_SIGMA_DB, Performance
from moonless.reading.visibility.seeing import curve_for


def test_a_radar_that_no_mark_has_shown_is_not_taken_at_its_figures() -> None:
    boat = make_boat()
    performance = Performance(boat.radar)
    assert not performance.is_shown
    assert performance.cautious_db < -0.8 * START_SIGMA_DB
    curve = curve_for(boat.radar, 3000.0, 1.0, 0.3)
    plain, cautious = (curve.held_to_m(2.5, db, 20.0) for db in (performance.offset_db, performance.cautious_db))
    assert plain is not None
    assert cautious is not None
    assert cautious < 0.95 * plain


def test_it_is_said_that_no_mark_has_shown_the_radar() -> None:
    assert "No charted mark" in advise(make_boat(), 900.0, [], radar_is_shown=False).because
    assert "No charted mark" not in advise(make_boat(), 900.0, []).because
