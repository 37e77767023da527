"""Spokes lost between two that came: what both neighbours show, within half a beam, is there between them too.

An echo is a beam wide, and a beam is several spokes; one lost spoke would cut a ship in two, and another one another
turn, so that her pieces go about.  What only one neighbour shows stays out, and a longer gap stays unknown.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from moonless.constants import TAU
from moonless.scan.types import Scan

# So much of a beam at the most is bridged, and where a beam is fewer spokes than this, none: own figures.
MOST_BEAMS, LEAST_SPOKES = 0.5, 2.0


def bridged(scan: Scan) -> tuple[Scan, int]:
    """Return the scan with short gaps filled by the lesser of both neighbours, and how many spokes were filled."""
    beam_spokes = scan.errors.beam_rad / TAU * scan.n_spoke
    came = np.flatnonzero(scan.is_received)
    if scan.is_whole or came.size < 2 or beam_spokes < LEAST_SPOKES:
        return scan, 0
    after = np.roll(came, -1)
    gap = np.mod(after - came, scan.n_spoke) - 1
    short = (gap > 0) & (gap <= max(1, int(MOST_BEAMS * beam_spokes)))
    if not short.any():
        return scan, 0
    gap, before, after = gap[short], np.repeat(came[short], gap[short]), np.repeat(after[short], gap[short])
    # 1, 2 ... of each gap.
    nth = np.arange(gap.sum()) - np.repeat(np.cumsum(gap) - gap, gap) + 1
    row = np.mod(before + nth, scan.n_spoke)
    echo, received, covered = scan.echo.copy(), scan.is_received.copy(), scan.covered
    echo[row] = np.minimum(scan.echo[before], scan.echo[after])
    received[row] = True
    if covered is not None:
        covered = covered.copy()
        covered[row] = covered[before] | covered[after]
    return replace(scan, echo=echo, is_received=received, covered=covered), int(row.size)
