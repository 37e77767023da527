"""Damaged copies of real cells: what a flipped bit, a hole or a cut does to a chart.

``python -m bench.fuzz.cells COUNT SEED FOLDER``: so many copies of each cell, each read in a fork of a process with the
reader's drivers and no others.  It is ``refused`` (one plain line), ``told`` (read, with a warning that the sound one
does not have), ``same`` (read as the sound one) or ``changed`` (read otherwise, and nothing said: what the wound was
and what it changed is kept in FOLDER/cells-changed.jsonl).  Anything else (a crash, a hang, a foreign exception) is a
finding, whose bytes are kept.  `MOONLESS_DATA` says where real cells are.
"""

from __future__ import annotations

import hashlib
import json
import multiprocessing
import os
import random
import re
import shutil
import subprocess
import sys
import tempfile
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from multiprocessing.connection import Connection
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from moonless.chart.index import Body

Feature = tuple[str, bytes, bytes]
"""Object class, identifier and attributes as JSON, shape as WKB."""

HANG_S = 180.0
WOUNDS = ("a bit", "a byte", "512 octets of zeros", "octets lost", "256 octets from elsewhere", "a cut")


def real_cells() -> list[Path]:
    """Return the cells there are; [] where there is no data."""
    folder = os.environ.get("MOONLESS_DATA")
    return [] if folder is None else sorted(Path(folder).rglob("*.000"))


def damage(data: bytes, chance: random.Random) -> tuple[bytes, str]:
    """Return a copy with one wound of `WOUNDS`, and which it is."""
    out, at = bytearray(data), chance.randrange(len(data))
    kind = chance.randrange(6)
    if kind == 0:
        out[at] ^= 1 << chance.randrange(8)
    elif kind == 1:
        out[at] = chance.randrange(256)
    elif kind == 2:
        out[at : at + 512] = bytes(min(512, len(out) - at))
    elif kind == 3:
        del out[at : at + chance.randrange(1, 200)]
    elif kind == 4:
        other = chance.randrange(len(data))
        out[at : at + 256] = data[other : other + 256]
    else:
        del out[at:]
    return bytes(out), f"{WOUNDS[kind]} at {at}"


def damaged_copies(count: int, seed: int, folder: Path) -> dict[str, object]:
    """Read so many damaged copies of each real cell, in a process of their own; return what came of them."""
    from moonless.chart.s57.apart import reader_environment

    command = [sys.executable, "-m", "bench.fuzz.cells", str(count), str(seed), str(folder)]
    done = subprocess.run(command, capture_output=True, text=True, env=reader_environment())
    lines = [text for text in done.stdout.splitlines() if text.startswith("{")]
    if not lines:
        last = (done.stderr.strip().splitlines() or ["no word"])[-1]
        return {"target": "cells", "executions": 0, "found": {f"ended with {done.returncode}": last[:200]}}
    told: dict[str, object] = json.loads(lines[-1])
    return told


@dataclass(frozen=True, slots=True)
class _Read:
    """How a copy was read: ``word`` is ``refused``, ``read`` or what a finding is called."""

    word: str
    warnings: tuple[str, ...] = ()  # or the line of a refusal
    features: frozenset[Feature] = frozenset()
    cell: str = ""  # the rest of its head


def _copies(count: int, seed: int, folder: Path) -> Iterator[dict[str, object]]:
    """Tell what came so far, now and then and at the end."""
    outcomes: Counter[str] = Counter()
    by_wound: Counter[str] = Counter()
    by_words: Counter[str] = Counter()
    found: dict[str, str] = {}
    names = []
    folder.mkdir(parents=True, exist_ok=True)
    # The smallest first: where the time is short, most copies are read.
    for cell in sorted(real_cells() if count else [], key=lambda one: one.stat().st_size):
        sound, chance, data = _read(cell, None), random.Random(f"{seed} {cell.name}"), cell.read_bytes()
        if sound.word != "read":
            continue
        names.append(cell.stem)
        for number in range(count):
            copy, wound = damage(data, chance)
            told = _read(cell, copy)
            outcome = _outcome(told, sound)
            outcomes[outcome] += 1
            by_wound[f"{wound.partition(' at ')[0]}: {outcome}"] += 1
            for words in {_without_figures(words) for words in set(told.warnings) - set(sound.warnings)}:
                by_words[f"{outcome}: {words}"] += 1
            if outcome == "changed":
                with (folder / "cells-changed.jsonl").open("a") as out:
                    line = {"cell": cell.stem, "seed": seed, "copy": number, "wound": wound, **_difference(told, sound)}
                    out.write(json.dumps(line) + "\n")
            if outcome == "found" and told.word not in found:
                kept = folder / f"cells-{hashlib.sha256(copy).hexdigest()[:10]}"
                kept.write_bytes(copy)
                found[told.word] = kept.name
            if number % 20 == 19 or number == count - 1:
                yield {
                    "target": "cells", "of": names, "executions": outcomes.total(), "came": dict(outcomes),
                    "by_wound": dict(sorted(by_wound.items())), "by_words": dict(by_words.most_common()),
                    "found": found,
                }  # fmt: skip


def _outcome(told: _Read, sound: _Read) -> str:
    if told.word != "read":
        return "refused" if told.word == "refused" else "found"
    if (told.features, told.cell, told.warnings) == (sound.features, sound.cell, sound.warnings):
        return "same"
    return "told" if told.warnings != sound.warnings else "changed"


def _moved_m(gone: frozenset[Feature], new: frozenset[Feature]) -> float:
    """Return how far at most a corner lies from where it was, of features that are the same otherwise, about."""
    import shapely

    now = {text: shape for _, text, shape in new}
    both = [(shapely.from_wkb(was), shapely.from_wkb(now[text])) for _, text, was in gone if was and now.get(text)]
    # As on the cells' own latitude of some 40 degrees, to a quarter.
    return round(max((float(shapely.hausdorff_distance(a, b)) * 111_320.0 for a, b in both), default=0.0), 2)


def _without_figures(words: str) -> str:
    return re.sub(r"[0-9]+", "N", words.partition(": ")[2])[:100]


def _difference(told: _Read, sound: _Read) -> dict[str, object]:
    gone, new = sound.features - told.features, told.features - sound.features
    words = [f"{sign}{name} {text.decode('utf-8', 'replace')[:300]}"
             for sign, some in (("-", gone), ("+", new)) for name, text, _ in sorted(some)[:3]]  # fmt: skip
    classes = {sign: dict(Counter(one[0] for one in some)) for sign, some in (("gone", gone), ("new", new))}
    heads = {"head": [sound.cell, told.cell]} if told.cell != sound.cell else {}
    return {**classes, "first": words, "moved_m": _moved_m(gone, new), **heads}


def _read(cell: Path, copy: bytes | None) -> _Read:
    """Read a cell, or a copy in its place, with its updates and without the catalogue that would refuse it."""
    forks = multiprocessing.get_context("fork")
    ours, its = forks.Pipe(duplex=False)
    with tempfile.TemporaryDirectory() as place:
        for beside in cell.parent.glob(cell.stem + ".*"):
            shutil.copyfile(beside, Path(place) / beside.name)
        if copy is not None:
            (Path(place) / cell.name).write_bytes(copy)
        child = forks.Process(target=_tell, args=(Path(place) / cell.name, its))
        child.start()
        its.close()
        try:
            if not ours.poll(HANG_S):
                return _Read("hang")
            told: _Read = ours.recv()
            return told
        except EOFError:
            child.join()
            return _Read(f"ended with {child.exitcode}")
        finally:
            ours.close()
            child.kill()
            child.join()


def _tell(cell: Path, out: Connection) -> None:
    """Read as the process apart does (`moonless.chart.s57.apart_reader`), and send what came of it."""
    from moonless.chart.index import build
    from moonless.chart.s57.source import read_source
    from moonless.errors import MoonlessError

    sys.stderr = open(os.devnull, "w")  # noqa: SIM115  # GDAL's remarks of damage
    try:
        head, body = build(read_source(cell))
    except MoonlessError as problem:
        out.send(_Read("refused", (str(problem),)))
    except Exception as problem:
        out.send(_Read(f"{type(problem).__name__}: {str(problem)[:120]}"))
    else:
        words = tuple(words.replace(str(cell.parent), "") for words in head.warnings)
        one = head.cell
        told = f"{one.scale} {one.edition} {one.update} {one.issued} {one.sounding_datum} {one.coverage_lonlat.wkt}"
        out.send(_Read("read", words, frozenset(_features(body)), told))


def _features(body: Body) -> Iterator[Feature]:
    whole, text = body.wkb.tobytes(), body.text.tobytes()
    for i in range(len(body.class_of)):
        yield (
            str(body.classes[body.class_of[i]]),
            text[body.text_at[i] : body.text_at[i + 1]],
            whole[body.wkb_at[i] : body.wkb_at[i + 1]],
        )


if __name__ == "__main__":
    for line in _copies(int(sys.argv[1]), int(sys.argv[2]), Path(sys.argv[3])):
        print(json.dumps(line), flush=True)
