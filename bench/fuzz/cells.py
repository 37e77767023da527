"""Damaged copies of real cells, each read in a child: what a flipped bit, a hole or a cut does to a chart.

A child that reads one prints how it ended: ``refused`` (one plain line), ``told`` (read, with a warning that the sound
one does not have), ``same`` (read as the sound one), ``changed`` (read otherwise, and nothing said).  Anything else (a
crash, a hang, a foreign exception) is a finding.  `MOONLESS_DATA` says where real cells are.
"""

from __future__ import annotations

import hashlib
import os
import random
import shutil
import subprocess
import sys
import tempfile
from collections import Counter
from pathlib import Path

HANG_S = 180.0


def real_cells() -> list[Path]:
    """Return the cells there are; [] where there is no data."""
    folder = os.environ.get("MOONLESS_DATA")
    return [] if folder is None else sorted(Path(folder).rglob("*.000"))


def damage(data: bytes, chance: random.Random) -> bytes:
    """Return a copy with one wound: a bit, a byte, a hole of zeros, octets lost, a block moved, a cut."""
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
    return bytes(out)


def damaged_copies(count: int, seed: int, folder: Path) -> dict[str, object]:
    """Read so many damaged copies of each real cell; return what came of them."""
    outcomes: Counter[str] = Counter()
    found: dict[str, str] = {}
    names = []
    for cell in real_cells() if count else []:
        sound, chance = _read(cell), random.Random(f"{seed} {cell.name}")
        if not sound.startswith("read "):
            continue
        names.append(cell.stem)
        for _ in range(count):
            data = damage(cell.read_bytes(), chance)
            with tempfile.TemporaryDirectory() as place:
                # Updates beside the cell go with it.
                for beside in cell.parent.glob(cell.stem + ".*"):
                    shutil.copy(beside, place)
                copy = Path(place) / cell.name
                copy.write_bytes(data)
                told = _read(copy)
            outcome = _outcome(told, sound)
            outcomes[outcome] += 1
            if outcome == "found" and told not in found:
                folder.mkdir(parents=True, exist_ok=True)
                kept = folder / f"cells-{hashlib.sha256(data).hexdigest()[:10]}"
                kept.write_bytes(data)
                found[told] = kept.name
    return {
        "target": "cells",
        "of": names,
        "executions": sum(outcomes.values()),
        "came": dict(outcomes),
        "found": found,
    }


def _outcome(told: str, sound: str) -> str:
    if told.startswith("refused"):
        # A reader that ended is a finding, however well the watch bears it.
        return "found" if "the reader of charts ended on it" in told else "refused"
    if not told.startswith("read "):
        return "found"
    if told == sound:
        return "same"
    return "told" if told.split()[1] != sound.split()[1] else "changed"


def _read(cell: Path) -> str:
    command = [sys.executable, "-m", "bench.fuzz.cells", str(cell)]
    try:
        done = subprocess.run(command, capture_output=True, text=True, timeout=HANG_S)
    except subprocess.TimeoutExpired:
        return "hang"
    last = done.stdout.strip().splitlines()[-1:]
    if done.returncode == 0 and last:
        return last[0]
    words = (done.stderr.strip().splitlines() or ["no word"])[-1]
    return f"ended with {done.returncode}: {words[:160]}"


def _tell(cell: Path) -> str:
    """Return ``read WARNINGS CONTENT``, each a hash, or ``refused``."""
    import numpy as np

    from moonless.chart.library import Chart
    from moonless.errors import MoonlessError

    with tempfile.TemporaryDirectory() as kept:
        try:
            chart = Chart.open([cell], cache_dir=Path(kept))
        except MoonlessError as problem:
            return f"refused {problem}".replace("\n", " ")
        indexes = list(Path(kept).rglob("*.npz"))
        content, warnings = hashlib.sha256(), ""
        for index in indexes:
            with np.load(index) as arrays:
                for name in sorted(arrays.files):
                    if name == "head":
                        head = arrays[name].tobytes()
                        warnings = hashlib.sha256(head[head.find(b'"warnings"') :]).hexdigest()
                        content.update(head[: head.find(b'"warnings"')])
                    else:
                        content.update(arrays[name].tobytes())
        assert indexes and chart is not None
        return f"read {warnings[:12]} {content.hexdigest()[:16]}"


if __name__ == "__main__":
    print(_tell(Path(sys.argv[1])))
