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

TURN_S = 1.25  # 48 turns a minute, as the bench's own


def main() -> None:
    """Run and print."""
    runs = int(sys.argv[1]) if len(sys.argv) > 1 else 100
    plain = TrackerSettings
    for mixing, told in ((0.0, 0.0), (0.04, 0.0), (0.04, 0.12), (0.04, 0.2)):  # the last is the tracker's own

        def made(mixing: float = mixing, told: float = told, **fields: float) -> TrackerSettings:
            s = plain(**fields)
            return replace(s, models=replace(s.models, mixing_floor=mixing, told_floor=told))

        a823.TrackerSettings = made  # type: ignore[assignment,misc]
        for number in (1, 2):
            s = a823.SCENARIOS[number - 1]
            # The draws of run 0, 1, 2 ... are the bench's own, whatever is changed here.
            drawn = [
                a823.draw(s, np.random.default_rng([823, number, run]), "gnss", 180.0, TURN_S) for run in range(runs)
            ]
            errors: list[np.ndarray] = []
            for first in range(0, runs, a823.TOGETHER):
                some = drawn[first : first + a823.TOGETHER]
                tracks = a823.tracked(some, "gnss")
                errors += [a823.errors_of(s, d, x, "gnss")[0] for d, x in zip(some, tracks, strict=True)]
            p95 = np.percentile(np.array(errors), 95, axis=0)
            figures = zip(a823.FIGURES, p95, s.limit_3, strict=True)
            shares = {name: round(float(got / limit), 2) for name, got, limit in figures if limit}
            print(f"mixing_floor {mixing} told_floor {told} scenario {number}: {shares}", flush=True)


if __name__ == "__main__":
    main()
