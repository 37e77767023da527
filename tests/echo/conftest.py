"""Made scans for the echo room come from the generator that the benchmarks use."""

from __future__ import annotations

import sys
from pathlib import Path

# ``bench`` lies beside ``src``; plain ``pytest`` does not put the repository's root on the path.
sys.path.insert(0, str(Path(__file__).parents[2]))
