"""The radar's own pictures about a moment of a recording, where it holds video."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from moonless.boat.types import Boat
from moonless.radar.link.receiver import COUNTS_PER_DB, NOISE_COUNT
from moonless.radar.picture import FULL_DB
from moonless.scan.types import Scan
from moonless.units import NS_PER_S
from moonless.watch.instruments.faults import FaultWatch
from moonless.watch.instruments.intake import Intake
from moonless.watch.instruments.timebase import TimeBase
from moonless.watch.pipeline.assembly import assembler_for
from moonless.watch.pipeline.decode import InstrumentDecoding, RadarDecoding
from moonless.wire.recording import RecordingReader

# The turn that ends near a moment lies within this, and the pose it needs.
BEFORE_NS, AFTER_NS = 8 * NS_PER_S, 3 * NS_PER_S
# A turn of which less came is no picture.
_WHOLE = 0.5


def scans_before(path: Path, boat: Boat, time_ns: int, before_ns: int = BEFORE_NS) -> list[Scan]:
    """Return the turns that ended within so long before a moment, or just after it, in order."""
    times, faults = TimeBase(), FaultWatch()
    instruments = InstrumentDecoding(Intake(boat, times, faults))
    radar, assembler = RadarDecoding(times, faults), assembler_for(boat)
    out: list[Scan] = []
    within = (time_ns - before_ns, time_ns + AFTER_NS)
    for record in RecordingReader(path).only("radar", "nmea", "bus", "signalk", within=within):
        times.received(record.received_ns)
        if record.kind != "radar":
            instruments.decode(record.data, record.received_ns, str(record.link), is_datagram=False)
            continue
        for spoke in radar.decode(record.data, record.received_ns, is_datagram=True).spokes:
            scan = assembler.add(spoke, instruments.intake.poses)
            if scan is not None and scan.received_fraction > _WHOLE and scan.end_ns <= time_ns + AFTER_NS:
                out.append(scan)
    return out


def in_counts(echo: NDArray[np.generic]) -> NDArray[np.uint8]:
    """Return a recorded scan in the counts that pictures are drawn in: its noise at their noise, its top at their top.

    No recording says what its counts mean; the picture is to be looked at, not measured.
    """
    values = echo.astype(np.float32)
    noise, top = float(np.median(values)), float(values.max())
    gain = FULL_DB * COUNTS_PER_DB / max(top - noise, 1.0)
    return np.asarray(np.clip(NOISE_COUNT + (values - noise) * gain, 0, 255), dtype=np.uint8)
