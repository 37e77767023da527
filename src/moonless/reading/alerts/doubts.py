"""What cannot be believed, and may be worth saying: faults, radar and chart that do not agree, a radar that sees worse.

Short enough to be spoken (`moonless.reading.alerts.brief`); what follows from it stands in ``more`` and is shown.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from moonless.boat.types import Boat
from moonless.frames import wrap_360
from moonless.reading.alerts.schedule import Candidate
from moonless.reading.collision.charted_dangers import SounderCheck
from moonless.reading.registration.registrar import Agreement
from moonless.reading.registration.stage import CarriedPlace
from moonless.reading.types import Fault
from moonless.reading.visibility.seeing import RadarPerformance
from moonless.reading.words import place_words

BIAS_CALL_DEG = 1.5
OFFSET_CALL_M = 20.0
FALL_CALL_DB = 4.0

_FAULT_WORDS = {
    "radar": ("the radar picture", 4),
    "position": ("own position", 4),
    "heading": ("the heading", 4),
    "clock": ("the clock", 3),
    "chart": ("the chart", 3),
    "ais": ("AIS", 2),
    "depth": ("the sounder", 2),
}
_SOURCES = {"position": "the position", "heading": "the heading", "clock": "the date and time"}
_STATE_WORDS = {
    "silent": "is not coming",
    "frozen": "is frozen",
    "stale": "is old",
    "jumped": "has jumped",
    "damaged": "is damaged",
    "deaf": "shows no echo of anything, not even the sea",
    "late": "comes late: the computer cannot keep up",
}
_OWN_WORDS = {
    ("position", "damaged"): "drifts against all that stands still",
    ("heading", "damaged"): "goes neither with the course nor with what stands still",
}


def of_faults(faults: Sequence[Fault], position_held: bool = False, range_factor: float = 1.0) -> list[Candidate]:
    """Return a candidate for each fault.

    ``position_held``: radar and chart carry the position on.  ``range_factor``: by which the set's ranges were taken.
    """
    out = []
    for fault in faults:
        words, urgency = _FAULT_WORDS[fault.what]
        if fault.what == "radar" and fault.state == "disagrees":
            say = f"True ranges are {range_factor:g} times what the radar tells; put right here."
            more = "By own motion and the coast. They are not put right on the radar's own screen."
            out.append(Candidate(f"fault {fault.what} {fault.state}", "fault", 3, say, more=more))
            continue
        if fault.state == "disagrees":
            say = f"Two sources of {_SOURCES.get(fault.what, words)} do not agree."
            more = "The one followed may be the wrong one."
            out.append(Candidate(f"fault {fault.what} {fault.state}", "fault", min(urgency, 3), say, more=more))
            continue
        say = f"{words[0].upper()}{words[1:]} {_OWN_WORDS.get((fault.what, fault.state), _STATE_WORDS[fault.state])}."
        more = ""
        if fault.what == "position" and position_held:
            more = "Radar and chart carry it on."
        elif urgency == 4:
            more = "What rests on it is withdrawn."
        out.append(Candidate(f"fault {fault.what} {fault.state}", "fault", urgency, say, more=more))
    return out


def of_no_video(targets_only: bool) -> list[Candidate]:
    """Return a candidate where there is no radar video, only another radar's targets."""
    if not targets_only:
        return []
    more = "Only what another radar tracks is known. What it does not track is not seen."
    return [Candidate("no video", "fault", 3, "No radar video: only another radar's targets.", more=more)]


def of_agreement(agreement: Agreement, boat: Boat) -> list[Candidate]:
    """Return candidates of heading or position that had to be put right, and of radar and chart that do not agree."""
    out = []
    if agreement.agrees is False:
        out.append(
            Candidate(
                "disagrees",
                "disagreement",
                3,
                "Radar and chart do not agree. Do not trust the chart.",
                more=f"Position, heading or chart is wrong; {_likely(agreement, boat)}",
            )
        )
        return out
    if not agreement.is_known:
        return out
    bias = math.degrees(agreement.heading_bias)
    if abs(bias) > max(
        BIAS_CALL_DEG, 2.0 * math.degrees(boat.heading_sigma_rad), 3 * math.degrees(agreement.heading_sigma)
    ):
        way = "high" if bias > 0 else "low"
        say = f"The compass reads {abs(bias):.0f} degrees {way}; put right here."
        out.append(Candidate(f"bias {way}", "heading bias", 2, say, abs(bias), more="By radar and chart."))
    offset = math.hypot(agreement.state[1], agreement.state[2])
    if offset > max(OFFSET_CALL_M, 3.0 * boat.position_sigma_m, 3.0 * agreement.position_sigma_m):
        # The reported position is off in the sense of the state; the boat lies the other way.
        bearing = wrap_360(math.degrees(math.atan2(agreement.state[1], agreement.state[2])))
        say = f"The reported position is {offset:.0f} metres off; put right here."
        more = f"Off towards {bearing:03.0f}, by radar and chart."
        out.append(Candidate("offset", "position offset", 2, say, offset / OFFSET_CALL_M, more=more))
    return out


def _likely(agreement: Agreement, boat: Boat) -> str:
    heading = abs(agreement.heading_bias) / max(boat.heading_sigma_rad, 1e-3)
    position = float(np.hypot(agreement.state[1], agreement.state[2])) / max(boat.position_sigma_m, 1.0)
    if max(heading, position) < 3.0:
        return "the chart is the likeliest."
    return "the heading is the likeliest." if heading > position else "the position is the likeliest."


def of_carried(carried: CarriedPlace) -> list[Candidate]:
    """Return the candidate of a position carried on by radar and chart, or by reckoning alone."""
    own, sigma_m = carried.own, carried.sigma_m
    lat, lon = own.frame.to_geographic(own.east_m, own.north_m)
    within = f"within {max(10, round(2.0 * sigma_m, -1)):.0f} metres"
    if carried.is_fixed:
        say = f"No position received. By radar and chart, {within}."
    else:
        say = f"No position received. By heading and last speed alone, {within}."
    more = f"She is at {place_words(float(lat), float(lon))}."
    return [Candidate("fix", "position", 3, say, 1.0 + sigma_m / 20.0, more=more)]


def of_performance(performance: RadarPerformance) -> list[Candidate]:
    """Return a candidate when the radar sees worse than its figures say."""
    fall_db = performance.offset_db
    if not performance.is_shown or fall_db > -max(FALL_CALL_DB, 2.0 * performance.sigma_db):
        return []
    say = f"The radar sees {-fall_db:.0f} decibels worse than it should."
    more = "A wet or icy scanner, mistuning, or a rising sea. Small things show later."
    return [Candidate("performance", "radar performance", 2, say, -fall_db, more=more)]


def of_sounder(check: SounderCheck | None) -> list[Candidate]:
    """Return a candidate when sounder and chart cannot both be right."""
    if check is None or check.agrees:
        return []
    shoaler = check.sounded_m < check.expected_least_m
    limit = f"at least {check.expected_least_m:.1f}" if shoaler else f"at most {check.expected_most_m:.0f}"
    say = f"The sounder has {check.sounded_m:.1f} metres, chart and tide {limit}."
    return [Candidate("sounder", "sounder", 3 if shoaler else 2, say, more="Position or chart is wrong.")]
