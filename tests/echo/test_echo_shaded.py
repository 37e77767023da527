"""Sectors in which the set sends nothing, and streaks of other radars."""

from __future__ import annotations

import numpy as np
from bench.made.video import Made

from moonless.echo.background.interference import take_out_streaks
from moonless.echo.background.shaded_sectors import shaded_rows
from moonless.echo.detector import Detector


def sea(made: Made, blind=(200, 300)):
    """Spiky sea all round but for noise alone in a blind sector of the bow's own."""
    power = 30.0 * made.texture(0.6, 6, 3)
    power[blind[0] : blind[1]] = 0.0
    return power


def strips(made: Made, detector: Detector, turn: int, **kw):
    detector.detect(made.scan(made.counts(made.draw(sea(made, **kw))), number=turn))
    seen = detector.last_examined
    return seen.box_db, seen.grid


def test_a_blind_sector_is_found_to_a_beam():
    made = Made(n_spoke=720, n_cell=300, beam_deg=2.0)
    detector = Detector()
    for blind in ((200, 300), (0, 90), (640, 719)):
        box_db, grid = strips(made, detector, 0, blind=blind)
        spoke = grid.row_edge[:-1]
        shaded = shaded_rows(box_db, grid)
        beam = 8
        inside = (spoke > blind[0] + beam) & (spoke < blind[1] - beam)
        outside = (spoke < blind[0] - beam) | (spoke > blind[1] + beam)
        if blind[0] == 0:
            outside &= spoke < 720 - beam
        if blind[1] == 719:
            outside &= spoke > beam
        assert np.all(shaded[inside])
        assert not np.any(shaded[outside])


def test_a_calm_has_no_shaded_sector():
    made = Made(n_spoke=720, n_cell=300, beam_deg=2.0)
    made.point(1.0, 900.0, 30.0)
    detector = Detector()
    detector.detect(made.scan())
    assert not np.any(shaded_rows(detector.last_examined.box_db, detector.last_examined.grid))


def test_both_sides_of_the_edge_keep_the_designed_rate():
    made = Made(n_spoke=720, n_cell=300, beam_deg=2.0)
    detector = Detector(p_false=1e-3)
    over = {"in": [], "out": []}
    for turn in range(10):
        # The boat turns: what is blind turns with her, not with the sea.
        made.heading_rad = 0.3 + 0.05 * turn
        box_db, grid = strips(made, detector, turn)
        if turn < 2:
            continue
        spoke = grid.row_edge[:-1]
        passed = box_db >= detector.last_examined.threshold_db
        near_in = ((spoke > 206) & (spoke < 216)) | ((spoke > 284) & (spoke < 294))
        near_out = ((spoke > 184) & (spoke < 194)) | ((spoke > 306) & (spoke < 316))
        over["in"].append(passed[near_in].mean())
        over["out"].append(passed[near_out].mean())
    # A few hundred boxes a turn that share their energy: a factor of three for the count.
    assert np.mean(over["in"]) < 3e-3
    assert 3e-4 < np.mean(over["out"]) < 3e-3


def test_a_streak_goes_and_the_boat_under_it_stays():
    made = Made(n_spoke=720, n_cell=300, beam_deg=2.0, pulse_m=12.0)
    made.point(1.0, 900.0, 25.0)
    video = made.draw()
    spoke = round(1.0 / (2 * np.pi) * 720)
    counts = made.counts(video)
    jammed = counts.copy()
    jammed[spoke, 100:180] = 255
    scan, streaks = take_out_streaks(made.scan(jammed))
    assert streaks == 1
    assert scan.echo[spoke, 100:180].max() < 255
    # The neighbours still show the boat, 1.5 dB or so under what her own spoke showed.
    assert scan.echo[spoke, 148:152].max() >= counts[spoke, 148:152].max() - 15
    same, none = take_out_streaks(made.scan(counts))
    assert none == 0
    assert same.echo is counts or np.array_equal(same.echo, counts)


def test_what_is_learnt_outlives_a_change_of_spokes():
    """A set sends some spokes more or fewer each turn: rows are bearings, and the map is kept."""
    detector = Detector()
    kept = None
    for turn, n in enumerate((720, 735, 705, 728)):
        made = Made(n_spoke=n, n_cell=300, beam_deg=2.0, seed=turn)
        made.point(2.0, 900.0, 25.0)
        plots = detector.detect(made.scan(number=turn)).plots
        off = np.abs(np.mod(plots.azimuth_rel_rad - 2.0 + np.pi, 2 * np.pi) - np.pi)
        assert np.any((off < 0.01) & (np.abs(plots.range_m - 900.0) < 10.0))
        assert kept is None or detector.boxes.map is kept
        kept = detector.boxes.map
    assert kept is not None
    assert kept.turns == 4
