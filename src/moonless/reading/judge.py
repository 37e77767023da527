"""The judge: one situation in, one reading out, through named stages.

    situation ─► registration   the boat and the chart around her, where radar and chart agree
              ─► identification what each echo is, which marks are missing, how the radar performs
              ─► visibility     what is hidden, how far is seen, what opens next
              ─► collision      what is met, what the chart has ahead, how fast, what would clear
              ─► alerts         what is worth saying, and when it is said
              ─► publish        the public reading

Each stage keeps its own state between turns and hands on one frozen value; a later stage reads what earlier ones have
made, never the other way.  Inside all is metres, m/s and radians in the plane of the tracks.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from moonless.boat.types import Boat
from moonless.chart.library import Chart
from moonless.chart.local_knowledge.knowledge import Knowledge
from moonless.reading.alerts.stage import AlertStage
from moonless.reading.collision.skipper_trial import try_manoeuvre
from moonless.reading.collision.stage import CollisionStage
from moonless.reading.identify.stage import IdentifyStage
from moonless.reading.publish.manoeuvres import trial_of
from moonless.reading.publish.reading import reading_of, reading_withdrawn
from moonless.reading.registration.stage import RegistrationStage, Unplaced
from moonless.reading.situation import Held, Situation
from moonless.reading.trial_types import Trial
from moonless.reading.types import Reading
from moonless.reading.visibility.detectable import InView
from moonless.reading.visibility.stage import VisibilityStage
from moonless.track.correction import Correction
from moonless.units import NS_PER_S

# After a silence this long, or when time goes back, what was remembered is not of this run.
BREAK_S = 120.0


@dataclass(frozen=True, slots=True, eq=False)
class BeforeTracking:
    """What the tracker is told before it takes in a turn's plots."""

    correction: Correction | None  # what is to be taken out of the reported pose; None: nothing is known
    in_view: InView  # where in the true frame a thing could be seen


class Judge:
    """Turns situations into readings, one each turn."""

    def __init__(self, boat: Boat, chart: Chart | None = None, knowledge: Knowledge | None = None) -> None:
        self._skipper = boat.skipper
        self._registration = RegistrationStage(boat, chart)
        self._identification = IdentifyStage(boat, knowledge)
        self._visibility = VisibilityStage(boat)
        self._collision = CollisionStage(boat, knowledge)
        self._alerts = AlertStage(boat)
        self._last_ns: int | None = None

    def read(self, situation: Situation) -> Reading:
        """Return what the skipper is told about this turn.  The tracks stand in the true frame (`before_tracking`)."""
        self._enter(situation.time_ns)
        placed = self._registration.put_in_place(situation)
        if isinstance(placed, Unplaced):
            self._visibility.withdraw()
            stopping_m = self._collision.withdraw(placed.own)
            return reading_withdrawn(placed, stopping_m, self._alerts.choose_withdrawn(placed))
        identified = self._identification.identify(placed)
        view = self._visibility.look(placed, identified.obstructions, identified.performance)
        risks = self._collision.weigh(placed, identified.contacts, view, identified.performance)
        said = self._alerts.choose(placed, identified, view, risks)
        return reading_of(placed, identified, view, risks, said, self._skipper.distance_unit)

    def before_tracking(self, situation: Situation) -> BeforeTracking | None:
        """Hold this turn's picture against the chart, before its plots are tracked; None: nothing can be placed.

        Give the same situation, with the tracks, to `read` after it.
        """
        self._enter(situation.time_ns)
        agreed = self._registration.agree(situation)
        if agreed is None or situation.scan is None or situation.picture is None:
            return None
        agreement, own = agreed
        plots, bias = situation.picture.plots, float(agreement.taken_out[0])
        in_view = self._visibility.in_view(situation.scan, plots, own, bias)
        return BeforeTracking(agreement.correction, in_view)

    def forget_view(self) -> None:
        """Say that the time line has moved: what was hidden before is no word on what comes."""
        self._visibility.withdraw()

    def hold_position(self, time_ns: int, heading_rad: float) -> Held | None:
        """Return the position as radar and chart carry it on, before a turn's echoes are placed; None: it cannot be.

        Ask it once a turn, while the receiver is silent, and give the answer back in `Situation` where it is good.
        """
        return self._registration.hold_position(time_ns, heading_rad)

    @property
    def range_factor(self) -> float | None:
        """By how much the scan's ranges are to be taken, where own motion and coast say so; None: as they are."""
        return self._registration.range_factor

    def begin_again(self) -> None:
        """Forget what was made of the turns so far; the chart stays laid out."""
        for stage in (self._registration, self._identification, self._visibility, self._collision, self._alerts):
            stage.begin_again()

    def turned(self, by_rad: float) -> None:
        """Say that the radar's picture has been turned clockwise against the bow: what was found turns with it."""
        self._registration.turned(by_rad)

    def acknowledge(self, key: str) -> None:
        """Say no more of what a call with this key told until it becomes more urgent."""
        self._alerts.acknowledge(key)

    def answered_before(self, urgencies: Mapping[str, int]) -> None:
        """Say that the skipper has answered what bears these keys, at these urgencies, to a watch before this one."""
        self._alerts.answered_before(urgencies)

    def try_manoeuvre(self, course_rad: float | None, speed: float | None, delay_s: float = 0.0) -> Trial | str:
        """Return what a course (true, over ground) or speed would bring, against the last turn; None: as now.

        A sentence where none can be tried.  May be called from any thread: a turn, once read, is not changed.
        """
        turn = self._collision.last_turn
        if turn is None:
            return "No trial: own position, course or speed is not known."
        trial = try_manoeuvre(turn, course_rad, speed, delay_s)
        return "No trial: own course or speed is not known." if trial is None else trial_of(trial, self._skipper)

    @property
    def laid_out(self) -> int:
        """Stretches of chart laid out so far."""
        return self._registration.laid_out

    def _enter(self, time_ns: int) -> None:
        """Begin a turn; after a long silence, or when time goes back, every stage begins again."""
        if self._last_ns is not None and not 0 <= time_ns - self._last_ns <= BREAK_S * NS_PER_S:
            self.begin_again()
        self._last_ns = time_ns
