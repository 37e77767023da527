"""Figures over what was counted: F1 over kinds, the calibration of confidence, and the table of kinds."""

from __future__ import annotations

import math
from collections import Counter, defaultdict

import numpy as np

CLASSES = ("vessel", "charted", "shore", "bridge", "uncharted", "clutter", "false")


def macro_f1(confusion: Counter[tuple[str, str]], least: int = 1, *, full: int = 1) -> float | None:
    """Return the mean F1 over the classes that truly occur at least ``least`` times.

    A class that occurs fewer than ``full`` times weighs by its count over that; at 1, the default, all weigh alike.
    """
    scores, weights = [], []
    for cls in CLASSES:
        true = sum(n for (t, _), n in confusion.items() if t == cls)
        said = sum(n for (_, s), n in confusion.items() if s == cls)
        both = confusion.get((cls, cls), 0)
        if true >= least:
            scores.append(2.0 * both / (true + said))
            weights.append(min(1.0, true / full))
    return float(np.average(scores, weights=weights)) if scores else None


def confusion_table(confusion: Counter[tuple[str, str]]) -> str:
    """Return how often each true kind (rows) was told as which (columns), with the F1 of each, as plain text."""
    lines = ["true \\ told " + " ".join(f"{cls:>9}" for cls in CLASSES) + "        F1"]
    for cls in CLASSES:
        row = [confusion.get((cls, said), 0) for said in CLASSES]
        told = sum(confusion.get((true, cls), 0) for true in CLASSES)
        f1 = 2.0 * confusion.get((cls, cls), 0) / (sum(row) + told) if sum(row) + told else math.nan
        lines.append(f"{cls:<11} " + " ".join(f"{n:>9}" for n in row) + f" {f1:>9.3f}")
    return "\n".join(lines)


def calibration_error(pairs: list[tuple[float, bool]], n_bin: int = 10) -> float:
    """Return the expected calibration error: mean gap between confidence and rightness, weighed by bin."""
    groups: dict[int, list[tuple[float, bool]]] = defaultdict(list)
    for confidence, is_right in pairs:
        groups[min(n_bin - 1, int(confidence * n_bin))].append((confidence, is_right))
    return sum(
        abs(float(np.mean([c for c, _ in g])) - float(np.mean([r for _, r in g]))) * len(g) / len(pairs)
        for g in groups.values()
    )
