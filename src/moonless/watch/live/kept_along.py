"""A chain's states along a recording that is played, so that a place played before is gone back to with all that was
known there.

A chain begun anew shortly before a place has found two thirds of what the whole run told there
(`design/after_run/jump_before.py`); one that goes on from a state tells the same as if it had been played through.
"""

from __future__ import annotations

import logging
import zlib
from bisect import bisect_left, bisect_right
from collections.abc import Mapping
from concurrent.futures import Future, ThreadPoolExecutor
from typing import NamedTuple

from moonless.units import NS_PER_S
from moonless.watch.live.kept_chain import Keeping, take_up_chain
from moonless.watch.pipeline.chain import Chain
from moonless.watch.types import ChainKept

_log = logging.getLogger(__name__)

# A state is kept each so much of the recording's time; a radar's turn is two to three seconds.
EVERY_NS = 10 * NS_PER_S
# One is some five megabytes when packed: so much of them altogether, spread over what was played.
MOST_BYTES = 256 * 1024 * 1024


class _Packed(NamedTuple):
    state: bytes
    layout: bytes  # its neighbours' too, as a rule


class KeptAlong:
    """States by the recording's own time; ``apart``: what is left out of them, by name."""

    def __init__(self, apart: Mapping[str, object], most_bytes: int = MOST_BYTES) -> None:
        self._apart = apart
        self._most_bytes = most_bytes
        self._keeping = Keeping(apart)
        self._at: list[int] = []  # Unix ns, in order
        self._packed: list[Future[_Packed]] = []  # beside each
        self._layouts = (b"", zlib.compress(b""))  # the last, as it was and packed
        # Packing takes a tenth of a second, which is a jolt on the screens where the player's own thread does it.
        self._pack = ThreadPoolExecutor(1, thread_name_prefix="moonless-kept")
        self._is_given_up = False

    def __len__(self) -> int:
        return len(self._at)

    def after(self, chain: Chain, time_ns: int) -> None:
        """Keep the state of a chain that has taken in all up to a time, unless one is kept near it."""
        if self._is_given_up or self._is_near(time_ns):
            return
        try:
            kept = self._keeping.keep(chain)
        except Exception:
            # Something in the chain that cannot be kept: places are then read anew, as without this.
            _log.exception("the chain's state cannot be kept")
            self._is_given_up = True
            return
        k = bisect_left(self._at, time_ns)
        self._at.insert(k, time_ns)
        self._packed.insert(k, self._pack.submit(self._packed_of, kept))
        while self._bytes() > self._most_bytes and len(self._at) > 2:
            self._thin()

    def latest(self, from_ns: int, to_ns: int) -> tuple[int, Chain] | None:
        """Return (its time, chain that goes on from there) of the last state between two times; None: there is none."""
        k = bisect_right(self._at, to_ns) - 1
        if k < 0 or self._at[k] < from_ns:
            return None
        try:
            packed = self._packed[k].result()
            kept = ChainKept(zlib.decompress(packed.state), zlib.decompress(packed.layout) or None)
            return self._at[k], take_up_chain(kept, self._apart)
        except Exception:
            _log.exception("a kept state could not be taken up")
            return None

    def _packed_of(self, kept: ChainKept) -> _Packed:
        if kept.layout is not None and kept.layout != self._layouts[0]:
            self._layouts = (kept.layout, zlib.compress(kept.layout, 1))
        return _Packed(zlib.compress(kept.state, 1), self._layouts[1])

    def _bytes(self) -> int:
        return sum(len(one.result().state) for one in self._packed if one.done() and one.exception() is None)

    def _is_near(self, time_ns: int) -> bool:
        k = bisect_left(self._at, time_ns)
        return any(abs(at - time_ns) < EVERY_NS for at in self._at[max(k - 1, 0) : k + 1])

    def _thin(self) -> None:
        """Let go of the state that leaves the smallest gap."""
        gaps = [(self._at[k + 1] - self._at[k - 1], k) for k in range(1, len(self._at) - 1)]
        k = min(gaps)[1]
        del self._at[k], self._packed[k]
