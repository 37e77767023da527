"""Plots that are echoes of another echo, told by their geometry alone; each names its parent.

    side lobe    same range as a very strong echo, far weaker, on both sides of it or in a row along the arc
    multiple     twice (three times) the range of a strong near echo on the same bearing, weaker
    indirect     off our own structure: always on one bearing from the bow, each at the range of a stronger echo

A real boat that is called false is worse than a ghost that is not, so every rule wants more than one coincidence, and
nothing is taken away: a marked plot stays a plot.  Second-trace echoes have their parent beyond the picture, at a
range that only the pulse interval tells; a scan does not carry it, so they are not marked here.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy import special

from moonless.constants import TAU
from moonless.echo.types import FalseCause, Plots
from moonless.frames import wrap_pi
from moonless.scan.types import ScanErrors

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

# Two-way side lobes of small antennas lie 40 to 60 dB under the main lobe (one-way 20 to 30); common figures of
# small sets, no source.  Ten less, for a parent that the receiver clipped.
LOBE_PARENT_DB = 42.0
LOBE_BELOW_DB = (30.0, 70.0)
LOBE_ROW = 4  # so many on one arc need no mirror image
LOBE_CHANCE = 0.003  # that as many lie on the arc, or opposite each other, by themselves
LOBE_RINGS = 8.0  # reaches to either side in which the company of the arc is counted
# A clipped echo does not say how strong it is, but how wide.  Small ones are up to 4.5 beams wide on real video cut at
# the top (docs/real-water.md); past this their flanks are side lobes already.  Land is longer than this in range, and
# what its lobes make is smaller than their parent by so much.
CLIPPED_PARENT_BEAMS, CLIPPED_PARENT_M, CLIPPED_CHILD = 5.0, 300.0, 0.35
MULTIPLE_PARENT_DB = 30.0
MULTIPLE_BELOW_DB = 8.0
MULTIPLE_PARENT_M = 3000.0  # farther off the doubled path loses what shows it
PIECE_BEAMS, PIECE_BELOW_DB = 1.6, 12.0  # plots so close, and so little weaker, may be pieces of one hull
INDIRECT_BELOW_DB = 12.0
N_SECTOR = 72  # five degrees, from the bow
TALLY_KEEP = 0.95
TALLY_LEAST = 6.0
TALLY_SHARE = 0.8


class GhostFinder:
    """Marks ghosts turn by turn; remembers on which bearings from the bow the boat's own structure reflects."""

    def __init__(self) -> None:
        self._met = np.zeros(N_SECTOR)
        self._all = np.zeros(N_SECTOR)
        self._nearest = np.full(N_SECTOR, np.inf)
        self._farthest = np.zeros(N_SECTOR)

    def mark(self, plots: Plots, errors: ScanErrors, cell_m: float, width_rad: Floats | None = None) -> Plots:
        """Return the plots with ``false_parent`` and ``false_cause`` filled in; earlier marks are kept.

        ``width_rad`` (n,): of a picture that the set has cut, how wide each echo is, its thin ends left out; None: of
        any other, where strengths tell.
        """
        n = len(plots)
        if n < 2:
            return plots
        parent = plots.false_parent.copy()
        cause: list[FalseCause | None] = list(plots.false_cause) if plots.false_cause else [None] * n
        pulse_m = max(errors.pulse_m, 2.0 * cell_m)
        steps: tuple[tuple[Ints, FalseCause], ...] = (
            (find_multiples(plots, errors.beam_rad, pulse_m), "multiple"),
            (find_side_lobes(plots, errors.beam_rad, pulse_m, width_rad), "side lobe"),
            (self._find_indirect(plots, errors.beam_rad, pulse_m), "indirect"),
        )
        for found, name in steps:
            for i in np.flatnonzero((found >= 0) & (parent < 0)):
                # A ghost's own ghost is the parent's.
                top = int(found[i])
                if parent[top] >= 0:
                    continue
                parent[i] = top
                cause[int(i)] = name
        return replace(plots, false_parent=parent, false_cause=tuple(cause))

    def _find_indirect(self, plots: Plots, beam_rad: float, pulse_m: float) -> Ints:
        """Return (n,) parents of echoes off our own structure, -1: none."""
        near = np.abs(plots.range_m[:, None] - plots.range_m[None, :]) <= 0.5 * pulse_m
        apart = np.abs(wrap_pi(plots.azimuth_rel_rad[:, None] - plots.azimuth_rel_rad[None, :])) > 3.0 * beam_rad
        weaker = plots.strength_db[:, None] <= plots.strength_db[None, :] - INDIRECT_BELOW_DB
        fits = near & apart & weaker
        met = fits.any(axis=1)
        sector = np.floor(plots.azimuth_rel_rad / TAU * N_SECTOR).astype(np.int64) % N_SECTOR
        usual = float(self._met.sum() / max(self._all.sum(), 1.0))
        self._met *= TALLY_KEEP
        self._all *= TALLY_KEEP
        np.add.at(self._met, sector[met], 1.0)
        np.add.at(self._all, sector, 1.0)
        np.minimum.at(self._nearest, sector[met], plots.range_m[met])
        np.maximum.at(self._farthest, sector[met], plots.range_m[met])
        share = self._met / np.maximum(self._all, 1e-9)
        # At several ranges on one bearing, nearly always, and far oftener than elsewhere.
        mirror = (
            (self._met >= TALLY_LEAST)
            & (share >= max(TALLY_SHARE, 3.0 * usual))
            & (self._farthest - self._nearest > 5.0 * pulse_m)
        )
        out = np.full(len(plots), -1, dtype=np.int64)
        for i in np.flatnonzero(met & mirror[sector]):
            options = np.flatnonzero(fits[i])
            out[i] = options[np.argmax(plots.strength_db[options])]
        return out


def find_multiples(plots: Plots, beam_rad: float, pulse_m: float) -> Ints:
    """Return (n,) the parent of each plot that stands at two or three times a strong near plot's range; -1: none.

    A hull close by shows as several plots, and her second trip as one between them: all her pieces' bearings count.
    """
    out = np.full(len(plots), -1, dtype=np.int64)
    strong = (plots.strength_db >= MULTIPLE_PARENT_DB) & (plots.range_m <= MULTIPLE_PARENT_M)
    # A parent that is not at least some pulses off would claim everything behind it.
    strong &= plots.range_m >= 4.0 * pulse_m
    if not np.any(strong):
        return out
    # Few have anything at twice their range; a hull's pieces lie within two pulses and two beams of her middle.
    parents = np.flatnonzero(strong)
    far = np.abs(plots.range_m[None, :] - 2.0 * plots.range_m[parents, None]) <= 2.7 * pulse_m
    turned = np.abs(plots.azimuth_rel_rad[None, :] - plots.azimuth_rel_rad[parents, None])
    far &= np.minimum(turned, TAU - turned) <= 2.0 * beam_rad
    for p in parents[far.any(axis=1)]:
        offset = wrap_pi(plots.azimuth_rel_rad - plots.azimuth_rel_rad[p])
        piece = (np.abs(plots.range_m - plots.range_m[p]) <= pulse_m) & (np.abs(offset) <= PIECE_BEAMS * beam_rad)
        piece &= plots.strength_db >= plots.strength_db[p] - PIECE_BELOW_DB
        slack = 0.3 * beam_rad
        aligned = (offset >= offset[piece].min() - slack) & (offset <= offset[piece].max() + slack)
        weaker = plots.strength_db <= plots.strength_db[p] - MULTIPLE_BELOW_DB
        twice = (
            2.0 * (plots.range_m[piece].min() - plots.range_m[p]),
            2.0 * (plots.range_m[piece].max() - plots.range_m[p]),
        )
        beyond = plots.range_m - 2.0 * plots.range_m[p]
        second = aligned & weaker & (beyond >= twice[0] - 0.7 * pulse_m) & (beyond <= twice[1] + 0.7 * pulse_m)
        out[second & (out < 0)] = p
        if np.any(second):
            third = aligned & weaker & (np.abs(plots.range_m - 3.0 * plots.range_m[p]) <= pulse_m)
            out[third & (out < 0)] = p
    return out


def find_side_lobes(plots: Plots, beam_rad: float, pulse_m: float, width_rad: Floats | None = None) -> Ints:
    """Return (n,) the parent of each plot that lies on a very strong plot's arc as its side lobes do; -1: none.

    Among many boats some lie on one arc by chance: how many, the rings to either side tell.
    """
    out = np.full(len(plots), -1, dtype=np.int64)
    width = np.zeros(len(plots)) if width_rad is None else width_rad
    wide = plots.is_clipped & (width >= CLIPPED_PARENT_BEAMS * beam_rad) & (plots.range_extent_m <= CLIPPED_PARENT_M)
    wide &= ~plots.is_of_shore
    # The widest first: a lobe's own lobes are its parent's.
    order = np.argsort(-np.where(wide, width, 0.0), kind="stable")
    # Where widths are given the picture is cut, and a strength is no more than the height of the cut.
    strong = plots.strength_db >= LOBE_PARENT_DB if width_rad is None else wide
    for p in order[strong[order]]:
        if out[p] >= 0:
            continue
        reach = 0.6 * pulse_m + 0.5 * plots.range_extent_m[p]
        below = plots.strength_db[p] - plots.strength_db
        offset = wrap_pi(plots.azimuth_rel_rad - plots.azimuth_rel_rad[p])
        beyond = np.abs(plots.range_m - plots.range_m[p])
        weak = (below >= LOBE_BELOW_DB[0]) & (below <= LOBE_BELOW_DB[1]) & (np.abs(offset) > 0.8 * beam_rad)
        if wide[p]:
            reach = max(reach, pulse_m)
            smaller = plots.n_cells <= CLIPPED_CHILD * plots.n_cells[p]
            weak |= smaller & (np.abs(offset) > 0.5 * width[p])
        on_arc = np.flatnonzero(weak & (beyond <= reach))
        beside = np.count_nonzero(weak & (beyond > reach) & (beyond <= LOBE_RINGS * reach)) / (LOBE_RINGS - 1.0)
        if on_arc.size >= LOBE_ROW and special.gammainc(on_arc.size, max(beside, 0.1)) <= LOBE_CHANCE:
            out[on_arc] = np.where(out[on_arc] < 0, p, out[on_arc])
            continue
        # That one of them lies opposite another by chance, within 0.4 beam either way.
        if max(beside, 0.1) * 0.8 * beam_rad / TAU > LOBE_CHANCE:
            continue
        for i in on_arc:
            mirrored = np.abs(offset[on_arc] + offset[i]) <= 0.4 * beam_rad
            if np.any(mirrored) and out[i] < 0:
                out[i] = p
    return out
