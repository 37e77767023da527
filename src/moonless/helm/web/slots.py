"""What waits for one client: the newest of what is whole, a bounded queue of what is not."""

from __future__ import annotations

from collections import deque
from typing import Generic, TypeVar

from moonless.helm.bodies.routes import ReplyBody
from moonless.helm.bodies.setup import HeardBody
from moonless.helm.bodies.sheet import (
    AffairsBody,
    AnswerBody,
    CallBody,
    ChartPlaceBody,
    HelloBody,
    Nothing,
    ReadingBody,
    TrialBody,
)
from moonless.helm.web.protocol import FanFrame, PoseFrame

T = TypeVar("T")


class LatestSlot(Generic[T]):
    """Holds the newest picture for one client; a slow client skips, never lags.

    Pictures are whole, so dropping a stale one loses nothing.  Calls are not whole and must not travel this way:
    they have their own bounded queue.
    """

    def __init__(self) -> None:
        self._item: T | None = None
        self.skipped = 0

    def put(self, item: T) -> None:
        """Replace whatever the client has not yet taken.  Never blocks."""
        self.skipped += self._item is not None
        self._item = item

    def take(self) -> T | None:
        """Return what is there, once; None when nothing newer came."""
        item, self._item = self._item, None
        return item

    @property
    def is_full(self) -> bool:
        """True when something waits."""
        return self._item is not None


class CallQueue:
    """Calls waiting for one client, most urgent first, oldest first within an urgency.

    When it overflows the least urgent, oldest call goes: it was the one least worth saying late.
    """

    def __init__(self, limit: int = 32) -> None:
        self._limit = limit
        self._waiting: deque[CallBody] = deque()
        self.dropped = 0

    def put(self, call: CallBody) -> None:
        """Add one call.  Never blocks, never grows past the limit."""
        self._waiting.append(call)
        if len(self._waiting) > self._limit:
            least = min(range(len(self._waiting)), key=lambda i: (self._waiting[i]["urgency"], i))
            del self._waiting[least]
            self.dropped += 1

    def take(self) -> CallBody | None:
        """Return the most urgent call, once; None when none waits."""
        if not self._waiting:
            return None
        most = max(range(len(self._waiting)), key=lambda i: (self._waiting[i]["urgency"], -i))
        call = self._waiting[most]
        del self._waiting[most]
        return call

    def __len__(self) -> int:
        return len(self._waiting)


class Outbox:
    """Everything that waits for one client: of what is whole the newest, of calls and replies a bounded queue."""

    def __init__(self) -> None:
        self.hello: LatestSlot[HelloBody] = LatestSlot()
        self.chart: LatestSlot[ChartPlaceBody] = LatestSlot()
        self.status: LatestSlot[AffairsBody] = LatestSlot()
        self.reading: LatestSlot[ReadingBody] = LatestSlot()
        self.pose: LatestSlot[PoseFrame] = LatestSlot()
        self.trial: LatestSlot[TrialBody | Nothing] = LatestSlot()
        self.answer: LatestSlot[AnswerBody] = LatestSlot()
        self.heard: LatestSlot[HeardBody] = LatestSlot()
        self.fans: LatestSlot[list[FanFrame]] = LatestSlot()
        self.calls = CallQueue()
        # The oldest goes when a stalled screen has asked for more than this.
        self.replies: deque[ReplyBody] = deque(maxlen=8)
