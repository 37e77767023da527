"""``python -m bench NAME...``: run benchmarks by name; without a name, list them.

A module of `bench.rooms`, `bench.plans`, `bench.at_sea`, `bench.faults`, `bench.live`, `bench.many_runs` or
`bench.scenes` that offers ``NAMES`` and ``run(names)`` is one.  A name may be given whole (``predict.drawn``) or by its
first part (``predict``), which runs all that begin with it.
"""

from __future__ import annotations

import importlib
import pkgutil
import sys
from types import ModuleType

import bench.at_sea
import bench.faults
import bench.live
import bench.many_runs
import bench.plans
import bench.rooms
import bench.scenes


def _modules() -> list[ModuleType]:
    found = []
    for package in (bench.rooms, bench.plans, bench.at_sea, bench.faults, bench.live, bench.many_runs, bench.scenes):
        for info in pkgutil.iter_modules(package.__path__):
            module = importlib.import_module(f"{package.__name__}.{info.name}")
            if hasattr(module, "NAMES"):
                found.append(module)
    return sorted(found, key=lambda module: str(module.NAMES[0]))


def main(argv: list[str]) -> int:
    """Run or list; exit code 2 for a name that no benchmark has."""
    modules = _modules()
    if not argv:
        for module in modules:
            for name in module.NAMES:
                print(name)
        return 0
    for position, asked in enumerate(argv):
        matching = False
        for module in modules:
            names = [n for n in module.NAMES if n == asked or n.startswith(asked + ".")]
            if not names:
                continue
            matching = True
            # What follows `scenes` are scene names, not benchmarks.
            if getattr(module, "TAKES_REST", False):
                for result in module.run(names, argv[position + 1 :]):
                    print(result.as_json(), flush=True)
                return 0
            for result in module.run(names):
                print(result.as_json(), flush=True)
        if not matching:
            print(f"no benchmark is called {asked!r}; `python -m bench` lists them", file=sys.stderr)
            return 2
    return 0


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
