"""Whether radar and chart agree, and what takes out the difference: heading bias and position offset.

Rules of this file:
- The state is (heading bias in radians clockwise, offset east, offset north in metres): what was reported minus what
  makes radar and chart agree.  What stands at ``rel`` from the boat by the reported heading is charted at
  ``own - offset + turned back(rel)``.
- What is found is taken out of the reported pose before the plots are tracked (`moonless.track.correction`), and once
  found it goes on being taken out, with a growing sigma, while nothing fixes it any more; until the chart is seen not
  to agree with it.
- Each turn the shore edge is fitted to the edge the chart would give from there (point to line), and single echoes
  to the marks they lie nearest, together, with weights that let what does not fit fall out.
- Turns are not independent: the chart's errors stay.  The filter's sigma therefore never falls below a floor.
- A view that does not fix all three is not used to say anything.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from moonless.boat.types import Boat
from moonless.reading.own import OwnPlane
from moonless.reading.registration.bearing_bias import Bearing
from moonless.reading.registration.matching import START_HEADING_SIGMA, Expected, Matcher, turned_back
from moonless.reading.registration.observations import Sightings
from moonless.reading.situation import BearingByMotion
from moonless.track.correction import Correction
from moonless.units import NS_PER_S

Floats = NDArray[np.float64]

# How far off a position may be before this was first looked at, one sigma.  Larger than the boat file's figure, because
# being wrong is what is looked for.
START_POSITION_SIGMA_M = 25.0
# How the errors wander, per square root of a second.
HEADING_WALK = math.radians(0.02)
POSITION_WALK_M = 0.25
# What many turns cannot average away: the chart's own errors and the model of the shore.
HEADING_FLOOR = math.radians(0.08)
POSITION_FLOOR_M = 2.0
# Good enough to speak of.
SPEAK_HEADING_SIGMA = math.radians(0.6)
SPEAK_POSITION_SIGMA_M = 10.0  # of the worse axis
# So many turns in a row must fit badly before the registration is looked for anew.
JUMP_TURNS = 4
# Agreement is told over some turns, and lost or won back only past a margin: a shower or a fleet at anchor passes for
# shore for a turn or two.  Share of the past kept, the two limits, and the least to judge by.  Own figures.
AGREE_KEEP, AGREE_LOST, AGREE_WON, AGREE_LEAST = 0.85, 0.4, 0.55, 6.0
# For so many turns on end a fit must explain what is seen before it is believed; and when it has not for so many, it is
# given up: three quarters of a minute, longer than a shower or an anchorage passes for shore.  Own figures.
EXPLAINS_TURNS, GIVE_UP_TURNS = 3, 18
# The chart's word on the bearing is given up where own motion says another by so many sigmas and so much.  Own figures.
BELIED_SIGMAS, BELIED_RAD = 2.5, math.radians(0.3)
# How far off a wide search may leave it, and the share of shore that must then lie on the expected edge.
WIDE_POSITION_SIGMA_M, BEGIN_AT = 60.0, 0.6


@dataclass(frozen=True, slots=True, eq=False)
class Agreement:
    """The registration now."""

    state: Floats  # (3,) heading bias, east, north
    covariance: Floats  # (3, 3)
    is_known: bool  # the view, now or lately, fixed all three
    fits: float | None  # share of the sightings that the chart explains; None: too few to say
    n_used: int
    agrees: bool | None = None  # whether radar and chart agree, over the last turns; None: too little to say
    correction: Correction | None = None  # what is taken out of the reported pose; None: nothing was ever known
    bearing: Bearing | None = None  # while not all three are known: the bias of bearings alone, where that is

    @property
    def heading_bias(self) -> float:
        """Radians; what was reported minus what agrees."""
        return float(self.state[0])

    @property
    def heading_sigma(self) -> float:
        """Radians."""
        return math.sqrt(self.covariance[0, 0])

    @property
    def position_sigma_m(self) -> float:
        """Root mean square of both axes."""
        return math.sqrt((self.covariance[1, 1] + self.covariance[2, 2]) / 2.0)

    @property
    def worse_axis_m(self) -> float:
        """Sigma along the axis that is known worse."""
        return math.sqrt(float(np.linalg.eigvalsh(self.covariance[1:, 1:])[-1]))

    @property
    def taken_out(self) -> Floats:
        """(3,) what is taken out of the reported pose: nought until something was known."""
        if self.correction is not None:
            return self.correction.state
        return self.state if self.is_known else np.zeros(3)

    def is_belied_by(self, by_motion: BearingByMotion | None) -> bool:
        """Return whether the still world over the boat's own way shows another bearing bias than the chart does.

        A shore that is drawn bent, or marks taken for one another, can fix a bearing that is out by degrees, and be
        sure of it.
        """
        if by_motion is None or not self.is_known:
            return False
        sigma = math.hypot(self.heading_sigma, by_motion.sigma_rad)
        return abs(self.heading_bias - by_motion.bias_rad) > BELIED_SIGMAS * sigma + BELIED_RAD

    def put_right(self, own: OwnPlane) -> OwnPlane:
        """Return the boat as it must be for radar and chart to agree; as reported while that was never known."""
        bias, east, north = (float(v) for v in self.taken_out)
        heading = None if own.heading_rad is None else (own.heading_rad - bias) % math.tau
        return replace(own, east_m=own.east_m - east, north_m=own.north_m - north, heading_rad=heading)

    def place(self, rel: Floats, own_en: Floats) -> Floats:
        """Return where what was seen at ``rel`` (n, 2), by reported heading, lies; ``own_en`` (n, 2): as reported."""
        bias, offset = float(self.taken_out[0]), self.taken_out[1:]
        return np.asarray(own_en - offset + turned_back(rel, bias))


class Registrar:
    """Keeps the registration through time."""

    def __init__(self, boat: Boat) -> None:
        self._boat = boat
        self._time_ns: int | None = None
        self._state = np.zeros(3)
        self._cov = self._start()
        self._known = False
        self._fits: float | None = None
        self._bad_turns = 0
        self._speak_sigma_m = SPEAK_POSITION_SIGMA_M
        self._agreeing = np.zeros(2)  # independent sightings that fit, and all of them, faded
        self._agrees: bool | None = None
        self._correction: Correction | None = None
        self._fresh = np.zeros(3)  # variance that has come since the last correction was given out
        self._was_known = False
        self._explained_turns = self._disagreed_turns = 0

    @staticmethod
    def _start() -> Floats:
        return np.diag([START_HEADING_SIGMA**2, START_POSITION_SIGMA_M**2, START_POSITION_SIGMA_M**2])

    @property
    def now(self) -> Agreement:
        """The registration as it stands, with no new evidence."""
        last = self._correction
        told = None if last is None else Correction.settled(last.state, last.covariance)
        return replace(self._told(0), correction=told)

    def _told(self, used: int) -> Agreement:
        at = self._state.copy(), self._cov.copy()
        return Agreement(*at, self._known, self._fits, used, self._agrees, self._correction)

    def start_from(self, agreement: Agreement, time_ns: int) -> None:
        """Go on from a registration that another has found; a poor one is taken with the start's sigma."""
        self._state, self._cov = agreement.state.copy(), agreement.covariance.copy()
        self._known, self._time_ns = agreement.is_known, time_ns
        held = agreement.correction
        if held is None and agreement.is_known:
            held = Correction.settled(self._state.copy(), self._cov.copy(), is_anew=True)
        self._correction, self._fresh, self._was_known = held, np.zeros(3), self._known

    def turned(self, by_rad: float) -> None:
        """Go on after the radar's picture has been turned clockwise by so much: the bias has grown by it."""
        self._state[0] += by_rad
        self._move_correction(np.array([by_rad, 0.0, 0.0]))

    def move_offset(self, offset_en: Floats) -> None:
        """Say that the reported position was moved, and its offset with it."""
        self._move_correction(np.array([0.0, *(offset_en - self._state[1:])]))
        self._state[1:] = offset_en

    def _move_correction(self, by: Floats) -> None:
        """What is reported has moved, not what is known of it: no evidence on what is left."""
        if self._correction is not None:
            self._correction = Correction.settled(self._correction.state + by, self._correction.covariance)

    def forget(self) -> None:
        """Begin again, as after a jump."""
        self._state, self._cov, self._known, self._fits = np.zeros(3), self._start(), False, None
        self._agreeing, self._agrees = np.zeros(2), None
        self._correction, self._fresh, self._was_known = None, np.zeros(3), False
        self._explained_turns = self._disagreed_turns = 0

    def coast(self, time_ns: int, position_walk_m: float) -> Agreement:
        """Let time go by with nothing seen."""
        self._predict(time_ns, position_walk_m)
        self._give_out(self._state.copy(), self._cov, self._cov, is_anew=False)
        return self._told(0)

    def update(
        self,
        time_ns: int,
        seen: Sightings,
        expected: Expected,
        position_walk_m: float | None = None,
        speak_sigma_m: float = SPEAK_POSITION_SIGMA_M,
    ) -> Agreement:
        """Take in one turn.

        ``position_walk_m``: how fast the offset may wander (dead reckoning), per root second.  ``speak_sigma_m``: up
        to which sigma of the worse axis the position is spoken of.
        """
        self._speak_sigma_m = speak_sigma_m
        self._predict(time_ns, POSITION_WALK_M if position_walk_m is None else position_walk_m)
        before, before_cov, is_anew = self._state.copy(), self._cov.copy(), False
        if seen.n < 3 or len(expected.edge) + len(expected.marks) < 2:
            self._fits = None
            self._settle()
            self._give_out(before, before_cov, before_cov, is_anew=False)
            return self._told(0)
        matcher = Matcher(seen, expected)
        start = self._state if self._known else matcher.search(self._state, relative_to_prior=False)
        state, cov, used = matcher.fit(start, self._state, self._cov)
        fits, judged = matcher.share_fitting(state)
        if self._known and judged >= 6 and fits < 0.5:
            self._bad_turns += 1
            if self._bad_turns >= JUMP_TURNS:
                # It may be a jump.  Look wide, and take what is found only if it fits plainly better.
                wide = matcher.search(np.zeros(3), relative_to_prior=False)
                anew = matcher.fit(wide, np.zeros(3), self._start())
                better, _ = matcher.share_fitting(anew[0])
                if better > max(0.5, 1.3 * fits):
                    (state, cov, used), fits, is_anew = anew, better, True
        else:
            self._bad_turns = 0
        self._fits = fits if judged >= 6 else None
        if used >= 3 and (self._fits is None or self._fits >= 0.4):
            self._state = state
            self._cov = cov
        found_cov = self._cov.copy()
        self._weigh_agreement(matcher.agreeing(self._state))
        self._settle()
        is_reported = position_walk_m is None
        least = GIVE_UP_TURNS if self._known else 1
        if is_reported and self._disagreed_turns >= least and self._correction is not None:
            # What was found explains nothing any more: it was wrong, or the chart is.  Better as reported; a place that
            # is carried on has nothing to go back to, and is lost by its age (`fix`).
            agreeing, agrees = self._agreeing, self._agrees
            self.forget()
            self._agreeing, self._agrees = agreeing, agrees
            return self._told(used)
        self._give_out(before, before_cov, found_cov, is_anew=is_anew)
        return self._told(used)

    def _give_out(self, before: Floats, before_cov: Floats, found_cov: Floats, *, is_anew: bool) -> None:
        """Put this turn's correction together: the state ``before`` the evidence, and what the evidence made of it."""
        last, fresh = self._correction, self._fresh
        self._fresh = np.diag(self._cov - found_cov).copy()  # what the floor has put back wanders in by the next turn
        if self._known:
            worth = np.linalg.inv(found_cov)
            moved = self._state - before
            self._correction = Correction(
                self._state.copy(), self._cov.copy(), fresh, moved, worth - np.linalg.inv(before_cov), worth @ moved,
                is_anew or last is None or not self._was_known,
            )  # fmt: skip
        elif last is not None:
            held = Correction.settled(last.state, last.covariance + np.diag(fresh))
            self._correction = replace(held, fresh=fresh)
        self._was_known = self._known

    def begin_from(self, time_ns: int, seen: Sightings, expected: Expected, guess: Floats) -> Agreement | None:
        """Begin at a state that a wide search has found, if the sightings fit closely there; None: they do not."""
        if seen.n < 3 or len(expected.edge) < 2:
            return None
        matcher = Matcher(seen, expected)
        wide = np.diag([START_HEADING_SIGMA**2, WIDE_POSITION_SIGMA_M**2, WIDE_POSITION_SIGMA_M**2])
        state, cov, used = matcher.fit(guess, guess, wide)
        fits, judged = matcher.share_fitting(state)
        if judged < 6 or fits < BEGIN_AT:
            return None
        self._state, self._cov, self._fits, self._time_ns = state, cov, fits, time_ns
        self._agreeing, self._agrees = np.zeros(2), None
        self._weigh_agreement(matcher.agreeing(state))
        self._settle()
        self._give_out(state, cov, cov, is_anew=True)
        return self._told(used) if self._known else None

    def _weigh_agreement(self, agreeing: Floats) -> None:
        """Take in one turn's sightings that fit, and all of them."""
        self._agreeing = AGREE_KEEP * self._agreeing + agreeing
        if self._agreeing[1] < AGREE_LEAST:
            return
        share = float(self._agreeing[0] / self._agreeing[1])
        if share < AGREE_LOST:
            self._agrees = False
        elif share >= AGREE_WON or self._agrees is None:
            self._agrees = True

    def _explains(self) -> bool:
        """Return whether the chart explains what is seen, or too little is seen to ask."""
        fits, judged = self._agreeing
        return bool(judged < AGREE_LEAST or fits >= AGREE_WON * judged)

    def _predict(self, time_ns: int, position_walk_m: float) -> None:
        if self._time_ns is not None:
            elapsed = max(0.0, (time_ns - self._time_ns) / NS_PER_S)
            walk = np.array([HEADING_WALK**2, position_walk_m**2, position_walk_m**2]) * elapsed
            self._cov = self._cov + np.diag(walk)
            self._fresh = self._fresh + walk
        self._time_ns = time_ns

    def _settle(self) -> None:
        floor = np.array([HEADING_FLOOR, POSITION_FLOOR_M, POSITION_FLOOR_M])
        short = np.maximum(0.0, floor**2 - np.diag(self._cov))
        self._cov = self._cov + np.diag(short)
        worse_axis = math.sqrt(float(np.linalg.eigvalsh(self._cov[1:, 1:])[-1]))
        heading_sigma = math.sqrt(self._cov[0, 0])
        is_sure = heading_sigma < SPEAK_HEADING_SIGMA and worse_axis < self._speak_sigma_m
        # A fit that pulls in some shore here and there is sure of itself too: it must have explained what is seen for
        # some turns before it is first believed.
        self._explained_turns = self._explained_turns + 1 if self._explains() else 0
        self._known = is_sure and (self._known or self._explained_turns >= EXPLAINS_TURNS)
        self._disagreed_turns = self._disagreed_turns + 1 if self._agrees is False else 0
