"""What the skipper saw with his own eyes at an echo: the only truth there is on a run.

One line of a recording's channel ``eye``:

    {"time": , "echo": 17, "lat": , "lon": , "sog_kn": , "is": "uncharted", "charted": false,
     "heading_bias_deg": , "east_m": , "north_m": , "what": "boat"}

``what`` is what was seen; the rest is what the reading had of the echo, and of registration, at that moment.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from moonless.reading.types import Reading
from moonless.units import iso_utc, utc_to_ns
from moonless.wire.recording import RecordingReader

# What is said at the helm, of one echo that was touched.
SEEN_AS = ("boat", "buoy or beacon", "float or pot", "pile or stake", "rock or wreck", "birds or weed", "nothing there")
# What is said by day, when the helm asks.
VESSEL, CHARTED, UNCHARTED, NOTHING = (
    "a vessel or boat", "a charted mark", "something the chart has not", "the sea, rain or nothing"
)  # fmt: skip
WORDS = (VESSEL, CHARTED, UNCHARTED, NOTHING)


@dataclass(frozen=True, slots=True)
class SeenThen:
    """One thing that was seen."""

    time_ns: int
    echo: int
    lat_deg: float
    lon_deg: float
    sog_kn: float
    what: str
    is_charted: bool  # the reading had a charted thing there
    # What was reported minus what made radar and chart agree; 0 where that was not known.
    heading_bias_deg: float = 0.0
    east_m: float = 0.0
    north_m: float = 0.0

    @property
    def word(self) -> str | None:
        """What it was, of `WORDS`; None for words of another kind."""
        if self.what in WORDS:
            return self.what
        if self.what == "boat":
            return VESSEL
        if self.what in ("birds or weed", "nothing there"):
            return NOTHING
        if self.what == "float or pot":
            return UNCHARTED
        if self.what in SEEN_AS:
            return CHARTED if self.is_charted else UNCHARTED
        return None


def eye_line(reading: Reading, echo: int, what: str) -> dict[str, object] | None:
    """Return the line of what was seen at an echo of a reading; None where the reading has no such echo."""
    one = next((e for e in reading.echoes if e.id == echo), None)
    if one is None:
        return None
    agreement = reading.registration
    return {
        "time": iso_utc(reading.time_ns), "echo": echo, "lat": one.lat, "lon": one.lon, "sog_kn": one.sog_kn,
        "is": one.kind, "charted": one.charted_as is not None, "heading_bias_deg": agreement.heading_bias_deg,
        "east_m": agreement.east_m, "north_m": agreement.north_m, "what": what,
    }  # fmt: skip


def seen_on(path: Path) -> list[SeenThen]:
    """Return what was seen on a recorded run, in order; of one echo the last word counts.

    Raises WireError if it is no recording.
    """
    out: dict[int, SeenThen] = {}
    for record in RecordingReader(path).only("eye"):
        one = _seen(record.data)
        if one is not None:
            out[one.echo] = one
    return sorted(out.values(), key=lambda one: one.time_ns)


def _seen(data: bytes) -> SeenThen | None:
    """Return a line as a record; None for one that is damaged."""
    try:
        line = json.loads(data)
        return SeenThen(
            utc_to_ns(datetime.fromisoformat(line["time"])), int(line["echo"]), float(line["lat"]), float(line["lon"]),
            float(line["sog_kn"]), str(line["what"]), bool(line["charted"]),
            *(float(line.get(name) or 0.0) for name in ("heading_bias_deg", "east_m", "north_m")),
        )  # fmt: skip
    except (ValueError, KeyError, TypeError):
        return None
