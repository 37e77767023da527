"""Physical numbers, each with its unit in the name and its source beside it."""

from __future__ import annotations

import math

# Exact by definition: BIPM, SI brochure 9th ed. (2019), table 1.
SPEED_OF_LIGHT_MPS = 299_792_458.0
BOLTZMANN_J_PER_K = 1.380_649e-23

# Exact: First International Extraordinary Hydrographic Conference, Monaco 1929; SI brochure table 8.
NAUTICAL_MILE_M = 1852.0
# A cable is a tenth of a nautical mile in chart work.  Common practice, no source.
CABLE_M = NAUTICAL_MILE_M / 10.0
# Exact: international yard and pound agreement, 1959.
FOOT_M = 0.3048
YARD_M = 0.9144

# WGS 84: NGA.STND.0036 v1.0.0 (2014), table 3.1.
WGS84_A_M = 6_378_137.0
WGS84_F = 1.0 / 298.257_223_563

# Mean earth radius (2a + b) / 3: Moritz, Geodetic Reference System 1980.
EARTH_MEAN_RADIUS_M = 6_371_008.8
# Standard refraction bends a ray as if the earth were 4/3 as large: ITU-R P.310, "effective earth radius".
EFFECTIVE_EARTH_FACTOR = 4.0 / 3.0
EFFECTIVE_EARTH_RADIUS_M = EARTH_MEAN_RADIUS_M * EFFECTIVE_EARTH_FACTOR

# Standard noise temperature: IEEE Std 686.
NOISE_TEMPERATURE_K = 290.0

TAU = 2.0 * math.pi
