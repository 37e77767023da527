"""How long a track is held without a plot: `hold_log_odds` chosen on three scenarios and tried on the fourth.

    python design/track_hold.py DIR        DIR as for `python -m bench.autoferry`

Prints mean GOSPA (all tracks / those that move) of each scenario at each setting, as recorded and with one plot in
twenty taken away, 0.3 m of scatter and a stray every third turn put in (five draws); then, leaving each scenario out,
which setting the other three would choose and what it gives on the one left out.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))

from bench import _autoferry_ours as ours
from bench import autoferry
from bench._autoferry_data import Turn, read_scenario

SETTINGS = (0.1, 0.7, 1.5, 2.2, 3.0, 9.0)


def perturbed(turns: list[Turn], seed: int) -> list[Turn]:
    """Return the turns with plots lost, scattered and added; seed 0: as recorded."""
    if seed == 0:
        return turns
    rng, out = np.random.default_rng(seed), []
    for t in turns:
        kept = t.points_m[rng.random(len(t.points_m)) > 0.05]
        n = rng.poisson(0.3)
        bearing, away = rng.uniform(0.0, 2.0 * np.pi, n), 250.0 * np.sqrt(rng.random(n))
        strays = t.own_m + away[:, None] * np.stack([np.sin(bearing), np.cos(bearing)], axis=1)
        points = np.concatenate([kept + rng.normal(0.0, 0.3, kept.shape), strays])
        out.append(replace(t, points_m=points))
    return out


def scores(folders: list[Path], seeds: range) -> Iterator[tuple[float, np.ndarray]]:
    """Yield (setting, (scenario, 2) mean GOSPA over all tracks and over those that move)."""
    turns = [read_scenario(f) for f in folders]
    for value in SETTINGS:
        ours.SETTINGS = replace(ours.SETTINGS, hold_log_odds=value)
        rows = [
            np.mean([[s.mean for s in autoferry._scores(perturbed(one, seed), ours.run)] for seed in seeds], axis=0)
            for one in turns
        ]
        yield value, np.array(rows)


def main(folder: Path) -> None:
    folders = sorted(f for f in folder.iterdir() if f.is_dir())
    print("setting  " + "  ".join(f"{f.name:>14}" for f in folders) + "           mean")
    for name, seeds in (("as recorded", range(1)), ("perturbed", range(1, 6))):
        print(name)
        table = dict(scores(folders, seeds))
        for value, rows in table.items():
            cells = [f"{a:6.2f} / {m:5.2f}" for a, m in [*rows, rows.mean(axis=0)]]
            print(f"{value:7.1f}  " + "  ".join(cells))
        for k, left in enumerate(folders):
            best = min(table, key=lambda v: float(np.delete(table[v], k, axis=0).sum()))
            print(f"  without {left.name}: {best}, which gives {table[best][k, 0]:.2f} / {table[best][k, 1]:.2f} on it")


if __name__ == "__main__":
    main(Path(sys.argv[1]))
