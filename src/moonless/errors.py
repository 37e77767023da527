"""Everything Moonless raises on purpose.

    MoonlessError
    ├── InputError            an argument, option or setting that cannot be used
    │   └── TableError        boat.toml, helm.toml, a scene: which key, what was read, what is allowed
    ├── SourceError           bytes from outside that cannot be used
    │   ├── ChartError        a chart that cannot be opened or read
    │   ├── WireError         a stream or recording that cannot be read at all
    │   └── TruncatedRecord   a file that ends inside a record
    ├── LinkError             a link that cannot be opened, or that went away
    └── NoCoverage            a question about water that no chart covers

A message says what was asked, the value seen, the limit, and what to do next.  Damaged records inside a
stream that can be read on are counted and skipped, not raised.
"""

from __future__ import annotations

from pathlib import Path


class MoonlessError(Exception):
    """Root of every error a command turns into one plain line and exit code 2."""


class InputError(MoonlessError, ValueError):
    """An argument, option or setting that cannot be used."""


class TableError(InputError):
    """A TOML file that cannot be used.  ``key`` names the entry, dotted; "" for the file as a whole."""

    def __init__(self, path: Path | str, key: str, problem: str) -> None:
        self.path = path
        self.key = key
        super().__init__(f"{path}: {key}: {problem}" if key else f"{path}: {problem}")


class SourceError(MoonlessError):
    """Bytes from outside that cannot be used."""


class ChartError(SourceError):
    """A chart that cannot be opened or read."""


class WireError(SourceError):
    """A stream or recording that cannot be read at all."""


class TruncatedRecord(SourceError):
    """A file that ends inside a record.  ``offset``: where the unfinished record begins."""

    def __init__(self, path: Path | str, offset: int, wanted: int, got: int) -> None:
        self.path = path
        self.offset = offset
        super().__init__(
            f"{path}: the record at byte {offset} needs {wanted} bytes but the file holds {got} more; "
            f"everything before it is sound"
        )


class LinkError(MoonlessError):
    """A link that cannot be opened, or that went away."""


class NoCoverage(MoonlessError):
    """A question about water that no chart covers: unknown, never deep."""
