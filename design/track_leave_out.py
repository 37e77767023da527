"""Settings for the real detections, ours and the peers', chosen alike and told on what did not choose them.

    python design/track_leave_out.py DIR [N]        DIR as for `python -m bench.autoferry`; N settings each, 60

Each tracker gets N settings drawn from its own table.  The sum of both scorings' mean GOSPA, over all tracks held and
over those that move, chooses: over all scenarios but one, and the choice is told on that one; then over all of them.
The standing settings, ours and the peers', were found with these data in sight: they are told beside, and do not stand
for choice.  Printed for each: what was chosen without each scenario and what it gives there, the mean of
those, and the best of all, which is what no unseen scenario will give.

The same again with what was recorded made worse (plots taken away, scattered, strays put in; played backwards): each
tracker's best of all on data that chose nothing, five draws.  A setting that takes more than a minute for one scenario
is left out (the library's JPDA counts joint events).
"""

from __future__ import annotations

import sys
import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))

from bench.autoferry import compare as autoferry
from bench.autoferry import ours as _autoferry_ours
from bench.autoferry.data import Scenario, read_all
from bench.peers.stonesoup import Out, PeerSettings

OURS: dict[str, tuple[Any, ...]] = {
    "birth_per_m2": (1e-7, 2e-7, 1e-6),
    "clutter_per_m2": (1e-6, 2e-6, 5e-6),
    "confirm_fit": (0.7, 1.5),
    "fit_per_clutter": (1.0, 2.0, 3.0),
    "confirm_log_odds": (1.5, 2.2, 3.0),
    "patient_log_odds": (3.0, 4.0),
    "hold_log_odds": (1.5, 2.2, 3.0),
    "p_detect": (0.75, 0.8, 0.85),
}
PEERS: dict[str, tuple[Any, ...]] = {
    "acceleration_q": (0.002, 0.01, 0.05, 0.2),
    "noise_m": (1.0, 1.5, 2.5, 4.0),
    "speed_sigma": (3.0, 5.0, 8.0),
    "p_detect": (0.7, 0.8, 0.9),
    "clutter_per_m2": (1e-6, 5e-6, 2e-5),
    "gate": (2.0, 3.0, 4.0),
    "min_points": (3, 4, 5, 7),
    "delete_after": (2, 4, 6),
}
WORSE = {"fewer": (0.3, 0.3, 0.3, False), "rougher": (0.05, 2.0, 0.3, False), "backwards": (0.0, 0.0, 0.0, True)}
LONGEST_S = 60.0


def worse(one: Scenario, seed: int, lost: float, scatter_m: float, strays: float, backwards: bool) -> Scenario:
    """Return a scenario with plots lost, scattered and added within 250 m, or played from its end."""
    rng, out = np.random.default_rng(seed), []
    for t in one.turns:
        kept = t.points_m[rng.random(len(t.points_m)) >= lost]
        n = rng.poisson(strays)
        bearing, away = rng.uniform(0.0, 2.0 * np.pi, n), 250.0 * np.sqrt(rng.random(n))
        new = t.own_m + away[:, None] * np.stack([np.sin(bearing), np.cos(bearing)], axis=1)
        out.append(replace(t, points_m=np.concatenate([kept + rng.normal(0.0, 1.0, kept.shape) * scatter_m, new])))
    if backwards:
        end_s = out[-1].time_s
        out = [replace(t, time_s=end_s - t.time_s) for t in reversed(out)]
    return replace(one, turns=out)


class TooSlow(Exception):
    """A setting that does not finish."""


def _within(run: autoferry.Run) -> autoferry.Run:
    def timed(one: Scenario) -> Iterator[Out]:
        begin = time.process_time()
        for out in run(one):
            if time.process_time() - begin > LONGEST_S:
                raise TooSlow
            yield out

    return timed


def drawn(table: dict[str, tuple[Any, ...]], n: int) -> Iterator[dict[str, Any]]:
    """Yield n settings at random."""
    rng = np.random.default_rng(4)
    for _ in range(n):
        yield {name: values[rng.integers(len(values))] for name, values in table.items()}


def table(scenarios: list[Scenario], run: autoferry.Run) -> np.ndarray:
    """Return (scenario, 2): mean GOSPA over all tracks and over those that move, at a cut of 20 m."""
    return np.array([[autoferry.figure(one, s) for s in autoferry.scores(one, _within(run))] for one in scenarios])


def search(name: str, scenarios: list[Scenario], made: list[tuple[str, autoferry.Run]]) -> autoferry.Run:
    """Print what is chosen without each scenario and what it gives there; return the best over all."""
    kept, rows = [], []
    for told, run in made:
        try:
            rows.append(table(scenarios, run))
        except TooSlow:
            continue
        kept.append((told, run))
    got = np.array(rows)
    print(f"{name}: {len(kept)} of {len(made)} settings")
    left = []
    for k, one in enumerate(scenarios):
        chosen = int(np.delete(got, k, axis=1).sum(axis=(1, 2)).argmin())
        left.append(got[chosen, k])
        print(f"  without {one.name:11} {_two(got[chosen, k])}  {kept[chosen][0]}")
    harbour = [k for k, one in enumerate(scenarios) if one.name != "joyride"]
    best = int(got.sum(axis=(1, 2)).argmin())
    print(f"  left out: harbour {_two(np.mean([left[k] for k in harbour], axis=0))}, all {_two(np.mean(left, axis=0))}")
    print(f"  best of all: {_two(got[best].mean(axis=0))}  {kept[best][0]}", flush=True)
    return kept[best][1]


def _two(pair: np.ndarray) -> str:
    return f"{pair[0]:5.2f} / {pair[1]:5.2f}"


def main(folder: Path, n: int) -> None:
    """Search, then hold the winners against data made worse."""
    scenarios = read_all(folder)
    best: dict[str, autoferry.Run] = {}
    standing = _autoferry_ours.SETTINGS
    mine = list(drawn(OURS, n))
    best["moonless"] = search("moonless", scenarios, [(str(k), autoferry.ours(replace(standing, **k))) for k in mine])
    for name, settings in reversed(autoferry.PEERS.items()):
        theirs = [PeerSettings(settings.kind, **k) for k in drawn(PEERS, n)]
        best[name] = search(name, scenarios, [(str(k), autoferry.peer(k)) for k in theirs])
    best |= {"moonless as it stands": autoferry.ours(standing)}
    best |= {f"{name} as it stands": autoferry.peer(settings) for name, settings in autoferry.PEERS.items()}
    for name, run in best.items():
        print(f"as recorded {name:30} {_two(table(scenarios, run).mean(axis=0))}", flush=True)
    for how, what in WORSE.items():
        seeds = range(1) if how == "backwards" else range(1, 6)
        for name, run in best.items():
            got = [table([worse(one, seed, *what) for one in scenarios], run) for seed in seeds]
            print(f"{how:10} {name:30} {_two(np.mean(got, axis=(0, 1)))}", flush=True)


if __name__ == "__main__":
    main(Path(sys.argv[1]), int(sys.argv[2]) if len(sys.argv) > 2 else 60)
