"""The channels of a recording, and what an MCAP file begins and ends with."""

from __future__ import annotations

from typing import Literal

RecordedKind = Literal["radar", "nmea", "bus", "signalk", "readings", "eye", "answers"]

MAGIC = b"\x89MCAP0\r\n"
ENCODING: dict[RecordedKind, str] = {
    "radar": "cat240",
    "nmea": "nmea0183",
    "bus": "frames",
    "signalk": "json",
    "readings": "json",
    "eye": "json",
    "answers": "json",
}
