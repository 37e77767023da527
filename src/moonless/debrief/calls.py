"""What was said on the run: each matter once, whether it was followed, and how much time it left."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from moonless.debrief.ledger import Ledger
from moonless.frames import wrap_180
from moonless.reading.line import CallLine, InstructionLine
from moonless.units import NS_PER_S
from moonless.watch.afterwards.told import AcknowledgedCall

# An order is followed if, so soon, the boat does as told to within so much.  Own figures: a voice of a few seconds, a
# helmsman and a turn.
FOLLOW_S, COURSE_DEG, SPEED_KN = 35.0, 12.0, 1.0
# One that was another after less than this could not be followed.
STOOD_S = 15.0
# Said with less than this to closest approach it was late: stopping alone takes a quarter of it.
LATE_S = 60.0
# From this urgency on a matter is told as one to know, and not in passing.
TOLD = 2
# An order to another course than this is another order.
SAME_ORDER_DEG, SAME_ORDER_KN, BREAK_S = 10.0, 1.0, 20.0


@dataclass(frozen=True, slots=True)
class CallTold:
    """One matter that was spoken of."""

    key: str
    kind: str
    urgency: int  # the highest it came to
    say: str  # as said at that urgency
    first_ns: int
    loudest_ns: int  # when it first came to that urgency
    last_ns: int
    times: int  # turns in which it was said
    left_s: float | None  # to closest approach when it was first said as one to know; None: no approach
    is_late: bool  # it came to be acted on, and was first said with too little time left
    answered_s: float | None  # from when it was first said until the skipper answered it; None: never, or not recorded


@dataclass(frozen=True, slots=True)
class OrderTold:
    """One order, from when it was given until it was another's turn."""

    do: str
    say: str
    because: str
    first_ns: int
    last_ns: int
    followed: bool | None  # None: cannot be told from the boat's motion


def calls(run: Ledger, answers: Sequence[AcknowledgedCall] = ()) -> tuple[CallTold, ...]:
    """Return every matter spoken of, in the order of first being said; ``answers``: those given at the helm."""
    soon = _tcpa(run)
    rows: dict[str, list[tuple[int, CallLine]]] = {}
    for row, line in enumerate(run.lines):
        for call in line["calls"] or ():
            rows.setdefault(call.get("key") or call["say"], []).append((row, call))
    out = []
    for key, said in rows.items():
        urgency = max(call["urgency"] for _, call in said)
        row, loudest = next((row, call) for row, call in said if call["urgency"] == urgency)
        # What was said in good time and grew urgent was not late; what was said in passing alone was not told.
        told_row, told = next((r, call) for r, call in said if call["urgency"] >= min(TOLD, urgency))
        left = soon.get((told_row, told.get("echo")))
        is_late = urgency >= 3 and left is not None and left < LATE_S
        first_ns, last_ns = int(run.time_ns[said[0][0]]), int(run.time_ns[said[-1][0]])
        out.append(
            CallTold(
                key, loudest["kind"], urgency, loudest["say"], first_ns, int(run.time_ns[row]), last_ns, len(said),
                None if left is None else round(left, 1), is_late, _answered_s(key, first_ns, answers),
            )
        )  # fmt: skip
    return tuple(sorted(out, key=lambda c: (c.first_ns, c.key)))


def _answered_s(key: str, first_ns: int, answers: Sequence[AcknowledgedCall]) -> float | None:
    """Return how soon a matter was first answered, seconds; an answer is received a moment after what it answers."""
    after = [one.time_ns - first_ns for one in answers if one.key == key]
    return round(max(min(after), 0) / NS_PER_S, 1) if after else None


def _tcpa(run: Ledger) -> dict[tuple[int, object], float]:
    return {
        (t.row, number): t.tcpa_s
        for number, told in run.vessels.items()
        for t in told
        if t.tcpa_s is not None and t.tcpa_s > 0.0
    }


def orders(run: Ledger) -> tuple[OrderTold, ...]:
    """Return the orders given, in order of time."""
    spans: list[tuple[InstructionLine, list[int]]] = []
    for row, line in enumerate(run.lines):
        order = line["instruction"]
        if order is None or order["do"] is None:
            continue
        if spans and _same(run, spans[-1][0], order, spans[-1][1], row):
            spans[-1][1].append(row)
        else:
            spans.append((order, [row]))
    return tuple(_order(run, first, span) for first, span in spans)


def _same(run: Ledger, one: InstructionLine, other: InstructionLine, span: list[int], row: int) -> bool:
    if one["do"] != other["do"] or (run.time_ns[row] - run.time_ns[span[-1]]) / NS_PER_S > BREAK_S:
        return False
    a, b = one["to_deg"], other["to_deg"]
    if (a is None) != (b is None) or (a is not None and b is not None and abs(wrap_180(a - b)) > SAME_ORDER_DEG):
        return False
    a, b = one["to_kn"], other["to_kn"]
    return (a is None) == (b is None) and (a is None or b is None or abs(a - b) <= SAME_ORDER_KN)


def _order(run: Ledger, first: InstructionLine, span: list[int]) -> OrderTold:
    return OrderTold(
        first["do"], first["say"], first["because"] or "", int(run.time_ns[span[0]]), int(run.time_ns[span[-1]]),
        _followed(run, span, first),
    )  # fmt: skip


def _followed(run: Ledger, span: list[int], order: InstructionLine) -> bool | None:
    followed = _done(run, span, order)
    stood_s = float(run.time_s[span[-1]] - run.time_s[span[0]])
    return None if followed is False and stood_s < STOOD_S else followed


def _done(run: Ledger, span: list[int], order: InstructionLine) -> bool | None:
    do, to_deg, to_kn = order["do"], order["to_deg"], order["to_kn"]
    until = run.time_s[span[0]] + FOLLOW_S
    rows = [k for k in range(span[0], len(run.time_ns)) if run.time_s[k] <= until]
    course = [float(run.cog_deg[k]) for k in rows if math.isfinite(run.cog_deg[k])]
    speed = [float(run.sog_kn[k]) for k in rows if math.isfinite(run.sog_kn[k])]
    if do == "look" or not speed:
        return None
    if do == "hold":
        held = [k for k in span if math.isfinite(run.cog_deg[k])]
        if not held:
            return None
        off = max(abs(wrap_180(float(run.cog_deg[k] - run.cog_deg[held[0]]))) for k in held)
        return (
            off <= COURSE_DEG and max(abs(float(run.sog_kn[k] - run.sog_kn[held[0]])) for k in held) <= 2.0 * SPEED_KN
        )
    if do == "turn":
        if not isinstance(to_deg, int | float) or not course:
            return None
        return any(abs(wrap_180(c - float(to_deg))) <= COURSE_DEG for c in course)
    wanted = 0.0 if do == "stop" else to_kn
    if not isinstance(wanted, int | float):
        return min(speed) <= 0.75 * speed[0]
    return min(speed) <= float(wanted) + SPEED_KN
