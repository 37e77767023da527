"""The cheapest way over a grid of squares."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import distance_transform_edt
from scipy.sparse import coo_array
from scipy.sparse.csgraph import dijkstra

from moonless.errors import InputError

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Square = tuple[int, int]

_BESIDE = ((0, 1), (1, 0), (1, 1), (1, -1))
_KNIGHT = ((1, 2), (2, 1), (2, -1), (1, -2))


# A grid of more squares than this is first searched by blocks, and then only near the way found over them.
MOST_SQUARES = 400_000
# Blocks either side of that way.  A cheaper way farther off is not found; own choice.
CORRIDOR = 10
# A metre of a block that is closed all over, against one of open sea.
_SHUT = 500.0


def cheapest_near(is_open: Bools, cost: Floats, cell_m: float, start: Square, end: Square) -> list[Square]:
    """Return the squares of the cheapest way, of a large grid only near the cheapest way over blocks of squares.

    Raises InputError as `cheapest` does.
    """
    if is_open.size > MOST_SQUARES:
        wide = math.ceil(math.sqrt(is_open.size / (MOST_SQUARES / 4)))
        over = block_way(np.where(is_open, cost, _SHUT), wide, start, end)
        rows, columns = (-(-n // wide) for n in is_open.shape)
        near = np.zeros((rows, columns), dtype=np.bool_)
        near[tuple(np.array(over).T)] = True
        near = distance_transform_edt(~near) <= CORRIDOR
        whole = np.kron(near, np.ones((wide, wide), dtype=np.bool_))[: is_open.shape[0], : is_open.shape[1]]
        try:
            return cheapest(is_open & whole, cost, cell_m, start, end)
        except InputError:
            pass  # the way leads farther round
    return cheapest(is_open, cost, cell_m, start, end)


def block_way(cost: Floats, wide: int, start: Square, end: Square) -> list[Square]:
    """Return the cheapest way over blocks of ``wide`` by ``wide`` squares, each as dear as its mean square."""
    rows, columns = (-(-n // wide) * wide for n in cost.shape)
    padded = np.pad(cost, ((0, rows - cost.shape[0]), (0, columns - cost.shape[1])), mode="edge")
    blocks = padded.reshape(rows // wide, wide, columns // wide, wide).mean(axis=(1, 3))
    first, last = ((row // wide, column // wide) for row, column in (start, end))
    return cheapest(np.ones(blocks.shape, dtype=np.bool_), blocks, 1.0, first, last, knights=False)


def cheapest(
    is_open: Bools, cost: Floats, cell_m: float, start: Square, end: Square, knights: bool = True
) -> list[Square]:
    """Return the squares of the cheapest way from one open square to another.

    ``cost``: of a metre in each square, same shape as ``is_open``.  ``knights``: with steps of one by two as well, for
    more courses than eight.  Raises InputError if no open squares join the two.
    """
    n_row, n_column = is_open.shape
    number = np.arange(n_row * n_column, dtype=np.int32).reshape(n_row, n_column)
    heads, tails, costs = [], [], []
    for down, across in _BESIDE + (_KNIGHT if knights else ()):
        a = np.s_[: n_row - down, max(0, -across) : n_column - max(0, across)]
        b = np.s_[down:, max(0, across) : n_column - max(0, -across)]
        both = is_open[a] & is_open[b]
        if down + abs(across) == 3:  # a knight's step passes between two squares: both must be open as well
            both = both & _between(is_open, down, across, a)
        length = math.hypot(down, across) * cell_m
        heads.append(number[a][both])
        tails.append(number[b][both])
        costs.append(length * 0.5 * (cost[a][both] + cost[b][both]))
    head, tail, step = np.concatenate(heads), np.concatenate(tails), np.concatenate(costs)
    graph = coo_array((step, (head, tail)), shape=(number.size, number.size)).tocsr()
    source, goal = int(number[start]), int(number[end])
    reach, before = dijkstra(graph, directed=False, indices=source, return_predecessors=True)
    if not math.isfinite(reach[goal]):
        raise InputError("no water deep enough on the chart joins the two places")
    path = [goal]
    while path[-1] != source:
        path.append(int(before[path[-1]]))
    return [divmod(p, n_column) for p in reversed(path)]


def _between(is_open: Bools, down: int, across: int, a: tuple[slice, slice]) -> Bools:
    """Return whether the two squares a knight's step passes between are open, for squares taken from ``a``."""
    n_row, n_column = is_open.shape
    rows = np.arange(n_row)[a[0]][:, None]
    columns = np.arange(n_column)[a[1]][None, :]
    half_down, half_across = down / 2, across / 2
    low = is_open[rows + math.floor(half_down), columns + math.floor(half_across)]
    high = is_open[rows + math.ceil(half_down), columns + math.ceil(half_across)]
    return np.asarray(low & high)
