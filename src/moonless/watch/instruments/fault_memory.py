"""What was heard when, and faults that are told for a while after they were seen."""

from __future__ import annotations

from dataclasses import dataclass

from moonless.reading.line import FaultState, FaultWhat
from moonless.reading.types import Fault
from moonless.units import NS_PER_S

# A jump is told for so long after the last one; what came back steady is believed again.
HOLD_S = 5.0


@dataclass(slots=True)
class _Held:
    """A fault that is told until a time."""

    state: FaultState
    since_ns: int
    until_ns: int


class FaultMemory:
    """Shared by the watches of radar, position and heading; all times are Unix ns."""

    def __init__(self) -> None:
        self._began_ns: int | None = None
        self._heard: dict[FaultWhat, int] = {}
        self._held: dict[FaultWhat, _Held] = {}

    def begin(self, now_ns: int) -> None:
        """Say that the watch has begun; the first word of anything does as well."""
        if self._began_ns is None:
            self._began_ns = now_ns

    def begin_again(self, now_ns: int) -> None:
        """After a jump of the clock: nothing heard before it can be compared with what comes."""
        self._heard = dict.fromkeys(self._heard, now_ns)
        self._began_ns = now_ns
        self._held.clear()

    def heard(self, what: FaultWhat, now_ns: int) -> None:
        """Take note that a thing has spoken."""
        self.begin(now_ns)
        self._heard[what] = max(now_ns, self._heard.get(what, now_ns))

    def hold(self, what: FaultWhat, state: FaultState, now_ns: int, since_ns: int | None = None) -> None:
        """Tell a fault from now on for `HOLD_S`."""
        held = self._held.get(what)
        began_ns = now_ns if since_ns is None else since_ns
        since = held.since_ns if held is not None and held.state == state and now_ns <= held.until_ns else began_ns
        self._held[what] = _Held(state, since, now_ns + round(HOLD_S * NS_PER_S))

    def held(self, what: FaultWhat, now_ns: int) -> Fault | None:
        """Return the fault that is held, while it is."""
        held = self._held.get(what)
        if held is None:
            return None
        if now_ns > held.until_ns:
            del self._held[what]
            return None
        return Fault(what, held.state, held.since_ns)

    def silent(self, what: FaultWhat, now_ns: int, limit_s: float) -> Fault | None:
        """Return the fault of a thing not heard for longer than a limit; never heard counts from the beginning."""
        last = self._heard.get(what, self._began_ns)
        assert last is not None
        return Fault(what, "silent", last) if now_ns - last > limit_s * NS_PER_S else None

    def once_heard(self, what: FaultWhat, now_ns: int, limit_s: float) -> Fault | None:
        """Return the same for what is missed only once it has been heard."""
        return self.silent(what, now_ns, limit_s) if what in self._heard else None
