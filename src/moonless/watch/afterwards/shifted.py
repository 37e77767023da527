"""Whether a recording's places were moved before it was given away; it then says nothing about the real water."""

from __future__ import annotations

from pathlib import Path

from moonless.wire.recording import RecordingReader

SHIFTED = "places"
"""Name of the entry among a recording's metadata that says so."""


def is_shifted(path: Path) -> bool:
    """Return whether a recording's places are not the real ones.  Raises WireError if it is no recording."""
    return RecordingReader(path).notes().get(SHIFTED) == "moved"
