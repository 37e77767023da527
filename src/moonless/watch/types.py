"""What one turn of the chain hands on: to the screens, the log, the voice."""

from __future__ import annotations

from dataclasses import dataclass

from moonless.echo.types import EchoPicture
from moonless.frames import LocalFrame
from moonless.reading.types import Reading
from moonless.scan.types import Scan
from moonless.track.types import AisTarget, Track


@dataclass(frozen=True, slots=True, eq=False)
class Turn:
    """One reading and what it was made from.  Without a scan it is the once-a-second line of a silent radar."""

    reading: Reading
    scan: Scan | None
    picture: EchoPicture | None
    tracks: tuple[Track, ...]
    ais: tuple[AisTarget, ...]
    frame: LocalFrame | None  # of the tracks; None: own position never known
