"""How fast old answers fade: the width of the interval against the lag behind a learner who improves.

    python design/practice/fade.py

Prints, for each share that is left of the older evidence at an answer: how often the middle 90 % holds a steady skill,
how wide it is after thirty answers, and how far the mean lags behind a skill that rises from 0.4 to 0.9 in thirty.
"""

from __future__ import annotations

import numpy as np

from moonless.practice.progress import interval

FADES = (1.0, 0.97, 0.95, 0.93, 0.9, 0.8)
TRIALS, ANSWERS = 2_000, 30


def told(rights: np.ndarray, fade: float) -> tuple[float, float, float]:
    """Return (mean, 5 %, 95 %) after these answers."""
    age = np.arange(len(rights))[::-1]
    weight = fade**age
    return interval(float((weight * rights).sum()), float((weight * (1.0 - rights)).sum()))


def main() -> None:
    """Sweep and print."""
    chance = np.random.default_rng(1)
    print("fade   holds   width    lag")
    for fade in FADES:
        holds, widths, lags = [], [], []
        for _ in range(TRIALS):
            skill = float(chance.uniform(0.2, 0.95))
            _, low, high = told((chance.uniform(size=ANSWERS) < skill).astype(float), fade)
            holds.append(low <= skill <= high)
            widths.append(high - low)
            rising = np.linspace(0.4, 0.9, ANSWERS)
            lags.append(0.9 - told((chance.uniform(size=ANSWERS) < rising).astype(float), fade)[0])
        print(f"{fade:4.2f}   {np.mean(holds):.3f}   {np.mean(widths):.3f}   {np.mean(lags):+.3f}")


if __name__ == "__main__":
    main()
