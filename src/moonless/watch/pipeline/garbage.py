"""Keeps the collector of cyclic garbage from stalling a turn.

A chart laid out is some hundred thousand objects that stay.  Each full pass of the collector walks all of them, a
tenth of a second now and then, in the middle of a turn.  What stands once the chart is laid out is therefore set
aside, and full passes look only at what came later.
"""

from __future__ import annotations

import gc


def set_aside() -> None:
    """Collect, and set aside what is left; what was set aside before is looked through once more, so nothing leaks."""
    if not gc.isenabled():
        return
    gc.unfreeze()
    gc.collect()
    gc.freeze()
