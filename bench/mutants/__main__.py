"""Whether the tests bite: small wrong changes drawn at random, and whether the tests that reach each see it.

    python -m bench.mutants [--seed N ...] [--sample N] [--room ROOM ...] [--at FILE:LINE ...] [--named]

A change is one that a slip of the pen makes: a comparison turned, a sign, a sine for a cosine, port for starboard, a
number doubled, a condition negated.  Each is written into a copy of the source, the tests that reach it are run on the
copy until the first failure, and one JSON line tells it.  What passes is a survivor: read it, and where it would
mislead a skipper write the test.  Some survivors change nothing that anybody can see; those are written down with the
reason in ``judged.toml`` and told as harmless.

The sample is drawn by the seed from all changes of the rooms, each room by its share; the last line has the figures.
``--named`` is for every day: those of ``named.toml``, each of which would mislead, each against the one test that
must see it; all must be caught.

Why not a general tool: what misleads here is a side, a unit or a sign, which none of them changes, and a run of all
changes takes days.
"""

from __future__ import annotations

import argparse
import json
import sys
import time
from collections.abc import Iterator
from pathlib import Path

from bench.mutants.client import Server
from bench.mutants.draw import ROOMS, Change, all_changes, sampled
from bench.mutants.judged import judged
from bench.mutants.named import named
from bench.mutants.reach import Reach
from bench.mutants.tree import Kernels, changed, tree

# What takes ten times as long as it took unchanged, and a start, hangs.
START_S, TIMES = 60.0, 10.0


def told(change: Change, folder: Path) -> dict[str, object]:
    """Return what a line tells of a change before it is tried."""
    was, now = change.lines((folder / change.file).read_bytes())
    return {"file": str(change.file), "line": change.line, "was": was, "now": now}


def drawn(folder: Path, changes: list[Change], under: list[str], without: list[str]) -> Iterator[dict[str, object]]:
    """Try each change against the tests that reach it; yields what is told of it."""
    kernels, server, harmless = Kernels(folder), Server(folder), judged()
    reach = Reach(folder, server, under, without)
    for change in changes:
        tests = reach.tests(change)
        line = told(change, folder)
        seconds, first, passed = 0.0, "", True
        if tests:
            cpu_s = START_S + TIMES * sum(reach.took.get(test, 0.0) for test in tests)
            with changed(folder, kernels, change):
                ran = server.run(sorted({t.split("::")[0] for t in tests}), tests, cpu_s)
            passed, first, seconds = ran.passed, ran.first, ran.seconds
        why = harmless.get((str(line["was"]), str(line["now"])), "") if passed else ""
        yield {**line, "caught": not passed, "by": first, "reached_by": len(tests), "harmless": why, "seconds": seconds}
    server.close()


def held(folder: Path) -> Iterator[dict[str, object]]:
    """Try the changes of every day, each against its own test alone."""
    kernels, server, pairs = Kernels(folder), Server(folder), named()
    tests = sorted({test for _, test in pairs})
    ran = server.run(sorted({t.split("::")[0] for t in tests}), tests, START_S + 600.0)
    if not ran.passed or ran.ran < len(tests):
        raise SystemExit(f"{ran.ran} of {len(tests)} tests of the named changes ran; first to fail: {ran.first}")
    for change, test in pairs:
        line = told(change, folder)
        with changed(folder, kernels, change):
            ran = server.run([test.split("::")[0]], [test], START_S + 60.0)
        yield {**line, "caught": not ran.passed, "by": ran.first, "seconds": ran.seconds}
    server.close()


def _figures(lines: list[tuple[Change, dict[str, object]]], seconds: float) -> dict[str, object]:
    rooms: dict[str, list[bool]] = {}
    for change, line in lines:
        rooms.setdefault(change.room, []).append(bool(line["caught"]))
    caught = sum(sum(of) for of in rooms.values())
    harmless = sum(bool(line.get("harmless")) for _, line in lines)
    n = max(1, len(lines))
    return {
        "tried": len(lines), "caught": caught, "share": round(caught / n, 3), "harmless": harmless,
        "open": len(lines) - caught - harmless, "open_share": round((len(lines) - caught - harmless) / n, 3),
        "rooms": {room: f"{sum(of)}/{len(of)}" for room, of in sorted(rooms.items())},
        "processor_s": round(sum(float(str(line["seconds"])) for _, line in lines)), "seconds": round(seconds),
    }  # fmt: skip


def main() -> int:
    """Draw, try, tell; 1 where one of the named changes passes."""
    parser = argparse.ArgumentParser(prog="python -m bench.mutants", description=__doc__.split("\n\n")[0])
    parser.add_argument("--seed", type=int, nargs="+", default=[1])
    parser.add_argument("--sample", type=int, default=60)
    parser.add_argument("--room", nargs="+", choices=ROOMS, default=ROOMS)
    parser.add_argument("--tests", nargs="+", metavar="FOLDER", help="folders of tests, else those of the rooms")
    parser.add_argument("--without", nargs="+", default=[], metavar="TEST_FILE.py", help="leave out files of tests")
    parser.add_argument("--at", nargs="+", default=[], metavar="FILE:LINE", help="every change of these lines instead")
    parser.add_argument("--named", action="store_true", help="the changes of every day instead")
    asked = parser.parse_args()
    begun, lines = time.monotonic(), list[tuple[Change, dict[str, object]]]()
    changes, of = list[Change](), 0
    if asked.named:
        changes = [change for change, _ in named()]
    else:
        every = all_changes(tuple(asked.room))
        of = len(every)
        if asked.at:
            changes = [c for c in every if any(f"{c.file}:{c.line}".endswith(at) for at in asked.at)]
        else:
            for seed in asked.seed:
                changes += [c for c in sampled(every, asked.sample, seed) if c not in changes]
    with tree() as folder:
        under = asked.tests or [room for room in asked.room if (folder / "tests" / room).is_dir()]
        results = held(folder) if asked.named else drawn(folder, changes, list(under), asked.without)
        for change, line in zip(changes, results, strict=True):
            print(json.dumps(line, ensure_ascii=False), flush=True)
            lines.append((change, line))
    figures = _figures(lines, time.monotonic() - begun)
    drew = None if asked.named or asked.at else asked.seed
    print(json.dumps({"seed": drew, "changes": of, **figures}), flush=True)
    return int(asked.named and figures["caught"] != len(lines))


if __name__ == "__main__":
    sys.exit(main())
