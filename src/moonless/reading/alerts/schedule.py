"""How often each thing is said, without nagging: the one place that decides it.

Rules of this file:
- A candidate has a key ("echo 17", "speed", "missing ..."), its identity from turn to turn; its words are of the turn.
- It is said when it is new and when its urgency rises; otherwise not again.  What must be acted on now (4) is said
  again while it lasts, for nobody has answered it.
- One new sentence in `BUDGET_S` seconds, but for what must be acted on now and for what cannot be believed.  Of those
  that wait the most urgent goes first, in the words of its turn, and what no longer holds is not said at all.
- What is worth knowing in passing (1) stands on the sheet and is not spoken of while anything else waits.
- Another order than the one spoken last is said, though nothing is new: a helmsman steers by what he heard.
- What goes away is forgotten after a while; one that flickers is not said twice.
- What the skipper has acknowledged is not said again until its urgency rises.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from moonless.reading.line import CallKind
from moonless.reading.types import Call
from moonless.units import NS_PER_S

FORGET_S = 60.0
# Own figure: about what a person at the wheel takes in beside steering.
BUDGET_S = 20.0
# What must be acted on now and is not answered is said again so often.
AGAIN_S = 24.0
ACT_NOW = 4
# Never silently stale: faults, and the position carried on without its receiver, wait for nothing.
AT_ONCE: frozenset[CallKind] = frozenset({"fault", "position"})


@dataclass(frozen=True, slots=True)
class Candidate:
    """Something that holds this turn and may be worth saying."""

    key: str
    kind: CallKind
    urgency: int
    say: str
    weight: float = 1.0
    echo: int | None = None
    order: str = ""  # the verb and side of the order that stands, where this is what it is about
    order_say: str = ""  # what is said instead where another order was heard last; "" as ever
    more: str = ""  # what is shown with it and not spoken


@dataclass(slots=True)
class _Known:
    urgency: int
    said_ns: int
    last_ns: int
    acknowledged: bool = False


class Schedule:
    """Chooses from the candidates of each turn what is said."""

    def __init__(self) -> None:
        self._known: dict[str, _Known] = {}
        self._spoke_ns: int | None = None
        self._order = ""  # the last one spoken, while it may still be steered by
        self._order_ns = 0

    def choose(self, time_ns: int, candidates: Sequence[Candidate]) -> tuple[Call, ...]:
        """Return the calls of this turn, most urgent first."""
        if any(known.last_ns > time_ns for known in self._known.values()):
            # Time went back: a recording was started again.
            self._known.clear()
            self._spoke_ns, self._order = None, ""
        if time_ns - self._order_ns > FORGET_S * NS_PER_S:
            self._order = ""
        wanted = [one for one in candidates if self._is_worth(one, time_ns)]
        # Of equals another order first: a helmsman steers by the one he heard.
        wanted.sort(key=lambda one: (-one.urgency, not self._is_other_order(one), -one.weight))
        free = self._spoke_ns is None or time_ns - self._spoke_ns >= BUDGET_S * NS_PER_S
        # What cannot be believed is said at once, whatever else is; of the rest one sentence a turn.
        at_once = [one for one in wanted if one.kind in AT_ONCE]
        rest = [one for one in wanted if one.kind not in AT_ONCE]
        said = at_once + (rest[:1] if rest and (free or rest[0].urgency >= ACT_NOW) else [])
        said.sort(key=lambda one: (-one.urgency, -one.weight))
        words = [one.order_say if one.order_say and self._is_other_order(one) else one.say for one in said]
        for one in candidates:
            known = self._known.get(one.key)
            if known is not None:
                known.last_ns = time_ns
        for one in said:
            before = self._known.get(one.key)
            acknowledged = before is not None and before.acknowledged and one.urgency <= before.urgency
            self._known[one.key] = _Known(one.urgency, time_ns, time_ns, acknowledged)
            self._spoke_ns = time_ns
            if one.order:
                self._order, self._order_ns = one.order, time_ns
        for key in [k for k, v in self._known.items() if (time_ns - v.last_ns) / NS_PER_S > FORGET_S]:
            del self._known[key]
        return tuple(
            Call(one.key, one.kind, one.urgency, say, one.echo, one.more) for one, say in zip(said, words, strict=True)
        )

    def acknowledge(self, key: str) -> None:
        """Say no more of what bears this key until it becomes more urgent."""
        if key in self._known:
            self._known[key].acknowledged = True

    def _is_other_order(self, one: Candidate) -> bool:
        return one.order not in ("", self._order) and self._order != ""

    def _is_worth(self, one: Candidate, time_ns: int) -> bool:
        known = self._known.get(one.key)
        if known is None or one.urgency > known.urgency:
            return True
        if self._is_other_order(one):
            return True
        since = (time_ns - known.said_ns) / NS_PER_S
        return one.urgency >= ACT_NOW and not known.acknowledged and since >= AGAIN_S
