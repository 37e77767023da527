"""Extended echoes as outlines: land, quays, long bridges, as stretches of near and far edge row by row."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from moonless.echo.grid import Grid
from moonless.echo.types import ShoreEcho
from moonless.scan.types import Scan

# The longest hulls are under 400 m; whatever is longer with the beam taken out, or covers more than a hull of
# that length, is not one boat.  Elementary.
SHORE_LENGTH_M = 420.0
SHORE_AREA_M2 = 20_000.0
CORE_DB = 12.0  # a hill's core: what stands so close under its top
# A clipped echo hides how strong it is, and so how far the beam's skirts and the receiver's recovery have spread it.
# On real video cut at the top a 22 m vessel 2 km off shows 4 beams wide and 3 to 4 pulses deep (docs/real-water.md):
# no more than what goes past this is hull.
CLIPPED_BEAMS, CLIPPED_PULSES = 4.5, 4.0
# Of a clipped echo only the bearings count at which it is at least this share as deep as at its deepest: what lies to
# both sides of a strong hull, thin and at her range, is her side lobes.
DEEP_SHARE = 0.5
TWO_WAY_DB_PER_BEAM2 = 24.08  # a Gaussian beam falls 24.08 (offset / beam)^2 dB, two way: from its half-power width


@dataclass(frozen=True, slots=True, eq=False)
class Bodies:
    """Connected bodies of echo on the grid, sorted by body.  ``cell`` indexes the flat grid."""

    cell: NDArray[np.int64]  # (m,) sorted so that each body's cells stand together
    start: NDArray[np.int64]  # (k,) first of each body in ``cell``
    top: NDArray[np.int64]  # (k,) flat index of each body's highest cell


def group_bodies(cells: NDArray[np.int64], body: NDArray[np.int64]) -> Bodies:
    """Return the masked ``cells`` grouped by the ``body`` each belongs to."""
    if cells.size == 0:
        empty = np.zeros(0, dtype=np.int64)
        return Bodies(empty, empty, empty)
    order = np.argsort(body[cells], kind="stable")
    grouped = cells[order]
    names = body[grouped]
    start = np.flatnonzero(np.concatenate(([True], names[1:] != names[:-1])))
    return Bodies(grouped, start, names[start])


def is_shore(
    bodies: Bodies,
    grid: Grid,
    scan: Scan,
    box_db: NDArray[np.float32],
    threshold_db: NDArray[np.float32],
    clipped_db: float = np.inf,
) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Return (k,), (k,): which bodies are longer or larger than any vessel once beam and pulse are taken out; longer.

    ``clipped_db``: a body whose highest box reaches it is clipped.
    """
    if bodies.start.size == 0:
        return np.zeros(0, dtype=np.bool_), np.zeros(0, dtype=np.bool_)
    sizes = np.diff(np.concatenate((bodies.start, [bodies.cell.size])))
    owner = np.repeat(np.arange(bodies.start.size), sizes)
    flat_db = box_db.ravel()
    is_clipped = flat_db[bodies.top] >= clipped_db
    row, col = np.divmod(bodies.cell, grid.n_col)
    top_row = bodies.top // grid.n_col
    half = grid.n_row // 2
    from_top = (row - top_row[owner] + half) % grid.n_row - half
    counts = is_clipped[owner]
    held = ~counts
    held[counts] = _deep_enough(from_top[counts], owner[counts])
    # Every body keeps its deepest row at the least, so none is left without a cell.
    start = np.searchsorted(owner[held], np.arange(bodies.start.size))
    from_top, col_held = from_top[held], col[held]
    rows = np.maximum.reduceat(from_top, start) - np.minimum.reduceat(from_top, start) + 1
    near = np.minimum.reduceat(col_held, start)
    far = np.maximum.reduceat(col_held, start)
    row_rad = 2.0 * np.pi / grid.n_row
    col_m = grid.col_cells * scan.cell_m
    middle_m = np.maximum(scan.first_cell_m + 0.5 * (near + far + 1) * col_m, col_m)
    # Cores reach no farther down than this.
    excess_db = np.clip(flat_db[bodies.top] - threshold_db.ravel()[bodies.top], 0.0, CORE_DB)
    beam_rad = grid.beam_spokes * 2.0 * np.pi / grid.n_spoke
    beams = np.where(is_clipped, CLIPPED_BEAMS, 2.0 * np.sqrt(excess_db / TWO_WAY_DB_PER_BEAM2))
    pulses = np.where(is_clipped, CLIPPED_PULSES, 1.0)
    smear_rad = beams * beam_rad + grid.box_rows * row_rad
    smear_m = pulses * grid.pulse_cells * scan.cell_m
    along_m = np.maximum(rows * row_rad - smear_rad, 0.0) * middle_m
    deep_m = np.maximum((far - near + 1) * col_m - (smear_m + grid.box_cols * col_m), 0.0)
    # Area as the cells cover it, less the smear all round.
    cell_area = row_rad * col_m * (scan.first_cell_m + (col + 0.5) * col_m)
    area = np.add.reduceat(cell_area, bodies.start) - smear_rad * middle_m * (smear_m + scan.cell_m)
    is_long = np.hypot(along_m, deep_m) > SHORE_LENGTH_M
    is_wide = (area > SHORE_AREA_M2) & (deep_m * along_m > SHORE_AREA_M2)
    return np.asarray(is_long | is_wide), np.asarray(is_long)


def _deep_enough(from_top: NDArray[np.int64], owner: NDArray[np.int64]) -> NDArray[np.bool_]:
    """Return (m,) which cells lie in a row where their body has `DEEP_SHARE` as many cells as in its fullest row."""
    if from_top.size == 0:
        return np.zeros(0, dtype=np.bool_)
    low = int(from_top.min())
    n = int(from_top.max()) - low + 1
    key = owner * n + (from_top - low)
    depth = np.bincount(key, minlength=(int(owner.max()) + 1) * n)
    deepest = depth.reshape(-1, n).max(axis=1)
    return np.asarray(depth[key] >= DEEP_SHARE * deepest[owner])


def without_thin_ends(
    cells: NDArray[np.int64],
    number: NDArray[np.intp],
    tops: NDArray[np.int64],
    is_clipped: NDArray[np.bool_],
    grid: Grid,
) -> NDArray[np.bool_]:
    """Return (m,) which of the flat ``cells`` of hills (``number`` (m,) into ``tops`` (k,)) are left once the bearings
    are dropped at which a clipped hill is thin against its deepest; all of the others."""
    asked = is_clipped[number]
    keep = ~asked
    row = cells[asked] // grid.n_col
    half = grid.n_row // 2
    from_top = (row - tops[number[asked]] // grid.n_col + half) % grid.n_row - half
    keep[asked] = _deep_enough(from_top, np.asarray(number[asked], dtype=np.int64))
    return keep


def trace_shores(bodies: Bodies, which: NDArray[np.bool_], grid: Grid, scan: Scan) -> tuple[ShoreEcho, ...]:
    """Return the outlines of the bodies marked in ``which``.

    Each row's run of cells joins the run of the row before that it overlaps most; a body with water inside it
    becomes several stretches, so no outline spans water that was seen open.
    """
    out: list[ShoreEcho] = []
    ends = np.concatenate((bodies.start[1:], [bodies.cell.size]))
    for b in np.flatnonzero(which):
        cells = np.sort(bodies.cell[bodies.start[b] : ends[b]])
        out.extend(_stretches(cells, grid, scan))
    return tuple(out)


def _stretches(cells: NDArray[np.int64], grid: Grid, scan: Scan) -> list[ShoreEcho]:
    """Return the stretches of one body's sorted flat cells."""
    row, col = np.divmod(cells, grid.n_col)
    fresh = np.concatenate(([True], (np.diff(cells) != 1) | (np.diff(row) != 0)))
    first = np.flatnonzero(fresh)
    last = np.concatenate((first[1:] - 1, [cells.size - 1]))
    run_row, run_lo, run_hi = row[first], col[first], col[last]
    present = np.unique(run_row)
    # Begin after a gap in the rows, so that a body across the bow is one stretch.
    gap = np.flatnonzero(np.diff(present) > 1)
    if present.size < grid.n_row and gap.size and present[0] == 0 and present[-1] == grid.n_row - 1:
        offset = int(present[gap[0] + 1])
    else:
        offset = int(present[0])
    order = np.lexsort((run_lo, (run_row - offset) % grid.n_row))
    chains: list[list[tuple[int, int, int]]] = []
    live: list[int] = []
    before_row = None
    here: list[int] = []
    taken: set[int] = set()
    for k in order:
        r, lo, hi = int(run_row[k]), int(run_lo[k]), int(run_hi[k])
        if r != before_row:
            live = here if before_row is not None and r == (before_row + 1) % grid.n_row else []
            here, taken, before_row = [], set(), r
        best, overlap = -1, -1
        for chain in live:
            _, l2, h2 = chains[chain][-1]
            shared = min(hi, h2) - max(lo, l2)
            if chain not in taken and shared >= -1 and shared > overlap:
                best, overlap = chain, shared
        if best < 0:
            chains.append([])
            best = len(chains) - 1
        taken.add(best)
        chains[best].append((r, lo, hi))
        here.append(best)
    return [_outline(chain, grid, scan) for chain in chains]


def _outline(chain: list[tuple[int, int, int]], grid: Grid, scan: Scan) -> ShoreEcho:
    """Return one chain of runs as near and far edges with the box's own reach taken back."""
    runs = np.asarray(chain, dtype=np.int64)
    spoke = 0.5 * (grid.row_edge[runs[:, 0]] + grid.row_edge[runs[:, 0] + 1] - 1)
    azimuth = np.mod(spoke * (2.0 * np.pi / grid.n_spoke), 2.0 * np.pi)
    reach = (grid.box_cols // 2) * grid.col_cells
    edge0 = scan.first_cell_m - 0.5 * scan.cell_m
    near = np.float64(edge0) + (runs[:, 1] * grid.col_cells + reach) * scan.cell_m
    far = np.float64(edge0) + ((runs[:, 2] + 1) * grid.col_cells - reach) * scan.cell_m
    # An edge thinner than the box itself keeps its middle.
    middle = 0.5 * (near + far)
    near, far = np.where(near > far, middle, near), np.where(near > far, middle, far)
    return ShoreEcho(
        azimuth, np.asarray(near, np.float64), np.asarray(far, np.float64), scan.time_ns[spoke.astype(np.int64)].copy()
    )
