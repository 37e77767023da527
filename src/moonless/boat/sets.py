"""Four generic radar sets, described by physics.

The figures are typical of their class and come from memory and common practice; no document was open when they were
chosen, so none of them is a check value.  A boat file starts from one and overrides what its owner knows better.
Gains are 26 000 / (horizontal x vertical beam in degrees), the usual estimate for a shaped aperture (from memory).
"""

from __future__ import annotations

import math

from moonless.boat.types import Pulse, RadarSet

# What magnetron sets of this size share: short, middle and long pulses and the range scales they serve.
_MAGNETRON = (
    Pulse(up_to_nm=0.75, length_s=80e-9, prf_hz=2100.0, bandwidth_hz=15e6),
    Pulse(up_to_nm=3.0, length_s=250e-9, prf_hz=1700.0, bandwidth_hz=6e6),
    Pulse(up_to_nm=96.0, length_s=800e-9, prf_hz=1000.0, bandwidth_hz=3e6),
)
_MAGNETRON_LARGE = (
    Pulse(up_to_nm=1.5, length_s=70e-9, prf_hz=3000.0, bandwidth_hz=20e6),
    Pulse(up_to_nm=3.0, length_s=250e-9, prf_hz=1800.0, bandwidth_hz=6e6),
    Pulse(up_to_nm=96.0, length_s=800e-9, prf_hz=900.0, bandwidth_hz=3e6),
)
# Chirps of about 1, 5 and 20 microseconds: the gain is 10 log10 (transmitted length / compressed length).
_COMPRESSED = (
    Pulse(up_to_nm=0.75, length_s=50e-9, prf_hz=3000.0, bandwidth_hz=20e6, compression_gain_db=13.0),
    Pulse(up_to_nm=3.0, length_s=80e-9, prf_hz=2400.0, bandwidth_hz=14e6, compression_gain_db=18.0),
    Pulse(up_to_nm=96.0, length_s=200e-9, prf_hz=1500.0, bandwidth_hz=5e6, compression_gain_db=20.0),
)


def _beam(horizontal_deg: float, vertical_deg: float) -> tuple[float, float, float]:
    """Return (gain dB, horizontal rad, vertical rad) of a beam given in degrees."""
    gain_db = 10.0 * math.log10(26_000.0 / (horizontal_deg * vertical_deg))
    return gain_db, math.radians(horizontal_deg), math.radians(vertical_deg)


def _set(
    kind: str,
    power_w: float,
    beam_deg: tuple[float, float],
    lobes_db: tuple[float, float],
    height_m: float,
    pulses: tuple[Pulse, ...],
    *,
    noise_figure_db: float = 5.0,
    losses_db: float = 7.0,
    min_range_m: float = 20.0,
) -> RadarSet:
    gain_db, horizontal_rad, vertical_rad = _beam(*beam_deg)
    return RadarSet(
        kind=kind,
        frequency_hz=9.41e9,
        polarisation="H",
        peak_power_w=power_w,
        gain_db=gain_db,
        beam_horizontal_rad=horizontal_rad,
        beam_vertical_rad=vertical_rad,
        side_lobe_near_db=lobes_db[0],
        side_lobe_far_db=lobes_db[1],
        noise_figure_db=noise_figure_db,
        losses_db=losses_db,
        rotation_hz=0.4,
        pulses=pulses,
        height_m=height_m,
        min_range_m=min_range_m,
    )


GENERIC_SETS: dict[str, RadarSet] = {
    "small radome": _set("small radome", 4_000.0, (3.9, 25.0), (-22.0, -28.0), 3.0, _MAGNETRON),
    "larger radome": _set("larger radome", 4_000.0, (2.6, 25.0), (-23.0, -29.0), 4.0, _MAGNETRON),
    "open array": _set("open array", 10_000.0, (1.9, 22.0), (-24.0, -30.0), 5.0, _MAGNETRON_LARGE),
    "solid state": _set(
        "solid state", 50.0, (3.9, 25.0), (-22.0, -28.0), 3.0, _COMPRESSED, losses_db=6.0, min_range_m=8.0
    ),
}
