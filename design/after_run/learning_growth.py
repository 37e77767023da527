"""What made nights teach, drawn night by night: `python design/after_run/learning_growth.py FOLDER [PNG]`.

FOLDER keeps the recordings of the nights (made where they are not there yet, some three seconds of the processor each):
delete it after a change of what reads them.  Told: every planted change not found, and every proposal that is of none.
"""

from __future__ import annotations

import sys
from pathlib import Path

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT))

from bench.many_runs.proof import FLEETS, N_NIGHTS, SEEDS, Grown, growth  # noqa: E402

TITLES = {"learned.one_boat": "one boat", "learned.four_boats": "four boats, each with errors of her own"}
# Recall and precision told apart by line and mark, not by colour alone.
LINES = {"recall": ("#1b5e8a", "-", "o"), "precision": ("#a8500f", "--", "s")}


def draw(grown: dict[str, list[list[Grown]]], png: Path) -> None:
    """Draw mean and least of the fleets' recall and precision over the nights."""
    import matplotlib as mpl

    mpl.use("Agg")
    import matplotlib.pyplot as plt

    figure, axes = plt.subplots(1, len(grown), figsize=(10.0, 4.2), sharey=True, layout="constrained")
    for axis, (name, fleets) in zip(axes, grown.items(), strict=True):
        for what, (colour, line, marker) in LINES.items():
            each = [[getattr(one.found, what) for one in fleet] for fleet in fleets]
            nights = [one.nights for one in fleets[0]]
            least, most = [min(same) for same in zip(*each, strict=True)], [max(s) for s in zip(*each, strict=True)]
            mean = [sum(same) / len(same) for same in zip(*each, strict=True)]
            axis.fill_between(nights, least, most, color=colour, alpha=0.18, linewidth=0)
            axis.plot(nights, mean, line, color=colour, marker=marker, markevery=3, markersize=4, label=what)
        axis.axhline(0.95, color="#555555", linewidth=0.8, linestyle=":")
        axis.text(40, 0.94, "bar 0.95", fontsize=8, color="#333333", va="top", ha="right")
        axis.set_title(TITLES[name], fontsize=10)
        axis.set_xlabel("nights learned")
        axis.set_xlim(0, N_NIGHTS + 1)
        axis.set_ylim(0.0, 1.04)
        axis.grid(alpha=0.25)
    axes[0].set_ylabel("share")
    axes[0].legend(loc="lower right", frameon=False)
    figure.suptitle(
        f"Planted changes found (recall) and proposals that are right (precision); made nights, {len(SEEDS)} fleets: "
        "mean, least and most",
        fontsize=10,
    )
    figure.savefig(png, dpi=110)


def main(folder: Path, png: Path | None) -> None:
    """Play, tell and draw."""
    folder.mkdir(parents=True, exist_ok=True)
    grown = {name: [growth(name, seed, folder, range(1, N_NIGHTS + 1)) for seed in SEEDS] for name in FLEETS}
    for name, fleets in grown.items():
        for seed, fleet in zip(SEEDS, fleets, strict=True):
            last = fleet[-1]
            print(
                f"{name} seed {seed}: precision {last.found.precision:.3f}, recall {last.found.recall:.3f}, off at "
                f"most {max(last.found.off_m, default=0.0):.1f} m, anchorages overlap "
                f"{[round(m, 2) for m in last.found.overlap]}, ways {last.ways}"
            )
            for words in last.found.wrong:
                print("   ", words)
    if png is not None:
        draw(grown, png)


if __name__ == "__main__":
    main(Path(sys.argv[1]), Path(sys.argv[2]) if len(sys.argv) > 2 else None)
