"""Echoes of the pulse before: a pulse interval farther off than they seem (see `identify.motion` for their way)."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from moonless.constants import SPEED_OF_LIGHT_MPS

Floats = NDArray[np.float64]

# How many still things heard one pulse late are to be expected per square metre, how much oftener where one is proven
# by the boat's own turn, and from which log odds on it is; own figures.
LATE_PER_M2, LATE_COMPANY, LATE_PROVEN = 1e-8, 20.0, 5.0
# What lies a pulse interval off hardly turns with the boat's way, whatever the interval: where it is not known the
# commonest of small sets serves, 2 000 a second, and the log odds count for so much less.  Common practice, no source.
USUAL_INTERVAL_S, UNKNOWN_INTERVAL = 5e-4, 1.0


def late_by(interval_s: float | None) -> tuple[float, float]:
    """Return (range that a pulse interval is worth, metres; what the log odds are less by); None: it is not known."""
    known = USUAL_INTERVAL_S if interval_s is None else interval_s
    return 0.5 * SPEED_OF_LIGHT_MPS * known, UNKNOWN_INTERVAL if interval_s is None else 0.0


def second_traces(late_log_odds: Floats | None, n: int) -> Floats:
    """Return (n,) per square metre, how many things heard one pulse late are to be expected that go as each does.

    ``late_log_odds`` (n,): of its way against a vessel's; None: there is no scan.
    """
    if late_log_odds is None:
        return np.zeros(n)
    proven = late_log_odds >= LATE_PROVEN
    company = np.where(np.count_nonzero(proven) - proven > 0, LATE_COMPANY, 1.0)
    return np.asarray(np.where(late_log_odds > 0.0, LATE_PER_M2 * company * np.exp(late_log_odds), 0.0))
