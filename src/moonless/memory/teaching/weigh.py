"""How much each run counts: older ones less, and what was counted already not at all.

Weights are whole numbers, so that sums of them are the same in any order.
"""

from __future__ import annotations

from collections.abc import Mapping

from scipy.special import betaincinv

from moonless.memory.summary import Run
from moonless.units import NS_PER_S

ONE = 1024
"""The weight of the newest run."""

# A mooring laid or a stake driven is seldom moved within a season, often within some years.  Own choice, no source.
HALF_LIFE_S = 365.0 * 86_400.0
# A share is told with the figure that it is not under, nine times in ten.
UNSURE = 0.1


def weights(runs: Mapping[str, Run], half_life_s: float = HALF_LIFE_S) -> tuple[dict[str, int], dict[str, str]]:
    """Return the weight of each run that counts, and of each that does not the reason.

    A run counts half as much for each half-life that it is older than the newest.  Of two recordings of one boat that
    cover the same time (one cut out of the other, say) the longer counts: it is one night, not two.
    """
    left_out: dict[str, str] = {}
    newest_ns = max((run.ends_ns for run in runs.values()), default=0)
    counted: dict[str, list[Run]] = {}
    for run in sorted(runs.values(), key=lambda r: (-r.turns, r.number)):
        same = next(
            (o for o in counted.get(run.boat, []) if min(o.ends_ns, run.ends_ns) > max(o.begins_ns, run.begins_ns)),
            None,
        )
        if same is not None:
            left_out[run.number] = (
                f"{run.source} covers the same time of the same boat as {same.source}; "
                f"if it was another boat, learn it anew with --boat-name"
            )
        else:
            counted.setdefault(run.boat, []).append(run)
    out = {}
    for run in (one for same_boat in counted.values() for one in same_boat):
        age_s = (newest_ns - run.ends_ns) / NS_PER_S
        weight = round(ONE * 0.5 ** (age_s / half_life_s))
        if weight == 0:
            left_out[run.number] = f"{run.source} is too old to say anything about now"
        else:
            out[run.number] = weight
    return out, left_out


def share_low(yes: int, all_: int) -> tuple[float, float]:
    """Return (mean, low figure) of a share, from weights that say yes and all weights.

    Beta posterior of a flat prior; the low figure is under the share nine times in ten.  Source: elementary.
    """
    a, b = 1.0 + yes / ONE, 1.0 + max(all_ - yes, 0) / ONE
    return a / (a + b), float(betaincinv(a, b, UNSURE))
