"""The answers given, on this computer and nowhere else."""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from dataclasses import asdict, fields
from pathlib import Path

from moonless.errors import InputError
from moonless.files import write_whole
from moonless.practice.progress import Answered

FORMAT = 1
# More than this makes no difference to what is held (the posterior fades, FSRS knows a card by its last state).
MOST = 20_000
_FIELDS = {field.name for field in fields(Answered)}


def read_answers(path: Path) -> tuple[Answered, ...]:
    """Return the answers kept in a file; none where there is no file.

    Raises InputError if there is a file and it cannot be read: it is not written over then.
    """
    try:
        text = path.read_text(encoding="utf-8")
    except FileNotFoundError:
        return ()
    except (OSError, UnicodeDecodeError) as problem:
        raise InputError(f"{path}: the record of practice cannot be read: {problem}") from problem
    try:
        found = json.loads(text)
        if found["format"] != FORMAT:
            raise ValueError(f"its format is {found['format']!r}, not {FORMAT}")
        return tuple(_answered(row) for row in found["answers"])
    except (ValueError, KeyError, TypeError) as problem:
        raise InputError(f"{path}: is no record of practice ({problem}); move it away to begin anew") from problem


def keep_answers(path: Path, answers: Sequence[Answered]) -> None:
    """Write the answers, whole or not at all.  Raises InputError if they cannot be written."""
    rows = [asdict(one) for one in answers[-MOST:]]
    body = ",\n".join(json.dumps(row) for row in rows)
    write_whole(path, f'{{"format": {FORMAT}, "answers": [\n{body}\n]}}\n', make_folders=True, private=True)


def _answered(row: object) -> Answered:
    if not isinstance(row, dict) or set(row) != _FIELDS:
        raise ValueError("an answer lacks a field or has one too many")
    one = Answered(
        int(row["time_ns"]), str(row["step"]), int(row["seed"]), str(row["waters"]), float(row["points"]),
        float(row["for_"]), float(row["against"]), bool(row["withheld"]), float(row["knowable"]),
    )  # fmt: skip
    if not all(math.isfinite(v) and 0.0 <= v <= 1.0 for v in (one.points, one.for_, one.against, one.knowable)):
        raise ValueError("a score lies outside 0 to 1")
    return one
