"""Keeps the collector of cyclic garbage from stalling a turn.

A chart laid out is some hundred thousand objects that stay.  Each full pass of the collector walks all of them, a
tenth of a second now and then, in the middle of a turn.  What stands once the chart is laid out is therefore set
aside, and full passes look only at what came later.
"""

from __future__ import annotations

import gc


class SetAside:
    """Sets aside what stands, once for each time the chart has been laid out."""

    def __init__(self) -> None:
        self._done = 0

    def after(self, laid_out: int) -> None:
        """Call with how often the chart has been laid out, at the end of a turn."""
        if laid_out != self._done:
            # This turn was slow already; the next ones must not be.
            self._done = laid_out
            set_aside()


def set_aside() -> None:
    """Collect, and set aside what is left; what was set aside before is looked through once more, so nothing leaks."""
    if not gc.isenabled():
        return
    gc.unfreeze()
    gc.collect()
    gc.freeze()
