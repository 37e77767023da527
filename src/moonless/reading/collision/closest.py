"""Closest approach of every contact, while both hold course and speed."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from moonless.reading.contact import Contact, Passing
from moonless.reading.own import OwnPlane
from moonless.track.cpa import cpa, cpa_sigma

Floats = NDArray[np.float64]

# Own speed over ground is not exact: a tenth of a knot and a degree or two.  Common practice, no source.
OWN_SPEED_SIGMA = 0.1
# Slower than this a receiver leaves the course out: the boat is then taken as lying still, for what comes at her comes
# all the same.  Own figure.
HARDLY_MOVES = 0.5


def passings_of(own: OwnPlane, contacts: Sequence[Contact]) -> tuple[Passing, ...]:
    """Return each contact's closest approach, in their order.  ``own`` and the contacts are put right already."""
    if not contacts:
        return ()
    if own.sog is None or (own.cog_rad is None and own.sog > HARDLY_MOVES):
        return tuple(Passing(contact, None, None, None) for contact in contacts)
    relative = np.array([c.position_en for c in contacts]) - np.array([own.east_m, own.north_m])
    velocity = np.array([c.velocity_en for c in contacts]) - np.array(own.velocity)
    meet = cpa(relative, velocity)
    sigma = cpa_sigma(relative, velocity, relative_covariance(contacts)).distance_m
    return tuple(
        Passing(contact, float(meet.distance_m[i]), float(meet.time_s[i]), float(sigma[i]))
        for i, contact in enumerate(contacts)
    )


def relative_covariance(contacts: Sequence[Contact]) -> Floats:
    """Return (n, 4, 4) of place and motion relative to the boat."""
    out = np.array([c.covariance for c in contacts]).reshape(-1, 4, 4)
    out[:, 2, 2] += OWN_SPEED_SIGMA**2
    out[:, 3, 3] += OWN_SPEED_SIGMA**2
    return out
