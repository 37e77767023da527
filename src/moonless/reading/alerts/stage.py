"""Alerts, the last stage of a turn: what holds and may be worth saying, and of it what is said now."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

from moonless.boat.types import Boat
from moonless.reading.alerts import candidates, doubts
from moonless.reading.alerts.orders import instruction_of
from moonless.reading.alerts.schedule import Candidate, Schedule
from moonless.reading.alerts.standing import STANDS_S
from moonless.reading.alerts.states import AlertStates
from moonless.reading.collision.stage import Risks
from moonless.reading.identify.stage import Identified
from moonless.reading.registration.stage import Placed, Unplaced
from moonless.reading.situation import Situation
from moonless.reading.types import Alert, Call, Instruction
from moonless.reading.visibility.stage import View
from moonless.reading.words import time_words
from moonless.units import NS_PER_S


@dataclass(frozen=True, slots=True)
class TurnAlerts:
    """What a turn has to say."""

    calls: tuple[Call, ...]  # to be spoken now
    instruction: Instruction | None  # that stands
    alerts: tuple[Alert, ...]  # what was called, and how it stands


class AlertStage:
    """Keeps what was said, and when."""

    def __init__(self, boat: Boat) -> None:
        self._boat = boat
        self._schedule = Schedule()
        self._states = AlertStates()
        self._looked_for: Call | None = None  # hidden water that was called to be looked at, and when
        self._looked_ns = 0
        self._answered: dict[str, int] = {}

    def begin_again(self) -> None:
        """Begin another run; what was said lately stays said."""

    def acknowledge(self, key: str) -> None:
        """Say no more of what bears this key until it becomes more urgent."""
        self._schedule.acknowledge(key)
        self._states.acknowledge(key)

    def answered_before(self, urgencies: Mapping[str, int]) -> None:
        """Take what bears these keys, and is no more urgent, as answered, now or when it is first called: a watch
        before this one was told so."""
        for key, urgency in urgencies.items():
            stands = self._states.urgency_of(key)
            if stands is None:
                self._answered[key] = urgency
            elif stands <= urgency:
                self.acknowledge(key)

    def choose(self, placed: Placed, identified: Identified, view: View, risks: Risks) -> TurnAlerts:
        """Return what is said of a turn, most urgent first, and the one order that stands."""
        situation, own, agreement = placed.situation, placed.own, placed.agreement
        wheel = candidates.Wheel(own, self._boat)
        found = doubts.of_faults(situation.faults, placed.carried is not None, situation.range_factor)
        found += doubts.of_no_video(situation.targets_only)
        if placed.carried is not None:
            found += doubts.of_carried(placed.carried)
        found += candidates.of_threats(wheel, risks)
        found += candidates.of_marks(wheel, risks.passings)
        found += candidates.of_missing(wheel, identified.missing)
        found += doubts.of_agreement(agreement, self._boat)
        found += doubts.of_performance(identified.performance)
        opening = candidates.of_opening(wheel, view.opening, risks.stopping_m)
        found += opening
        if own.ahead_rad is not None:
            found += candidates.of_dangers(wheel, risks, situation.tide_m)
        found += doubts.of_sounder(risks.sounder)
        calls, alerts = self._say(situation.time_ns, found)
        looks = self._looks(situation.time_ns, calls, {one.key for one in opening})
        return TurnAlerts(calls, _instruction(wheel, view, risks, situation, looks=looks), alerts)

    def _looks(self, time_ns: int, calls: Sequence[Call], opening: Collection[str]) -> bool:
        """Return whether to look where hidden water opens: while its call stands, and not as long as there is any."""
        called = next((one for one in calls if one.kind == "opening"), None)
        if called is not None:
            self._looked_for, self._looked_ns = called, time_ns
        one = self._looked_for
        stands = one is not None and 0 <= time_ns - self._looked_ns <= STANDS_S[one.urgency] * NS_PER_S
        return stands and one is not None and one.key in opening

    def choose_withdrawn(self, unplaced: Unplaced) -> TurnAlerts:
        """Return what is said of a turn whose picture or position is withdrawn."""
        found: list[Candidate] = doubts.of_faults(
            unplaced.situation.faults, range_factor=unplaced.situation.range_factor
        )
        if unplaced.carried is not None:
            found += doubts.of_carried(unplaced.carried)
        calls, alerts = self._say(unplaced.situation.time_ns, found)
        worst = max(found, key=lambda one: one.urgency, default=None)
        if worst is None or worst.urgency < 3:
            return TurnAlerts(calls, None, alerts)
        return TurnAlerts(calls, Instruction("look", None, None, "LOOK all round", worst.say), alerts)

    def _say(self, time_ns: int, found: Sequence[Candidate]) -> tuple[tuple[Call, ...], tuple[Alert, ...]]:
        """Return what of it is said now, and how all that was called stands."""
        calls = self._schedule.choose(time_ns, found)
        alerts = self._states.step(time_ns, calls, {one.key for one in found})
        before = [call.key for call in calls if call.urgency <= self._answered.pop(call.key, 0)]
        if not before:
            return calls, alerts
        for key in before:
            self.acknowledge(key)
        calls = tuple(call for call in calls if call.key not in before)
        return calls, self._states.step(time_ns, calls, {one.key for one in found})


def _instruction(
    wheel: candidates.Wheel, view: View, risks: Risks, situation: Situation, *, looks: bool
) -> Instruction | None:
    """Return the one order of a turn: what was decided, else to look where hidden water opens."""
    decision = risks.decision
    if decision is not None:
        who, nearest = candidates.about(wheel, risks, decision, situation.tide_m)
        is_taken, unit = situation.sight == "unsure", wheel.boat.skipper.distance_unit
        return instruction_of(decision, who, nearest, risks.speed.because, sight_is_taken=is_taken, unit=unit)
    if looks and view.opening is not None:
        one = view.opening
        where = wheel.short(one.bearing_then_rad, one.distance_then_m)
        side = where.split(",")[0]
        because = f"Hidden water opens in {time_words(one.in_s)}, {where}: a boat may come out of it."
        return Instruction("look", None, None, f"LOOK {side}", because)
    return None
