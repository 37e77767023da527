"""Recorded polar sets, one small file for each format: `docs/formats.md` says what each must hold.

run = open_polar(path)
for spoke in run.spokes(): ...
for scan in scans_of(run, errors): ...
"""

from moonless.scan.read.open import is_polar, open_polar, scans_of
from moonless.scan.read.run import PolarRun, PolarTurn

__all__ = ["PolarRun", "PolarTurn", "is_polar", "open_polar", "scans_of"]
