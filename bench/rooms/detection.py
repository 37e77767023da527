"""``detection``: false-alarm rates against the design rate, and probability of detection against theory.

False alarms: boxes over the threshold among all boxes tested, as a ratio to the design rate of 1e-4; 1 is perfect,
0.5 to 2 is promised.  Every turn is drawn anew.  The map learns for eight turns first.

    noise     receiver noise alone
    k         K-distributed sea 20 dB over the noise, shape 0.5 to 10, textured in patches of one beam by one pulse,
              new each turn, with open noise beyond it
    edge      a step of 20 dB; boxes within 14 blocks of it
    rain      a round shower, 20 dB over the noise in its middle
    plots     false plots a turn after plot forming, at the rate the detector sets itself

Detection: the SNR at which half (and nine tenths) of single echoes are found, less the SNR at which theory finds them
with the same energy in the box, the same looks, and a reference of the same ordered statistics (the higher of two
medians of 24 strips).  One turn, no memory: the detector has learnt on noise and meets each echo once.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy import special

from bench.made.video import Made
from bench.result import Result
from moonless.echo.background.theory import Fluctuation, p_detect
from moonless.echo.detector import Detector
from moonless.echo.examine import design_rate
from moonless.echo.grid import Grid, grid_for

Floats = NDArray[np.float64]
K_SHAPES = (0.5, 1.0, 2.0, 5.0, 10.0)
CASES: tuple[Fluctuation, ...] = (0, 1, 3)
NAMES = (
    "detection.false.noise",
    *(f"detection.false.k{shape:g}" for shape in K_SHAPES),
    "detection.false.edge",
    "detection.false.rain",
    "detection.false.plots",
    *(f"detection.swerling{case}.pd50" for case in CASES),
    *(f"detection.swerling{case}.pd90" for case in CASES),
)
GEOMETRY = dict(n_spoke=1024, n_cell=512, cell_m=6.0, beam_deg=3.9, pulse_m=18.0)
DESIGN = 1e-4
LEARN = 8
TURNS = 30
SEA_COLS = 320


def _rate(clutter: Callable[[Made], Floats | float], cols: Callable[[Grid], slice], turns: int = TURNS) -> float:
    """Return boxes over the threshold, as a share of those tested."""
    made = Made(**GEOMETRY)  # type: ignore[arg-type]
    detector = Detector(p_false=DESIGN)
    passed = tested = 0
    for turn in range(LEARN + turns):
        scan = made.scan(made.counts(made.draw(clutter(made))), number=turn)
        detector.detect(scan)
        seen = detector.last_examined
        assert seen is not None
        if turn >= LEARN:
            mask = (seen.box_db >= seen.threshold_db)[:, cols(seen.grid)]
            passed += int(mask.sum())
            tested += mask.size
    return passed / tested


def _sea(shape: float) -> Callable[[Made], Floats]:
    def clutter(made: Made) -> Floats:
        power = np.zeros((made.n_spoke, made.n_cell))
        patch = round(made.beam_deg / 360.0 * made.n_spoke)
        power[:, :SEA_COLS] = 100.0 * made.texture(shape, patch, round(made.pulse_m / made.cell_m))[:, :SEA_COLS]
        return power

    return clutter


def _edge(made: Made) -> Floats:
    power = np.zeros((made.n_spoke, made.n_cell))
    power[:, :256] = 99.0
    return power


def _rain(made: Made) -> Floats:
    r = np.arange(made.n_cell)[None, :] * made.cell_m
    a = np.arange(made.n_spoke)[:, None] * 2 * np.pi / made.n_spoke
    off2 = (r * np.cos(a) - 1200.0) ** 2 + (r * np.sin(a) - 800.0) ** 2
    return np.asarray(100.0 * 0.5 ** (off2 / 500.0**2))


def _all(grid: Grid) -> slice:
    return slice(None)


def _false_plots() -> float:
    """Return false plots a turn in noise, at the detector's own rate."""
    made = Made(**GEOMETRY)  # type: ignore[arg-type]
    detector = Detector()
    counts = []
    for turn in range(LEARN + TURNS):
        picture = detector.detect(made.scan(made.counts(made.draw()), number=turn))
        if turn >= LEARN:
            counts.append(len(picture.plots))
    return float(np.mean(counts))


@lru_cache(maxsize=1)
def reference_levels(looks: int, strips: int, columns: int) -> Floats:
    """Return draws of the higher of two medians of ``columns`` strips of ``looks / strips`` looks, mean noise 1."""
    rng = np.random.default_rng(7)
    each = max(1.0, looks / strips)
    draws = rng.gamma(each, 1.0 / each, (4000, 2, columns))
    # The kernel's median is the upper of the two middles.
    return np.asarray(np.sort(draws, axis=2)[:, :, columns // 2].max(axis=1))


def theory(grid: Grid, design: float, snr: Floats, case: Fluctuation) -> Floats:
    """Return the probability that a box with this mean SNR passes the best threshold its reference allows."""
    looks = round(grid.box_looks)
    levels = reference_levels(looks, grid.box_cols, grid.window)
    low, high = 1.0, 20.0
    for _ in range(60):
        factor = 0.5 * (low + high)
        rate = float(np.mean(special.gammaincc(looks, looks * factor * levels)))
        low, high = (factor, high) if rate > design else (low, factor)
    # The reference's spread folded in by eight of its own quantiles.
    middle = np.quantile(levels, (np.arange(8) + 0.5) / 8)
    return np.mean([p_detect(snr, looks, factor * level, case) for level in middle], axis=0)


def _found(case: Fluctuation, snr_db: Floats) -> tuple[Floats, Grid, float]:
    """Return (share found at each peak SNR, grid, box energy over peak energy)."""
    made = Made(**GEOMETRY, seed=3)  # type: ignore[arg-type]
    detector = Detector(p_false=DESIGN)
    for turn in range(LEARN):
        detector.detect(made.scan(made.counts(made.draw()), number=turn))
    grid = grid_for(made.n_spoke, made.n_cell, made.cell_m, made.beam_rad, made.pulse_m)
    azimuths = np.arange(24) * (2 * np.pi / 24)
    ranges = 300.0 + 250.0 * np.arange(11)
    hits = np.zeros(snr_db.size)
    count = np.zeros(snr_db.size)
    turn = LEARN
    shares = []
    for k, level in enumerate(snr_db):
        for _ in range(3):
            made.clear()
            truth = []
            for r0 in ranges:
                row = np.zeros(made.n_spoke)
                jitter = made.rng.uniform(-0.5, 0.5)
                range_m = r0 + jitter * made.cell_m
                for a0 in azimuths:
                    azimuth = a0 + made.rng.uniform(-0.5, 0.5) * made.beam_rad
                    strength = 1.0
                    if case:
                        shape = 1.0 if case == 1 else 2.0
                        strength = float(made.rng.gamma(shape, 1.0 / shape))
                    row += strength * made.beam(azimuth)
                    truth.append((azimuth, range_m))
                made.power += 10 ** (level / 10) * row[:, None] * made.pulse(range_m)[None, :]
            scan = made.scan(made.counts(made.draw()), number=turn)
            seen = detector.examine(scan)
            turn += 1
            mask = seen.box_db >= seen.threshold_db
            for azimuth, range_m in truth:
                a = round(azimuth / (2 * np.pi) * grid.n_row) % grid.n_row
                c = int((range_m / made.cell_m + 0.5) / grid.col_cells)
                rows = [(a + d) % grid.n_row for d in range(-1, 2)]
                hits[k] += bool(mask[rows][:, max(0, c - 1) : c + 2].any())
                count[k] += 1
    # Energy in the box that holds the point best, over the peak.
    for azimuth in np.linspace(0.0, 2 * np.pi, 40, endpoint=False):
        power = made.beam(azimuth)[:, None] * made.pulse(1203.0)[None, :]
        rows = np.array([power[grid.row_edge[i] : grid.row_edge[i + 1]].sum(axis=0) for i in range(grid.n_row)])
        rows = sum(np.roll(rows, d, axis=0) for d in range(grid.box_rows))
        cells = grid.col_cells * grid.box_cols
        best = max(rows[:, j : j + cells].sum(axis=1).max() for j in range(190, 212))
        shares.append(best / grid.box_looks)
    return hits / count, grid, float(np.mean(shares))


def _losses(case: Fluctuation) -> tuple[float, float]:
    """Return how many dB more than theory the detector needs for Pd 0.5 and 0.9."""
    snr_db = np.arange(-2.0, 17.0, 1.0) if case else np.arange(-2.0, 8.0, 0.5)
    found, grid, share = _found(case, snr_db)
    fine = np.linspace(snr_db[0], snr_db[-1], 200)
    wanted = theory(grid, DESIGN, share * 10 ** (fine / 10), case)
    found = np.maximum.accumulate(found)
    out = []
    for level in (0.5, 0.9):
        ours = float(np.interp(level, found, snr_db))
        best = float(np.interp(level, wanted, fine))
        out.append(ours - best)
    return out[0], out[1]


def run(names: Sequence[str]) -> Iterator[Result]:
    """Yield the figures asked for."""
    rates: list[tuple[str, Callable[[Made], Floats | float], Callable[[Grid], slice]]] = [
        ("noise", lambda made: 0.0, _all),
        *((f"k{shape:g}", _sea(shape), lambda g: slice(0, (SEA_COLS - 30) // g.col_cells)) for shape in K_SHAPES),
        ("edge", _edge, lambda g: slice(256 // g.col_cells - 14, 256 // g.col_cells + 14)),
        ("rain", _rain, _all),
    ]
    for what, clutter, cols in rates:
        name = f"detection.false.{what}"
        if name in names:
            yield Result(name, _rate(clutter, cols) / DESIGN, "of design rate", "design", 1.0, None)
    if "detection.false.plots" in names:
        made = Made(**GEOMETRY)  # type: ignore[arg-type]
        grid = grid_for(made.n_spoke, made.n_cell, made.cell_m, made.beam_rad, made.pulse_m)
        expected = design_rate(grid) * grid.n_row * grid.n_col
        yield Result("detection.false.plots", _false_plots(), "plots a turn", "boxes by design", expected, None)
    for case in CASES:
        wanted = {f"detection.swerling{case}.pd50", f"detection.swerling{case}.pd90"} & set(names)
        if wanted:
            for label, loss in zip(("pd50", "pd90"), _losses(case), strict=True):
                if f"detection.swerling{case}.{label}" in wanted:
                    yield Result(f"detection.swerling{case}.{label}", loss, "dB over theory", "theory", 0.0, None)
