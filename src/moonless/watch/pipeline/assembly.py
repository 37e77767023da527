"""The scan stage: spokes to whole turns of the antenna, each with its errors and with places that can be believed."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from moonless.boat.types import Boat
from moonless.constants import NAUTICAL_MILE_M, SPEED_OF_LIGHT_MPS
from moonless.frames import LocalFrame
from moonless.radar.types import ScanGrid
from moonless.reading.situation import Held
from moonless.scan.assembler import ScanAssembler
from moonless.scan.types import Scan, ScanErrors
from moonless.units import NS_PER_S


def assembler_for(boat: Boat) -> ScanAssembler:
    """Return the assembler for the boat's radar."""
    radar = boat.radar
    return ScanAssembler(
        scan_errors(boat, None),
        angle_from=radar.angle_from,
        bow_offset_rad=radar.bow_offset_rad,
        range_offset_m=radar.range_offset_m,
        antenna_forward_m=radar.forward_m,
        antenna_starboard_m=radar.starboard_m,
    )


def scan_errors(boat: Boat, scan: Scan | None) -> ScanErrors:
    """Return the error figures of the boat's radar on the scale the scan seems to be taken on."""
    radar = boat.radar
    reach_m = NAUTICAL_MILE_M if scan is None else ScanGrid(1, scan.n_cell, scan.first_cell_m, scan.cell_m).max_range_m
    # Radars send video to the edge of the scale or a cell past it.
    pulse = radar.pulse_for(reach_m / NAUTICAL_MILE_M / 1.02)
    return ScanErrors(
        radar.beam_horizontal_rad,
        0.5 * SPEED_OF_LIGHT_MPS * pulse.length_s,
        radar.azimuth_sigma_rad,
        radar.range_sigma_m,
        pulse_interval_s=1.0 / pulse.prf_hz if pulse.prf_hz > 0.0 else None,
    )


def believed(scan: Scan, withdrawn: frozenset[str]) -> Scan:
    """Return the scan without the position or heading that cannot be believed."""
    unknown = np.full(scan.n_spoke, np.nan)
    if {"position", "clock"} & withdrawn:
        scan = replace(scan, lat_deg=unknown, lon_deg=unknown.copy())
    if {"heading", "clock"} & withdrawn:
        scan = replace(scan, heading_true_rad=unknown.copy())
    return scan


def carried_on(scan: Scan, time_ns: int, held: Held) -> Scan:
    """Return the scan with each spoke's place from the position that radar and chart carry on."""
    frame = LocalFrame(held.lat_deg, held.lon_deg)
    before_s = (scan.time_ns - time_ns) / NS_PER_S
    lat, lon = frame.to_geographic(held.velocity[0] * before_s, held.velocity[1] * before_s)
    return replace(scan, lat_deg=np.asarray(lat), lon_deg=np.asarray(lon))
