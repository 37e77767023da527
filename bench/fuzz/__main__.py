"""``python -m bench.fuzz [TARGET...] [--seconds S] [--seed N] [--plain] [--cells N] [--found DIR]``

Runs each target so long in a process of its own, one after the other, and prints one JSON line for each; then so many
damaged copies of each real cell (`bench.fuzz.cells`; 0: none).  Exit code 1 where something was found: its bytes lie in
DIR, and belong into `tests/fuzz/found` with the change that mends it.
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
import tempfile
from pathlib import Path

from bench.fuzz import cells, files, wire

# Where made files lie while they are read: in memory where the system has such a place.
_MEMORY = Path("/dev/shm")
TARGETS = [*wire.TARGETS, *files.TARGETS]


def main(argv: list[str]) -> int:
    """Run the targets; see the head of this file."""
    parser = argparse.ArgumentParser(prog="python -m bench.fuzz", description=__doc__.splitlines()[0])
    parser.add_argument("targets", nargs="*", metavar="TARGET", help=", ".join([*TARGETS, "cells"]))
    parser.add_argument("--seconds", type=float, default=60.0, help="for each target")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--plain", action="store_true", help="plain changes, not led by coverage")
    parser.add_argument("--cells", type=int, default=20, help="damaged copies of each real cell")
    parser.add_argument("--found", type=Path, default=Path("runs/fuzz"))
    asked = parser.parse_args(argv)
    wanted = asked.targets or [*TARGETS, "cells"]
    unknown = [name for name in wanted if name not in (*TARGETS, "cells")]
    if unknown:
        print(f"no target is called {unknown[0]!r}; there are {', '.join([*TARGETS, 'cells'])}", file=sys.stderr)
        return 2
    executions, is_clean = 0, True
    for name in wanted:
        is_cells = name == "cells"
        line = cells.damaged_copies(asked.cells, asked.seed, asked.found) if is_cells else _one(name, asked)
        executions += int(line.get("executions", 0))
        is_clean &= not line.get("found")
        print(json.dumps(line), flush=True)
    print(json.dumps({"all": len(wanted), "executions": executions, "is_clean": is_clean}), flush=True)
    return 0 if is_clean else 1


def _one(name: str, asked: argparse.Namespace) -> dict[str, object]:
    command = [sys.executable, "-m", "bench.fuzz.one", name, str(asked.seconds), str(asked.seed), str(asked.found)]
    # The library that leads by coverage ends a process without a word to anybody: what it leaves is cleared away here.
    with tempfile.TemporaryDirectory(dir=_MEMORY if _MEMORY.is_dir() else None) as place:
        own = {**os.environ, "TMPDIR": place}
        done = subprocess.run(command + ["--plain"] * asked.plain, capture_output=True, text=True, env=own)
    lines = [text for text in done.stdout.splitlines() if text.startswith("{")]
    if not lines:
        # A crash of the process itself: the last words are all there is.
        last = (done.stderr or done.stdout).strip().splitlines()[-1:] or ["no word"]
        return {"target": name, "executions": 0, "found": {f"the process ended with {done.returncode}": last[0][:200]}}
    told: dict[str, object] = json.loads(lines[-1])
    return told


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
