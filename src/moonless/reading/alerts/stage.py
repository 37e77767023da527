"""Alerts, the last stage of a turn: what holds and may be worth saying, and of it what is said now."""

from __future__ import annotations

from moonless.boat.types import Boat
from moonless.reading.alerts import candidates
from moonless.reading.alerts.schedule import Candidate, Schedule
from moonless.reading.collision.stage import Risks
from moonless.reading.identify.stage import Identified
from moonless.reading.registration.stage import Placed, Unplaced
from moonless.reading.types import Call
from moonless.reading.visibility.stage import View


class AlertStage:
    """Keeps what was said, and when."""

    def __init__(self, boat: Boat) -> None:
        self._boat = boat
        self._schedule = Schedule()
        self._was_over_speed = False

    def begin_again(self) -> None:
        """Forget what was learnt of this run; what was said lately stays said."""
        self._was_over_speed = False

    def acknowledge(self, key: str) -> None:
        """Say no more of what bears this key until it becomes more urgent."""
        self._schedule.acknowledge(key)

    def choose(self, placed: Placed, identified: Identified, view: View, risks: Risks) -> tuple[Call, ...]:
        """Return what is said of a turn, most urgent first."""
        situation, own, agreement = placed.situation, placed.own, placed.agreement
        wheel = candidates.Wheel(own, self._boat)
        found = candidates.of_faults(situation.faults, placed.carried is not None)
        found += candidates.of_no_video(situation.targets_only)
        if placed.carried is not None:
            found += candidates.of_carried(placed.carried)
        found += candidates.of_passings(wheel, risks.passings, risks.encounters)
        found += candidates.of_missing(wheel, identified.missing)
        over, self._was_over_speed = candidates.of_speed(own, risks.speed, self._was_over_speed)
        found += over
        found += candidates.of_agreement(agreement, self._boat)
        found += candidates.of_performance(identified.performance)
        found += candidates.of_opening(wheel, view.opening, risks.stopping_m)
        if own.ahead_rad is not None:
            found += candidates.of_dangers(wheel, risks.dangers, own.ahead_rad, situation.tide_m)
        found += candidates.of_sounder(risks.sounder)
        return self._schedule.choose(situation.time_ns, found)

    def choose_withdrawn(self, unplaced: Unplaced) -> tuple[Call, ...]:
        """Return what is said of a turn whose picture or position is withdrawn."""
        found: list[Candidate] = candidates.of_faults(unplaced.situation.faults)
        if unplaced.carried is not None:
            found += candidates.of_carried(unplaced.carried)
        return self._schedule.choose(unplaced.situation.time_ns, found)
