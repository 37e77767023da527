"""Search the peers' settings on the real radar detections, in their favour: ``python design/track_peers.py DIR [N]``.

Prints the best few of N random settings of Stone Soup's JPDA and GNN by the sum of both scorings' mean GOSPA.  The
winners stand in ``bench/autoferry.py``.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))

from bench import autoferry
from bench._autoferry_data import read_scenario
from bench._stonesoup import PeerSettings


def main() -> None:
    """Search and print."""
    scenarios = [read_scenario(f) for f in sorted(Path(sys.argv[1]).glob("scenario*"))]
    n = int(sys.argv[2]) if len(sys.argv) > 2 else 40
    rng = np.random.default_rng(4)
    for kind in ("gnn", "jpda"):
        found = []
        for _ in range(n):
            s = PeerSettings(
                kind,
                acceleration_q=float(rng.choice([0.005, 0.02, 0.05, 0.1, 0.3])),
                noise_m=float(rng.choice([2.0, 3.0, 4.0, 5.0])),
                speed_sigma=float(rng.choice([2.0, 3.0, 4.0, 6.0])),
                p_detect=float(rng.choice([0.7, 0.8, 0.9])),
                clutter_per_m2=float(rng.choice([1e-6, 5e-6, 2e-5, 1e-4])),
                gate=float(rng.choice([2.0, 3.0, 4.0])),
                min_points=int(rng.choice([2, 3, 4, 5])),
                delete_after=int(rng.choice([2, 3, 4, 6])),
            )
            both = np.array([[x.mean for x in autoferry._scores(t, autoferry._peer(s))] for t in scenarios]).mean(0)
            found.append((float(both.sum()), both.round(3).tolist(), s))
        for line in sorted(found, key=lambda f: f[0])[:4]:
            print(line, flush=True)


if __name__ == "__main__":
    main()
