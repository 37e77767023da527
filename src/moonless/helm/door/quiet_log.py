"""A log that a stranger cannot fill: the same line a few times a minute, then how many more there were.

What is the same is told by where in the program the line was written and how it begins, not by its figures: a port
number in a line must not make it a new one.  The table of lines is bounded.
"""

from __future__ import annotations

import logging
from collections.abc import Callable

from moonless.clock import steady_s

# Own choices: a log that can be read the morning after, whatever a stranger sends.
MOST_A_MINUTE = 5
_WINDOW_S = 60.0
_MOST_KINDS = 200


class Quiet(logging.Filter):
    """Lets `MOST_A_MINUTE` lines of one kind through a minute, tracebacks only with the first of them."""

    def __init__(self, now_s: Callable[[], float] = steady_s) -> None:
        super().__init__()
        self._now_s = now_s
        self._kinds: dict[tuple[str, int, str], list[float]] = {}  # kind -> [begun, let through, held back]

    def filter(self, record: logging.LogRecord) -> bool:
        """Return whether a line is written; the first after a held minute says how many were not."""
        now = self._now_s()
        # The beginning of the template, before any figure is put in.
        kind = (record.pathname, record.lineno, str(record.msg)[:40])
        seen = self._kinds.get(kind)
        held = 0
        if seen is None or now - seen[0] > _WINDOW_S:
            held = 0 if seen is None else int(seen[2])
            if len(self._kinds) >= _MOST_KINDS:
                self._kinds.pop(min(self._kinds, key=lambda k: self._kinds[k][0]))
            seen = self._kinds[kind] = [now, 0, 0]
        if seen[1] >= MOST_A_MINUTE:
            seen[2] += 1
            return False
        seen[1] += 1
        if seen[1] > 1:
            record.exc_info = record.exc_text = record.stack_info = None
        if held:
            record.msg, record.args = f"{record.getMessage()} (and {held} more like it before)", None
        return True


def quieten() -> None:
    """Put a filter on whatever writes lines now: a logger's own filter would not see the lines of those below it."""
    loggers = [logging.getLogger(), *(one for one in logging.root.manager.loggerDict.values())]
    handlers = {handler for one in loggers if isinstance(one, logging.Logger) for handler in one.handlers}
    if logging.lastResort is not None:
        handlers.add(logging.lastResort)
    for handler in handlers:
        if not any(isinstance(one, Quiet) for one in handler.filters):
            handler.addFilter(Quiet())
