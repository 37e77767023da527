"""What fuzzing has found stays mended, and the fuzzers themselves find what they are for.

A file of `found` is named by its target and its own bytes; ``make fuzz`` put it there.
"""

from __future__ import annotations

import random
from pathlib import Path

import pytest
from bench.fuzz import files, wire
from bench.fuzz.cells import damage
from bench.fuzz.one import Runner, change

from moonless.errors import MoonlessError

FOUND = sorted((Path(__file__).parent / "found").iterdir())
TARGETS = {**wire.TARGETS, **files.TARGETS}
SEEDS = {**wire.SEEDS, **files.SEEDS}


def ask(name: str, data: bytes, tmp_path: Path) -> Runner:
    runner = Runner(name, TARGETS[name], MoonlessError, tmp_path)
    runner.run(data, 0.0)
    return runner


@pytest.mark.parametrize("file", FOUND, ids=lambda file: file.name)
def test_what_was_found_is_refused_or_taken_in(file: Path, tmp_path: Path) -> None:
    assert ask(file.name.rpartition("-")[0], file.read_bytes(), tmp_path).found == {}


@pytest.mark.parametrize("name", TARGETS)
def test_seeds_are_taken_in_and_some_changes_of_them_found_nothing(name: str, tmp_path: Path) -> None:
    chance = random.Random(7)
    runner = Runner(name, TARGETS[name], MoonlessError, tmp_path)
    for seed in SEEDS[name]:
        runner.run(seed, 0.0)
    for _ in range(3 if name in ("tracker", "assembler", "setup_answers") else 40):
        runner.run(change(chance.choice(SEEDS[name]), chance, SEEDS[name]), 0.0)
    assert runner.found == {} and runner.executions > 3


@pytest.mark.parametrize(
    ("name", "seed"), [("gpx", 0), ("gpx", 1), ("toml", 0), ("toml", 1), ("mcap", 0), ("tides", 0)]
)
def test_a_sound_seed_is_not_refused(name: str, seed: int, tmp_path: Path) -> None:
    # A fuzzer whose every input is turned away at the first byte tests a door that is shut.
    assert ask(name, SEEDS[name][seed], tmp_path).refused == 0


def test_a_foreign_exception_and_a_hang_would_be_found(tmp_path: Path) -> None:
    def foreign(data: bytes) -> None:
        if b"?" in data:
            raise KeyError("foreign")
        if b"!" in data:
            while True:
                pass
        raise MoonlessError("refused, as is right")

    runner = Runner("made", foreign, MoonlessError, tmp_path)
    runner.run(b"x")
    assert runner.found == {} and runner.refused == 1
    runner.run(b"a?")
    runner.run(b"b?")
    runner.run(b"!", 0.2)
    assert sorted(kind.split(" at ")[0] for kind in runner.found) == ["Hang", "KeyError"]
    assert [file.read_bytes() for file in sorted(tmp_path.iterdir())].count(b"a?") == 1


def test_damage_changes_a_cell_and_the_same_seed_makes_the_same(tmp_path: Path) -> None:
    cell = bytes(range(256)) * 64
    first = [damage(cell, random.Random(i)) for i in range(60)]
    assert first == [damage(cell, random.Random(i)) for i in range(60)]
    assert sum(data != cell for data, _ in first) > 50
    assert len({wound.partition(" at ")[0] for _, wound in first}) == 6
