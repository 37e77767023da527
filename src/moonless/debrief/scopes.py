"""The radar's own picture at some moments of a recording, where it holds video."""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from moonless.boat.types import Boat
from moonless.constants import NAUTICAL_MILE_M
from moonless.radar.link.receiver import COUNTS_PER_DB, NOISE_COUNT
from moonless.radar.picture import FULL_DB, render
from moonless.radar.types import ScanGrid
from moonless.scan.types import Scan
from moonless.units import NS_PER_S
from moonless.watch.instruments.faults import FaultWatch
from moonless.watch.instruments.intake import Intake
from moonless.watch.instruments.timebase import TimeBase
from moonless.watch.pipeline.assembly import assembler_for
from moonless.watch.pipeline.decode import InstrumentDecoding, RadarDecoding
from moonless.wire.recording import RecordingReader

# So much of the recording before a moment holds the turn that ends near it, and the pose it needs.
BEFORE_NS, AFTER_NS = 8 * NS_PER_S, 3 * NS_PER_S
SIZE, SCALES_NM = 340, (0.125, 0.25, 0.5, 0.75, 1.5, 3.0)


@dataclass(frozen=True, slots=True)
class Scope:
    """A picture of one turn, bow up."""

    time_ns: int
    scale_nm: float
    png: bytes


def scopes_at(path: Path, boat: Boat, moments: Sequence[tuple[int, float]]) -> dict[int, Scope]:
    """Return pictures of the turns nearest before some moments, by moment; none where there is no video.

    ``moments``: (Unix ns, metres that must lie on the picture).
    """
    waiting = sorted(moments)
    out: dict[int, Scope] = {}
    for time_ns, reach_m in waiting:
        scan = _scan_before(path, boat, time_ns)
        if scan is not None:
            out[time_ns] = _drawn(scan, time_ns, reach_m)
    return out


def _scan_before(path: Path, boat: Boat, time_ns: int) -> Scan | None:
    times, faults = TimeBase(), FaultWatch()
    instruments = InstrumentDecoding(Intake(boat, times, faults))
    radar, assembler = RadarDecoding(times, faults), assembler_for(boat)
    last: Scan | None = None
    for record in RecordingReader(path).only("radar", "nmea", within=(time_ns - BEFORE_NS, time_ns + AFTER_NS)):
        times.received(record.received_ns)
        if record.kind == "nmea":
            instruments.decode(record.data, record.received_ns, str(record.link), is_datagram=False)
            continue
        for spoke in radar.decode(record.data, record.received_ns, is_datagram=True).spokes:
            scan = assembler.add(spoke, instruments.intake.poses)
            if (
                scan is not None
                and scan.received_fraction > 0.5
                and (last is None or scan.end_ns <= time_ns + AFTER_NS)
            ):
                last = scan
    return last


def _drawn(scan: Scan, time_ns: int, reach_m: float) -> Scope:
    scale = next((s for s in SCALES_NM if s * NAUTICAL_MILE_M >= 1.3 * reach_m), SCALES_NM[-1])
    scale = min(scale, next((s for s in SCALES_NM if s * NAUTICAL_MILE_M >= scan.max_range_m), SCALES_NM[-1]))
    n_spoke, n_cell = scan.echo.shape
    grid = ScanGrid(n_spoke, n_cell, scan.first_cell_m, scan.cell_m)
    heading = float(np.nanmean(scan.heading_true_rad)) if np.isfinite(scan.heading_true_rad).any() else 0.0
    image = render(_counts(scan.echo), grid, scale, heading, f"recorded, {scale:g} NM, bow up", SIZE)
    buffer = io.BytesIO()
    image.quantize(64).save(buffer, format="PNG", optimize=True)
    return Scope(time_ns, scale, buffer.getvalue())


def _counts(echo: NDArray[np.generic]) -> NDArray[np.uint8]:
    """Return a recorded scan in the counts that pictures are drawn in: its noise at their noise, its top at their top.

    No recording says what its counts mean; the picture is to be looked at, not measured.
    """
    values = echo.astype(np.float32)
    noise, top = float(np.median(values)), float(values.max())
    gain = FULL_DB * COUNTS_PER_DB / max(top - noise, 1.0)
    return np.asarray(np.clip(NOISE_COUNT + (values - noise) * gain, 0, 255), dtype=np.uint8)
