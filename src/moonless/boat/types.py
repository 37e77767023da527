"""What is known of the boat, its radar and its skipper's wishes; frozen at start."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from moonless.units import DistanceUnit


@dataclass(frozen=True, slots=True)
class Pulse:
    """One pulse length and the range scales it serves."""

    up_to_nm: float  # used on range scales up to this
    length_s: float  # of the pulse, or of the compressed pulse's resolution
    prf_hz: float
    bandwidth_hz: float  # of the receiver
    compression_gain_db: float = 0.0  # solid state: time-bandwidth gain over the resolution cell


@dataclass(frozen=True, slots=True)
class RadarSet:
    """A radar by its physics, never by maker or model."""

    kind: str  # the generic set it began from
    frequency_hz: float
    polarisation: Literal["H", "V"]
    peak_power_w: float
    gain_db: float  # one way, boresight
    beam_horizontal_rad: float  # half-power, full angle
    beam_vertical_rad: float
    side_lobe_near_db: float  # within 10 degrees of the axis, below the main lobe, one way (negative)
    side_lobe_far_db: float
    noise_figure_db: float
    losses_db: float  # plumbing, radome, processing, beam shape: all told
    rotation_hz: float  # turns a second
    pulses: tuple[Pulse, ...]  # shortest range scale first
    height_m: float  # of the antenna above the water
    forward_m: float = 0.0  # of the antenna, forward of the position antenna
    starboard_m: float = 0.0
    bow_offset_rad: float = 0.0  # added to every antenna angle: measured misalignment
    range_offset_m: float = 0.0  # added to every range
    angle_from: Literal["bow", "true"] = "bow"
    azimuth_sigma_rad: float = 0.005  # what is left after bow_offset
    range_sigma_m: float = 5.0
    blind_sectors_rad: tuple[tuple[float, float], ...] = ()  # (from, to) clockwise from the bow
    min_range_m: float = 20.0

    def pulse_for(self, scale_nm: float) -> Pulse:
        """Return the pulse used on a range scale."""
        for pulse in self.pulses:
            if scale_nm <= pulse.up_to_nm + 1e-9:
                return pulse
        return self.pulses[-1]


@dataclass(frozen=True, slots=True)
class StoppingTrial:
    """One measured stop: from this speed, this many metres."""

    speed: float  # m/s
    distance_m: float


@dataclass(frozen=True, slots=True)
class Skipper:
    """What the person at the wheel has chosen."""

    keep_off_m: float = 463.0  # a quarter mile: common practice, no source
    night_limit: float | None = None  # m/s, never advised above
    smallest_rcs_m2: float = 2.5  # the smallest thing cared about: a small boat
    smallest_height_m: float = 1.0
    hidden_boat_speed: float = 7.72  # m/s (15 kn) of a boat that may come out of hidden water
    react_s: float = 10.0  # to see, confirm and put the helm or throttle over
    depth_margin_m: float = 0.5
    distance_unit: DistanceUnit = "nm"
    local_time_zone: str = "UTC"
    free_hand: Literal["left", "right"] = "right"


@dataclass(frozen=True, slots=True)
class Boat:
    """The boat file, whole."""

    name: str
    length_m: float
    beam_m: float
    draught_m: float
    air_draught_m: float
    eye_height_m: float
    radar: RadarSet
    mmsi: int | None = None
    stopping: tuple[StoppingTrial, ...] = ()  # by rising speed; empty: a cautious default, said each time
    skipper: Skipper = field(default_factory=Skipper)
    fuel_lph_at_kn: tuple[tuple[float, float], ...] = ()  # (knots, litres an hour)
    deviation: tuple[tuple[float, float], ...] = ()  # of the steering compass: (heading, deviation east), degrees
    position_sigma_m: float = 4.0  # of the GNSS receiver, each axis
    heading_sigma_rad: float = 0.0175  # of the heading sensor
    heading_offset_rad: float = 0.0  # added to every reported heading: measured compass error
    position_forward_m: float = 0.0  # of the position antenna, from the middle of the boat
    fitted_lights: tuple[dict[str, object], ...] = ()  # as [[light]] tables, checked by `moonless lights`
    assumed: tuple[str, ...] = ()  # fields nobody knew: their values are assumed, and that is said

    @property
    def assumed_words(self) -> str:
        """Return what is assumed of her, in words: "beam 3 m, air draught 6 m"; "" where all is known."""
        named = ((name.removesuffix("_m").replace("_", " "), getattr(self, name)) for name in self.assumed)
        return ", ".join(f"{words} {value:g} m" for words, value in named)
