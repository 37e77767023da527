"""A chain's whole state as bytes, kept outside the process that works on it, so that the next one goes on from there.

What belongs to one process is left apart by name and put in again when the state is taken up: the chart, local
knowledge, what spokes are handed to.  What a chart is laid out into is large, slow to write and the same for miles: it
is bytes of its own, written when it has changed.  All of it goes from a watch to the helm that started it and to the
next watch, all of one program; it is written to no disk and read from none.
"""

from __future__ import annotations

import io
import logging
import math
import pickle
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from moonless.chart.dangers.layout import ChartDangers
from moonless.chart.local import LocalChart
from moonless.clock import steady_s
from moonless.watch.pipeline.chain import Chain
from moonless.watch.types import ChainKept

if TYPE_CHECKING:
    from _typeshed import ReadableBuffer

_log = logging.getLogger(__name__)

# The state is kept so often, and so seldom that it takes no more than this share of the thread's time.
EVERY_S, MOST_SHARE = 10.0, 0.02
# More than this is not kept: it would cost the helm its memory.
MOST_BYTES = 64 * 1024 * 1024
_LAID_OUT = (LocalChart, ChartDangers)


class Keeping:
    """Keeps a chain's state now and then; ``apart``: what is left out, by name."""

    def __init__(self, apart: Mapping[str, object]) -> None:
        self._names = {id(thing): name for name, thing in apart.items() if thing is not None}
        self._laid_out: list[object] = []
        self._next_s = -math.inf

    def after_turn(self, chain: Chain) -> ChainKept | None:
        """Return the chain's state, where it is time for it again."""
        began_s = steady_s()
        if began_s < self._next_s:
            return None
        try:
            kept = self.keep(chain)
        except Exception:
            # Something in the chain that cannot be kept: the watch goes on, and one that follows it begins anew.
            _log.exception("the chain's state cannot be kept")
            self._next_s = math.inf
            return None
        self._next_s = began_s + max(EVERY_S, (steady_s() - began_s) / MOST_SHARE)
        return kept

    def keep(self, chain: Chain) -> ChainKept:
        """Return the chain's state.

        Raises TypeError, AttributeError or pickle.PicklingError where it cannot be written, OverflowError where it is
        more than `MOST_BYTES`.
        """
        out, laid_out = _Bounded(), list(self._laid_out)
        writer = _Writer(out, self._names, laid_out)
        writer.dump(chain)
        if writer.met == len(self._laid_out) == len(laid_out):
            return ChainKept(out.getvalue(), None)
        # Laid out anew: what is no longer used must not be kept for ever, so both are written from the beginning.
        out, laid_out = _Bounded(), []
        _Writer(out, self._names, laid_out).dump(chain)
        layout = _Bounded()
        _Writer(layout, self._names, None).dump(laid_out)
        self._laid_out = laid_out
        return ChainKept(out.getvalue(), layout.getvalue())


def take_up_chain(kept: ChainKept, apart: Mapping[str, object]) -> Chain:
    """Return a chain that goes on from a kept state, with the things ``apart`` names put in.

    Raises whatever reading it raises where it cannot be used; KeyError where a thing is no longer there.
    """
    laid_out = [] if kept.layout is None else _Reader(kept.layout, apart, ()).load()
    chain = _Reader(kept.state, apart, laid_out).load()
    if not isinstance(chain, Chain):
        raise TypeError(f"what was kept is a {type(chain).__name__}, not a chain")
    return chain


class _Bounded(io.BytesIO):
    def write(self, data: ReadableBuffer, /) -> int:
        if self.tell() + memoryview(data).nbytes > MOST_BYTES:
            raise OverflowError(f"the state is more than {MOST_BYTES} bytes")
        return super().write(data)


class _Writer(pickle.Pickler):
    """``laid_out``: where what a chart is laid out into is gathered and left out; None: it is written."""

    def __init__(self, out: io.BytesIO, names: Mapping[int, str], laid_out: list[object] | None) -> None:
        super().__init__(out, protocol=5)
        self._names, self._laid_out = names, laid_out
        self._numbers = {id(thing): number for number, thing in enumerate(laid_out or ())}
        self._met: set[int] = set()

    @property
    def met(self) -> int:
        """How many of those laid out are used."""
        return len(self._met)

    def persistent_id(self, thing: object) -> str | int | None:
        if self._laid_out is not None and isinstance(thing, _LAID_OUT):
            number = self._numbers.setdefault(id(thing), len(self._laid_out))
            if number == len(self._laid_out):
                self._laid_out.append(thing)
            self._met.add(number)
            return number
        return self._names.get(id(thing))


class _Reader(pickle.Unpickler):
    def __init__(self, kept: bytes, apart: Mapping[str, object], laid_out: Sequence[object]) -> None:
        super().__init__(io.BytesIO(kept))
        self._apart, self._laid_out = apart, laid_out

    def persistent_load(self, name: object) -> object:
        thing = self._laid_out[name] if isinstance(name, int) else self._apart.get(str(name))
        if thing is None:
            raise KeyError(f"there is no {name} any more")
        return thing
