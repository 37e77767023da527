"""A wild scene, whole: what is there, how this radar answers, what is wrong.  Places are metres from the origin.

Power is told in units of the receiver's noise before the time-varied gain: 1 is the noise's mean.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

import numpy as np
import shapely
from numpy.typing import NDArray

from moonless.scene.types import Ais, Scene, Script

Floats = NDArray[np.float64]
Clutter = Literal["none", "rayleigh", "k", "pareto", "weibull", "lognormal"]
Curve = Literal["log", "linear", "sqrt"]
Fluctuation = Literal["steady", "slow", "slow3"]
WAVELENGTH_M = 0.032  # X band


@dataclass(frozen=True, slots=True)
class WildThing:
    """Something that answers: a point, or a hull of scattering centres when ``length_m`` is over 12 m or so."""

    name: str
    kind: str  # "ship", "boat", "float", "buoy", "beacon" ...
    script: Script
    rcs_m2: float  # mean, of the whole
    height_m: float  # of what answers, above the water
    length_m: float = 0.0
    beam_m: float = 0.0
    fluctuation: Fluctuation = "slow"
    is_boat: bool = True  # people are aboard, or could be; False: a float, a mark
    casts_shadow: bool = False
    ais: Ais | None = None
    ais_late_s: float = 0.0
    ais_offset_m: tuple[float, float] = (0.0, 0.0)
    mark: str | None = None  # OBJNAM of the charted mark it is


@dataclass(frozen=True, slots=True)
class Antenna:
    """The radar and how it is put in."""

    beam_rad: float  # one way, half power, full angle
    lobe_near_db: float  # one way, within 10 degrees
    lobe_far_db: float
    pulse_m: float  # resolution in range, half power, full width
    range_m: float
    n_spoke: int
    n_cell: int
    turn_s: float
    height_m: float
    gain_db: float  # signal over noise of 10 m2 at one mile in free space
    looks: int  # pulses averaged into a spoke
    prf_hz: float
    bow_offset_rad: float = 0.0  # known to the boat file
    bearing_bias_rad: float = 0.0  # not known: sent minus true, after the bow offset
    blind_rad: tuple[tuple[float, float], ...] = ()  # from the bow, clockwise
    blind_is_told: bool = True  # whether the boat file knows it
    spokes_vary: float = 0.0  # share by which the count changes from turn to turn, one sigma
    label_step_rad: float = 0.0  # angles are sent in steps of this
    duplicates: float = 0.0  # share of spokes sent twice
    missing: float = 0.0  # share of spokes that never come
    min_range_m: float = 20.0
    is_true: bool = False  # angles are sent from north, by the boat's own heading sensor


@dataclass(frozen=True, slots=True)
class Receiver:
    """From power to counts."""

    curve: Curve = "log"
    zero_db: float = -6.0  # power of the first count
    span_db: float = 60.0  # log: from there to full scale; others: full scale stands so far above ``zero_db``
    levels: int = 256  # steps in all
    full_count: int = 255  # count of the highest
    bits: int = 8
    stc_db: float = 0.0  # most that is taken from near echoes
    stc_reach_m: float = 500.0  # where the time-varied gain has run out
    threshold_db: float | None = None  # below this the set sends nothing


@dataclass(frozen=True, slots=True)
class Sea:
    """Sea clutter."""

    kind: Clutter = "none"
    shape: float = 2.0  # of the texture (K, Pareto), of Weibull power, sigma of the log (lognormal, in nepers)
    cnr_db: float = -20.0  # mean over noise at 200 m looking upwind
    fall: float = 3.0  # power of range
    critical_m: float = 1_500.0  # past this it falls by four powers more
    from_rad: float = 0.0  # whence wind and sea come
    upwind_db: float = 6.0  # upwind over downwind
    patch_m: float = 20.0  # texture correlation over the water
    memory_s: float = 4.0  # and in time
    drift: tuple[float, float] = (0.0, 0.0)  # m/s: the texture runs with the waves
    swell_m: float = 0.0  # wave length of swell bands; 0: none
    swell_depth: float = 0.0  # 0 to 1
    crests_per_km2: float = 0.0  # breaking at any moment
    crest_rcs_m2: float = 0.5
    crest_velocity: tuple[float, float] = (0.0, 0.0)
    breeze_m: float = 0.0  # radius of patchy light-breeze clutter about the boat; 0: none
    breeze_db: float = 10.0


@dataclass(frozen=True, slots=True)
class Rain:
    """One cell of rain, that drifts."""

    at_m: tuple[float, float]
    along_m: float  # half size, one sigma
    across_m: float
    angle_rad: float
    velocity: tuple[float, float]
    rnr_db: float  # mean over noise in its middle at 1 km
    rough: float = 0.6  # sigma of the log of its texture
    loss_db_km: float = 0.0  # two-way, in the middle


@dataclass(frozen=True, slots=True)
class Other:
    """Another vessel's radar that is heard."""

    bearing_rad: float
    half_rad: float  # heard within this of its bearing; pi: all round
    step_cells: float  # range moves so much from spoke to spoke
    every: int  # one pulse in so many spokes
    power_db: float


@dataclass(frozen=True, slots=True)
class Ghosts:
    """What false echoes the installation and the waters make."""

    mast_rad: tuple[float, ...] = ()  # bearings from the bow of what reflects aboard
    mast_db: float = -30.0
    hulls_db: float | None = None  # by way of another ship
    walls_db: float | None = None  # mirrored in quays and bridges
    multiple_db: float | None = None  # to and fro between own hull and a ship
    second_trace: bool = False


@dataclass(frozen=True, slots=True)
class Land:
    """The ground as it is, and as the chart has it."""

    real: shapely.Geometry
    charted: shapely.Geometry
    uncharted: shapely.Geometry  # part of ``real`` that is on no chart at all
    bridges: tuple[tuple[tuple[float, float], tuple[float, float]], ...] = ()  # end points, as they are
    walls: tuple[tuple[tuple[float, float], tuple[float, float]], ...] = ()  # flat faces that mirror
    relief_m: float = 15.0
    slope: float = 0.2
    sigma_db: float = -22.0  # of the ground


@dataclass(frozen=True, slots=True)
class ChartedMark:
    """One mark on the chart."""

    object: str
    name: str
    east_m: float
    north_m: float
    floating: bool


@dataclass(frozen=True, slots=True)
class Wild:
    """The whole."""

    seed: int
    family: str
    ingredients: tuple[str, ...]
    scene: Scene  # own track, sensors, skies, boat as the program is told her, AIS carriers
    antenna: Antenna
    receiver: Receiver
    sea: Sea
    rain: tuple[Rain, ...]
    others: tuple[Other, ...]
    ghosts: Ghosts
    things: tuple[WildThing, ...]
    land: Land | None
    marks: tuple[ChartedMark, ...]
    has_chart: bool
    shift_m: tuple[float, float] = (0.0, 0.0)  # the whole ground lies so far from where the chart has it
    far: tuple[tuple[float, float, float], ...] = field(default=())  # (east, north, rcs): beyond one pulse interval
