"""One target for some time: ``python -m bench.fuzz.one TARGET SECONDS SEED FOLDER``.  Prints one JSON line.

With atheris where it is installed (coverage leads it), else by plain changes of the seeds.  What is refused as our own
errors refuse is right; any other exception, and an input that takes `HANG_S` of the processor, is a finding:
its bytes are kept in FOLDER under the kind and the place of what was raised, once each, and the run goes on.
"""

from __future__ import annotations

import hashlib
import importlib
import json
import random
import resource
import signal
import sys
import traceback
from collections.abc import Callable
from pathlib import Path
from time import process_time
from typing import Any

from moonless.clock import steady_s

# Of the processor, and of the clock: a busy computer lets a sound input wait.
HANG_S, HANG_CLOCK = 5.0, 20.0
# Much of these is compiled loops, which coverage does not see and whose compiler its marks disturb.
UNLED = ("tracker", "assembler")
# Longer inputs say little more and cost much.
LONGEST = 4096


class Hang(Exception):
    """An input that took too long."""


class Runner:
    """Runs inputs, counts them and keeps what was found."""

    def __init__(self, name: str, target: Callable[[bytes], None], own_error: type[Exception], folder: Path) -> None:
        self.name, self.folder = name, folder
        self._target, self._own = target, own_error
        self.executions = self.refused = 0
        self.slowest_s = 0.0
        self.found: dict[str, str] = {}
        signal.signal(signal.SIGALRM, self._too_long)
        signal.signal(signal.SIGPROF, self._too_long)

    def _too_long(self, *_: object) -> None:
        raise Hang

    def run(self, data: bytes, most_s: float = HANG_S) -> None:
        """Run one input; ``most_s``: of processor time, 0: it may take as long as it likes."""
        self.executions += 1
        began = process_time()
        signal.setitimer(signal.ITIMER_PROF, most_s)
        signal.setitimer(signal.ITIMER_REAL, most_s * HANG_CLOCK)
        try:
            self._target(data)
        except self._own:
            self.refused += 1
        except Exception as problem:
            self._keep(data, problem)
        finally:
            signal.setitimer(signal.ITIMER_PROF, 0.0)
            signal.setitimer(signal.ITIMER_REAL, 0.0)
        if most_s:
            self.slowest_s = max(self.slowest_s, process_time() - began)

    def _keep(self, data: bytes, problem: Exception) -> None:
        frames = traceback.extract_tb(problem.__traceback__)
        ours = [one for one in frames if "moonless" in one.filename] or list(frames)
        kind = f"{type(problem).__name__} at {Path(ours[-1].filename).name}:{ours[-1].lineno}"
        if kind not in self.found:
            self.folder.mkdir(parents=True, exist_ok=True)
            file = self.folder / f"{self.name}-{hashlib.sha256(data).hexdigest()[:10]}"
            file.write_bytes(data)
            self.found[kind] = f"{file.name}: {str(problem)[:120]}"


def change(data: bytes, chance: random.Random, others: list[bytes]) -> bytes:
    """Return an input changed in a few places."""
    out = bytearray(data)
    for _ in range(chance.choice((1, 1, 2, 4, 8, 32))):
        at = chance.randrange(len(out) + 1)
        what = chance.randrange(7)
        if what == 0 and out:
            out[at % len(out)] ^= 1 << chance.randrange(8)
        elif what == 1:
            out[at:at] = chance.randbytes(chance.randrange(1, 9))
        elif what == 2:
            del out[at : at + chance.randrange(1, 9)]
        elif what == 3:
            other = chance.choice(others)
            start = chance.randrange(len(other) + 1)
            out[at : at + chance.randrange(16)] = other[start : start + chance.randrange(1, 64)]
        elif what == 4 and out:
            out[at % len(out)] = chance.choice((0, 1, 0x7F, 0x80, 0xFF, 0x2C, 0x30, 0x5B, 0x7B, 0x22, 0x2D))
        elif what == 5:
            out[at:at] = chance.choice(
                (b"9" * 30, b"1e999", b"NaN", b"-", b"[" * 2000, b"\xed\xa0\x80", b"null", b"\x00" * 8)
            )
        elif what == 6:
            out[at : at + 8] = chance.choice((2**63 - 1, 2**32 - 1, 2**31, 0)).to_bytes(8, "little")
    return bytes(out[:LONGEST])


def _plain(runner: Runner, seeds: list[bytes], seconds: float, seed: int) -> None:
    chance = random.Random(seed)
    pool, until = list(seeds), steady_s() + seconds
    while steady_s() < until:
        data = change(chance.choice(pool), chance, pool)
        before = runner.refused
        runner.run(data)
        # What was taken in leads further in than what was refused.
        if runner.refused == before and chance.random() < 0.02:
            pool.append(data)
            if len(pool) > 400:
                pool.pop(len(seeds) + chance.randrange(len(pool) - len(seeds)))


def _resident_mb() -> float:
    for line in Path("/proc/self/status").read_text().splitlines():
        if line.startswith("VmRSS:"):
            return int(line.split()[1]) / 1024.0
    return float("nan")


def main(argv: list[str]) -> int:
    """Run one target; exit code 1 where something was found."""
    name, seconds, seed, folder = argv[0], float(argv[1]), int(argv[2]), Path(argv[3])
    atheris: Any = None
    if "--plain" not in argv and name not in UNLED:
        try:
            atheris = importlib.import_module("atheris")
        except ImportError:
            atheris = None
    if atheris is not None:
        # Compiled loops are left alone: their compiler reads the code that would be changed.
        rooms = ["moonless.wire", "moonless.scan", "moonless.helm", "moonless.tables", "moonless.boat", "moonless.sea"]
        with atheris.instrument_imports(include=[*rooms, "moonless.passage.way.route"]):
            files, wire = importlib.import_module("bench.fuzz.files"), importlib.import_module("bench.fuzz.wire")
    else:
        files, wire = importlib.import_module("bench.fuzz.files"), importlib.import_module("bench.fuzz.wire")
    errors = importlib.import_module("moonless.errors")
    target, seeds = {**wire.TARGETS, **files.TARGETS}[name], {**wire.SEEDS, **files.SEEDS}[name]
    runner = Runner(name, target, errors.MoonlessError, folder)
    for one in seeds:
        runner.run(one, 0.0)  # kernels are compiled now
    began, before_mb, spent = steady_s(), _resident_mb(), process_time()

    def tell() -> None:
        most_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0
        line = {
            "target": name, "by": "plain changes" if atheris is None else "atheris", "executions": runner.executions,
            "refused": runner.refused, "seconds": round(steady_s() - began, 1),
            "cpu_s": round(process_time() - spent, 1), "slowest_s": round(runner.slowest_s, 3),
            "grown_mb": round(_resident_mb() - before_mb, 1), "most_mb": round(most_mb, 1), "found": runner.found,
        }  # fmt: skip
        print(json.dumps(line), flush=True)

    if atheris is None:
        _plain(runner, seeds, seconds, seed)
        tell()
        return 1 if runner.found else 0
    _by_coverage(atheris, runner, seeds, seconds, seed, tell)
    return 0


def _by_coverage(
    atheris: Any, runner: Runner, seeds: list[bytes], seconds: float, seed: int, tell: Callable[[], None]
) -> None:
    import os
    import tempfile

    until = steady_s() + seconds
    with tempfile.TemporaryDirectory() as corpus:
        for number, one in enumerate(seeds):
            (Path(corpus) / str(number)).write_bytes(one)

        def one_input(data: bytes) -> None:
            runner.run(data)
            if steady_s() > until:
                # The library never comes back by itself.
                tell()
                os._exit(1 if runner.found else 0)

        flags = [
            f"-seed={seed}",
            f"-max_len={LONGEST}",
            "-verbosity=0",
            "-rss_limit_mb=3000",
            "-timeout=60",
            "-detect_leaks=0",
        ]
        atheris.Setup(["fuzz", *flags, corpus], one_input)
        atheris.Fuzz()


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
