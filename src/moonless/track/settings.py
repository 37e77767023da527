"""What the tracker takes as given: how exact the pose is, how vessels move, how plots come and go.

Figures are physical and set once for all waters; where no source is named they are common practice or follow from
the experiment named.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True, slots=True)
class PoseErrors:
    """Errors that all plots of a turn share.  They do not average away, so no filter may believe they do.

    The correlation time says how fast such an error wanders: a gyro's calibration never, a fluxgate's or a
    satellite receiver's in minutes.
    """

    heading_sigma_rad: float = math.radians(1.0)  # of the heading, slowly wandering
    heading_correlation_s: float = 600.0
    heading_jitter_rad: float = math.radians(0.15)  # new each plot
    position_sigma_m: float = 4.0  # of the own position, each axis, slowly wandering
    position_correlation_s: float = 600.0
    antenna_height_m: float = 0.0  # above the water; turns slant range into ground range


@dataclass(frozen=True, slots=True)
class MotionModels:
    """Four ways to move, mixed by evidence.

    still     made fast, at anchor, a mark: a slow random walk for swinging and for the eye of the echo wandering
    straight  a vessel on her course: almost no acceleration
    steered   a small boat steered by hand in a sea: course and speed wander
    turning   helm over or throttle moved: coordinated turn of unknown rate, and strong acceleration
    """

    still_walk: float = 0.02  # m^2/s, position
    straight_q: float = 1.0e-5  # m^2/s^3, white acceleration
    steered_q: float = 0.015
    turning_q: float = 0.15
    turning_rate_q: float = 4.0e-4  # rad^2/s^3, turn rate
    turn_rate_sigma: float = 0.07  # rad/s, when a turn begins: 4 degrees a second
    speed_sigma: float = 0.5  # m/s, each axis, a turn after something still began to move: nothing starts at speed
    # Mean stay in each, seconds: how long a thing lies, holds her course, is steered, turns.
    stay_s: tuple[float, float, float, float] = (1800.0, 400.0, 120.0, 20.0)
    # Where each goes when it leaves (rows sum to one, zero on the diagonal).
    leaves_to: tuple[tuple[float, float, float, float], ...] = (
        (0.0, 0.0, 0.5, 0.5),
        (0.02, 0.0, 0.48, 0.5),
        (0.05, 0.6, 0.0, 0.35),
        (0.05, 0.45, 0.5, 0.0),
    )
    # At birth, before anything is known of how it moves.
    at_birth: tuple[float, float, float, float] = (0.4, 0.4, 0.15, 0.05)
    # Range from which few of those that are steered by hand are seen at all: a vessel of 10 m without a reflector is
    # first seen at 3.4 NM (IMO MSC.192(79) table 2, X band).
    small_seen_m: float = 6300.0
    # A hypothesis with a smaller share than this is dropped when the models are mixed, not averaged in:
    # averaging a wide one in at one per cent would spoil the narrow one (design/track_mixing.py).
    mixing_floor: float = 0.04
    # Nor does a model with a smaller share than this move what is told; the spread about it still holds it.
    told_floor: float = 0.2

    def transition(self, dt: float) -> NDArray[np.float64]:
        """Return the (4, 4) probabilities of going from row to column within ``dt`` seconds."""
        out = np.zeros((4, 4))
        for i, stay in enumerate(self.stay_s):
            leave = 1.0 - math.exp(-max(dt, 0.0) / stay)
            out[i] = leave * np.asarray(self.leaves_to[i])
            out[i, i] = 1.0 - leave
        return out


@dataclass(frozen=True, slots=True)
class TrackerSettings:
    """How plots become tracks."""

    models: MotionModels = MotionModels()
    max_speed_sigma: float = 6.0  # m/s, each axis, of a thing seen once: 95 % below 28 kn
    birth_per_m2: float = 2.0e-7  # undetected targets that appear, per square metre and turn
    clutter_per_m2: float = 2.0e-6  # false plots, per square metre and turn, before the place itself has taught better
    clean_per_m2: float = 1.0e-6  # below this a place counts as clean water
    clutter_reach_m: float = 130.0  # over which the false-plot density is learnt
    clutter_reach_of_range: float = 0.15  # or this share of the range, whichever is more
    clutter_memory_turns: float = 20.0
    # A false plot weaker than a plot by more than this says nothing against it: 5.6 dB is how far one slowly fading
    # echo scatters (power exponential, elementary).
    clutter_fading_db: float = 6.0
    gate: float = 9.21  # squared Mahalanobis distance; chi-square 2 dof: 99 %
    # Within twice the gate's reach about a sure track that has just missed its plot nothing begins: the eye of a long
    # hull leaps.  For these turns only, since one that goes about is begun anew there.
    strayed_gates: float = 4.0
    strayed_turns: int = 1
    p_detect: float = 0.8  # before a track has shown its own
    p_detect_weight: float = 6.0  # turns' worth of that general figure behind each track's own record
    p_detect_memory: float = 12.0  # turns
    # Least that is believed of a track that could be seen: IMO MSC.192(79) 5.25.4.3 asks that a target seen on
    # 5 of 10 turns be kept.
    p_detect_least: float = 0.5
    p_detect_most: float = 0.85  # fades come in bursts, as aspect and waves change slowly
    life_s: float = 900.0  # mean time a thing stays in radar view
    glint_sigma_m: float = 1.5  # wander of the echo's eye on a small hull, each axis
    recovery_m: float = 20.0  # beyond its own pulse, over which a receiver recovers; common practice, no source
    confirm_at: float = 0.99
    confirm_hits: int = 3
    # Wave crests, wakes and weed come back for a few turns too, but not turn after turn.  A track is confirmed when its
    # hits and misses speak for a steady source against a flickering one; more is asked where clutter is dense.
    steady_p_detect: float = 0.85
    flicker_p_detect: float = 0.4
    confirm_log_odds: float = 2.2  # in clean water: three hits running
    lasting_log_odds: float = 4.0  # a source this steady, and seen so often, need not fit its prediction as well
    lasting_hits: int = 14
    # What is seen on every other turn never looks steady.  Clutter comes back still more seldom; so a second test,
    # which takes longer, asks for five hits at the least and a motion that the still or the straight model explains.
    patient_p_detect: float = 0.6
    seldom_p_detect: float = 0.15
    patient_log_odds: float = 4.0
    patient_per_clutter: float = 1.5
    patient_hits: int = 5
    patient_calm: float = 0.5  # least share of the still and straight models
    most_patience: float = 12.0
    confirm_fit: float = 0.7  # least log odds that its plots are one thing's; more where clutter is dense
    fit_per_clutter: float = 2.0
    confirm_per_clutter: float = 0.1  # more for each factor e of clutter above `clean_per_m2`
    most_log_odds: float = 6.0
    surest: float = 0.999  # existence is never surer than this, so that a thing that ends is let go in good time
    drop_tentative_at: float = 0.03
    drop_confirmed_at: float = 0.05
    tentative_waits: int = 8  # turns without a plot, after which a tentative track is forgotten where room runs short
    noise_memory_plots: float = 60.0  # over which the plots' real scatter is learnt
    noise_prior_plots: float = 10.0  # plots' worth of trust in what was promised
    noise_sure_at: float = 0.9  # existence from which a track not confirmed yet teaches too
    noise_after_hits: int = 4
    # On the variance.  A promise may be four times too good (another set, hulls near, a wide saturated echo).  It is
    # never taken for too bad: the plots of one thing err together from turn to turn and so look better than they are,
    # and a filter that believes them follows those errors (sea-state-4: velocity rms 0.34 m/s with 0.25, 0.07 with 1).
    noise_scale_least: float = 1.0
    noise_scale_most: float = 16.0
    unresolved_most: float = 0.9  # that two echoes in one spot give one plot
    shadowed: float = 0.7  # that a hull hides what is close behind her; waves pass round small ones
    free_least: float = 0.3  # that a thing is seen whatever seems to be in its way, when a plot lies where it should be
    hides_after_misses: int = 1  # turns without a plot, up to which a track may stand in another's way
    coast_after: int = 2  # turns without a plot before a track is called coasting
    # A still thing without a plot this turn is held while its record is worth four hits: what was steady is held
    # through a fade of two turns, what only flickers is not.  What moves is held while it is likelier there than not.
    hold_log_odds: float = 3.0
    max_tracks: int = 1000
    # Where more plots a square metre than this lie in one turn, tracks may have this share of `max_tracks`.
    dense_per_m2: float = 1.0e-4
    dense_share: float = 0.5
    full_from: float = 0.9  # share of `max_tracks` from which room runs short
