"""One benchmark figure, and how it is printed."""

from __future__ import annotations

import json
import platform
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Result:
    """One figure.  ``ratio`` is above 1 where we are better than the peer; None where there is no peer."""

    name: str
    value: float
    unit: str
    peer: str | None = None  # the library, or "real time"
    peer_value: float | None = None
    ratio: float | None = None

    def as_json(self) -> str:
        """Return the line that is printed."""
        return json.dumps(
            {
                "name": self.name,
                "value": round(self.value, 4),
                "unit": self.unit,
                "peer": self.peer,
                "peer_value": None if self.peer_value is None else round(self.peer_value, 4),
                "ratio": None if self.ratio is None else round(self.ratio, 3),
                "machine": f"{platform.machine()}, Python {platform.python_version()}",
            }
        )
