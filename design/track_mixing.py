"""Why small shares are dropped when motion models are mixed: ``python design/track_mixing.py [RUNS]``.

Scenarios 1 and 2 of A.823(19), own place by satellite, with and without the floors of `MotionModels`; prints the 95 %
errors after three minutes as shares of the limits.
"""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))

from bench import a823

from moonless.track.settings import TrackerSettings


def main() -> None:
    """Run and print."""
    runs = int(sys.argv[1]) if len(sys.argv) > 1 else 100
    plain = TrackerSettings
    for mixing, told in ((0.0, 0.0), (0.04, 0.0), (0.04, 0.12)):

        def made(mixing: float = mixing, told: float = told, **fields: float) -> TrackerSettings:
            s = plain(**fields)
            return replace(s, models=replace(s.models, mixing_floor=mixing, told_floor=told))

        a823.TrackerSettings = made  # type: ignore[assignment,misc]
        for number in (1, 2):
            s = a823.SCENARIOS[number - 1]
            rng = np.random.default_rng(1)
            draws = np.array([a823._errors(s, rng, "gnss", 180.0, 1.25)[0] for _ in range(runs)])
            p95 = np.percentile(draws, 95, axis=0)
            figures = zip(a823.FIGURES, p95, s.limit_3, strict=True)
            shares = {name: round(float(got / limit), 2) for name, got, limit in figures if limit}
            print(f"mixing_floor {mixing} told_floor {told} scenario {number}: {shares}", flush=True)


if __name__ == "__main__":
    main()
