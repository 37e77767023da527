"""A learner drawn by a model, scheduled as practice schedules: what he can at the end, against other orders.

    python design/practice/learner.py [RUNS]

Model: each exercise done takes a tenth of what is wanting to 0.97; each day without a step loses two parts in a hundred
of what was learned above 0.35; twelve exercises a day for sixty days.  The other orders: the steps in turn, and any.
"""

from __future__ import annotations

import sys

import numpy as np

from moonless.practice.ladder import LADDER
from moonless.practice.progress import Answered, next_step

DAY_NS, START_NS = 86_400 * 10**9, 1_930_000_000 * 10**9
DAYS, A_DAY, FIRST, MOST = 60, 12, 0.35, 0.97


def run(order: str, seed: int) -> tuple[float, float]:
    """Return (mean skill, worst skill) over the steps after the last day."""
    chance = np.random.default_rng(seed)
    keys = [step.key for step in LADDER]
    skill = dict.fromkeys(keys, FIRST)
    given: list[Answered] = []
    for day in range(DAYS):
        done = set()
        for number in range(A_DAY):
            now = START_NS + day * DAY_NS + number * 60 * 10**9
            k = day * A_DAY + number
            step = {"scheduled": "", "in turn": keys[k % len(keys)], "any": str(chance.choice(keys))}[order]
            step = step or next_step(given, now)
            right = float(chance.uniform() < skill[step])
            given.append(Answered(now, step, k, "model", right, right, 1.0 - right, False, 1.0))
            skill[step] += 0.1 * (MOST - skill[step])
            done.add(step)
        for key in keys:
            if key not in done:
                skill[key] -= 0.02 * (skill[key] - FIRST)
    return float(np.mean(list(skill.values()))), float(min(skill.values()))


def main(runs: int) -> None:
    """Run and print."""
    for order in ("scheduled", "in turn", "any"):
        told = np.array([run(order, seed) for seed in range(runs)])
        print(
            f"{order:10} mean skill {told[:, 0].mean():.2f}, worst step {told[:, 1].mean():.2f} (before: {FIRST})",
            flush=True,
        )


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 3)
