"""What registration knows of the reported pose, taken out of the plots before they are tracked.

Rules of this file:
- The true frame is that of AIS, chart and tracks.  A plot is brought to it: reported heading and place less ``state``.
- What is left of the errors is what each track carries as its three shared states (`measure`): so they have mean nought
  and the correction's own covariance, but for what a track itself has learnt of them, by AIS or by passing a thing.
- A turn's evidence on the correction is evidence on those states.  Each track takes it in as a Kalman filter would that
  held the track and the pose together: what hangs on the old estimate goes along with the new one, by just as much as
  it hung on it, in place and in speed; what does not (a place by AIS) stays.  So a still thing stays still while the
  estimate moves, and where the bias truly wanders nothing is dragged about.

    track:  z = x + J d + noise        registration:  d told by ``information`` and ``pull``
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from moonless.track.track_store import TrackStore

Floats = NDArray[np.float64]

SHARED = slice(5, 8)


@dataclass(frozen=True, slots=True, eq=False)
class Correction:
    """Heading (radians, clockwise) and position (metres east, north): reported minus true, and how it was come by."""

    state: Floats  # (3,)
    covariance: Floats  # (3, 3)
    fresh: Floats  # (3,) variance that has come since the last turn, before this turn's evidence
    moved: Floats  # (3,) what this turn's evidence changed of the state
    information: Floats  # (3, 3) L, what this turn's evidence is worth: the inverse covariances' difference
    pull: Floats  # (3,) L y, where it drew the state to, counted from where the state stood
    is_anew: bool  # found afresh, not grown out of the last turn's: nothing that was thought before holds of it

    @classmethod
    def settled(cls, state: Floats, covariance: Floats, *, is_anew: bool = False) -> Correction:
        """Return one that stands, with no new evidence."""
        return cls(state, covariance, np.zeros(3), np.zeros(3), np.zeros((3, 3)), np.zeros(3), is_anew)


def take_in(store: TrackStore, correction: Correction) -> None:
    """Bring all tracks over to a turn's correction, grown out of the last one; in place.

    With prior d ~ N(m, D), cross covariance C with the state, and evidence (L, L y) in information form:
    x + C (1 + L D)^-1 (L y - L m),  P - C (1 + L D)^-1 L C'.  Elementary.
    """
    if len(store) == 0 or not np.any(correction.information):
        return
    worth = correction.information
    mean, spread, cross = store.x[:, :, SHARED], store.p[:, :, SHARED, SHARED], store.p[:, :, :, SHARED]
    inner = np.linalg.inv(np.eye(3) + worth @ spread)
    gain = cross @ inner
    store.x = store.x + np.einsum("nmij,nmj->nmi", gain, correction.pull - mean @ worth.T)
    new = store.p - gain @ worth @ np.swapaxes(cross, 2, 3)
    store.p = 0.5 * (new + np.swapaxes(new, 2, 3))
    store.x[:, :, SHARED] -= correction.moved


def replace_by(store: TrackStore, before: Floats, correction: Correction, shared: Floats, own_en: Floats) -> None:
    """Bring all tracks over to a correction found afresh, from one ``before`` (3,); in place.  ``own_en``: put right.

    What each track thought of the shared errors is dropped for what is known now (``shared``, (3, 3) covariance); what
    it thought of itself given them is kept: the regression of its state on them, B = C D^-1, goes along.
    """
    if len(store) == 0:
        return
    step = correction.state - before
    mean, spread, cross = store.x[:, :, SHARED], store.p[:, :, SHARED, SHARED], store.p[:, :, :, SHARED]
    slope = np.swapaxes(np.linalg.solve(spread, np.swapaxes(cross, 2, 3)), 2, 3)
    x = store.x + np.einsum("nmij,nmj->nmi", slope, step - mean)
    p = store.p + slope @ (shared - spread) @ np.swapaxes(slope, 2, 3)
    x[:, :, SHARED] = 0.0
    # A place that is turned about the boat keeps its distance; a straight step sideways by the angle would lengthen it,
    # by 10 m of 2.8 km at 5 degrees, which is past the gate.
    turned = np.hypot(1.0, step[0] - mean[:, :, 0])
    x[:, :, :2] = own_en + (x[:, :, :2] - own_en) / turned[:, :, None]
    store.x, store.p = x, 0.5 * (p + np.swapaxes(p, 2, 3))
