"""The drawer of wrong changes: finds what it says, and what it makes can still be read."""

from __future__ import annotations

import ast
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from bench.mutants import ROOMS, all_changes, changes_of, sampled

SOURCE = b'''"""Port and starboard."""
LIMIT_M = 40.0


def side(x: float, y: "float | None" = None) -> str:
    """Return 0 or 1."""
    if x > 0.0 and y is not None:
        return "port"
    if not y:
        raise ValueError(f"{x + 1} is not it")
    return "starboard" if math.sin(-x) * 2.0 <= math.atan2(x, y) else min(x, "none")
'''


def test_changes_are_those_of_a_slip_of_the_pen() -> None:
    found = {(c.line, c.was, c.now) for c in changes_of(Path("src/moonless/rules/made.py"), SOURCE)}
    assert {
        (2, "40.0", "80.0"), (7, ">", "<"), (7, ">", ">="), (7, "and", "or"), (7, "is not", "is"),
        (8, '"port"', "'starboard'"), (11, '"starboard"', "'port'"), (11, "-", ""), (11, "*", "/"), (11, "<=", ">"),
        (11, "x, y", "y, x"), (11, "sin", "cos"), (11, "min", "max"), (9, "not", ""),
    } <= found  # fmt: skip
    # Words of errors, types and docstrings are nobody's figures.
    assert not any(line in (1, 5, 6, 10) for line, _, _ in found)


def test_every_change_of_the_rooms_can_be_read() -> None:
    changes = all_changes(("rules", "sea"))
    assert len(changes) > 1000
    for change in sampled(changes, 150, 1):
        source = (Path(__file__).parents[1] / change.file).read_bytes()
        ast.parse(source[: change.start] + change.now.encode() + source[change.end :])
        assert change.was != change.now and change.room in ROOMS


def test_a_seed_draws_the_same() -> None:
    changes = all_changes(("rules",))
    assert sampled(changes, 20, 3) == sampled(changes, 20, 3) != sampled(changes, 20, 4)
