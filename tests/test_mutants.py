"""The drawer of wrong changes: finds what it says, and what it makes can still be read."""

from __future__ import annotations

import ast
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from bench.mutants.draw import REPO, ROOMS, all_changes, changes_of, sampled
from bench.mutants.judged import judged
from bench.mutants.named import named
from bench.mutants.reach import places
from bench.mutants.tree import Kernels

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


def test_named_changes_fit_and_their_tests_are_there() -> None:
    pairs = named()
    assert len({change.in_source((REPO / change.file).read_bytes()) for change, _ in pairs}) == len(pairs)
    for change, test in pairs:
        ast.parse(change.in_source((REPO / change.file).read_bytes()))
        file, _, name = test.partition("::")
        assert f"def {name.split('[')[0]}(" in (REPO / file).read_text(encoding="utf-8"), test


def test_what_was_judged_is_told_as_a_change() -> None:
    for (was, now), why in judged().items():
        assert was != now and len(why) > 10, was


COUNTED = b'''from dataclasses import dataclass
LIMIT = 3.0
FAR = 2.0 * LIMIT


@dataclass
class Kept:
    """Figures."""

    least: float = 1.0

    def told(self, x: float) -> float:
        if x > LIMIT:
            return x
        return (
            self.least
            + x
        )


@njit(cache=True)
def kernel(x):
    return x * LIMIT
'''


def test_where_a_line_stands() -> None:
    at = places(ast.parse(COUNTED))
    assert (at[2].function, at[2].names) == ("", {"LIMIT"})
    assert at[3].names == {"FAR"} and at[10].names == {"least", "Kept"}
    assert (at[13].first, at[13].last, at[13].function) == (13, 13, "told")  # the head alone
    assert {(at[n].first, at[n].last) for n in (15, 16, 17)} == {(15, 18)}
    assert at[23].is_compiled and at[23].names == {"kernel"} and not at[13].is_compiled


def test_a_change_in_a_kernel_goes_into_all_that_hold_it(tmp_path: Path) -> None:
    # numba looks at a kernel's own file alone: what was compiled of one that calls it, or froze its constant, is old.
    room = tmp_path / "src" / "moonless" / "made"
    (room / "__pycache__").mkdir(parents=True)
    (room / "figures.py").write_text("HALF = 0.5\n")
    (room / "low_kernels.py").write_text("from moonless.made.figures import HALF\n")
    (room / "high_kernels.py").write_text("from moonless.made.low_kernels import low\n")
    (room / "other_kernels.py").write_text("X = 1\n")
    cached = room / "__pycache__" / "high_kernels.f-3.py311.nbi"
    cached.write_bytes(b"as it was")
    kernels = Kernels(tmp_path)
    names = [p.name for p in kernels.holding(Path("src/moonless/made/figures.py"))]
    assert names == ["high_kernels.py", "low_kernels.py"]
    assert kernels.holding(Path("src/moonless/made/other_kernels.py")) == [room / "other_kernels.py"]
    with kernels.afresh(Path("src/moonless/made/figures.py")):
        assert not cached.exists()
        cached.write_bytes(b"of the change")
    assert cached.read_bytes() == b"as it was"


def test_lines_tell_a_change_wherever_it_moves() -> None:
    (change,) = [c for c in changes_of(Path("src/moonless/rules/made.py"), SOURCE) if c.was == "40.0"]
    assert change.lines(SOURCE) == ("LIMIT_M = 40.0", "LIMIT_M = 80.0")
    assert change.in_source(SOURCE) == SOURCE.replace(b"40.0", b"80.0")
