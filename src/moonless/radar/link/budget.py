"""The link budget of one radar set on one range scale."""

from __future__ import annotations

import math
from dataclasses import dataclass

from moonless.boat.types import Pulse, RadarSet
from moonless.constants import BOLTZMANN_J_PER_K, NAUTICAL_MILE_M, NOISE_TEMPERATURE_K, SPEED_OF_LIGHT_MPS, TAU

# The false-alarm probability a detector is designed for: MSC.192(79) table 2 states its ranges at it.
DESIGN_PFA = 1e-4
# Range scales of small radars, nautical miles.  Common practice, no source.
SCALES_NM = (0.125, 0.25, 0.5, 0.75, 1.5, 3.0, 6.0, 12.0, 24.0, 48.0, 96.0)


@dataclass(frozen=True, slots=True)
class Link:
    """What a set does on a range scale.

    ``snr_at_1m``: single-pulse signal to noise, linear, of 1 m2 at 1 m in free space; divide by range^4.
    """

    radar: RadarSet
    pulse: Pulse
    wavelength_m: float
    pulse_m: float  # slant range that one (compressed) pulse covers
    snr_at_1m: float
    hits: float  # pulses while the half-power beam sweeps a point
    turn_s: float

    def pulses_per_spoke(self, n_spoke: int) -> float:
        """Return how many pulses fall into one of ``n_spoke`` spokes; at least one."""
        return max(1.0, self.pulse.prf_hz * self.turn_s / n_spoke)


def link_budget(radar: RadarSet, scale_nm: float) -> Link:
    """Return the budget of a set on a range scale (its pulse is the one the boat file gives for the scale).

    Source
    ------
    Radar equation in the form P G^2 lambda^2 sigma / ((4 pi)^3 R^4 k T0 B F L), textbook (from memory); a chirp's gain
    multiplies it.
    """
    pulse = radar.pulse_for(scale_nm)
    wavelength_m = SPEED_OF_LIGHT_MPS / radar.frequency_hz
    gains_db = 2.0 * radar.gain_db + pulse.compression_gain_db - radar.noise_figure_db - radar.losses_db
    noise_w = BOLTZMANN_J_PER_K * NOISE_TEMPERATURE_K * pulse.bandwidth_hz
    snr = radar.peak_power_w * wavelength_m**2 * 10.0 ** (gains_db / 10.0) / ((4.0 * math.pi) ** 3 * noise_w)
    turn_s = 1.0 / radar.rotation_hz
    return Link(
        radar=radar,
        pulse=pulse,
        wavelength_m=wavelength_m,
        pulse_m=SPEED_OF_LIGHT_MPS * pulse.length_s / 2.0,
        snr_at_1m=snr,
        hits=max(1.0, pulse.prf_hz * turn_s * radar.beam_horizontal_rad / TAU),
        turn_s=turn_s,
    )


def scale_of(max_range_m: float) -> float:
    """Return the range scale, in nautical miles, that a picture reaching this far was most likely taken on.

    Radars send video to the edge of the scale or somewhat past it, so the scale is not above the reach.
    """
    fits = [scale for scale in SCALES_NM if scale * NAUTICAL_MILE_M <= max_range_m * 1.02]
    return fits[-1] if fits else SCALES_NM[0]
