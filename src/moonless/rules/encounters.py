"""How two boats meet, by the geometry of Rules 13 to 15.

Source: International Regulations for Preventing Collisions at Sea 1972, Part B, Section II; the figures that the rules
leave open are marked where they stand.
"""

from __future__ import annotations

import math
from typing import Literal

from moonless.frames import wrap_pi

Meeting = Literal["overtaking", "being overtaken", "head-on", "crossing from starboard", "crossing from port"]

# Rule 13(b): more than 22.5 degrees abaft the beam is where only a sternlight shows.
ABAFT_BEAM_RAD = math.radians(90.0 + 22.5)
# Rule 14 says "reciprocal or nearly reciprocal" and "ahead or nearly ahead" without a figure; ten degrees is our own
# choice, and in doubt the rule itself says to assume head-on (14(c)).
NEARLY_RAD = math.radians(10.0)
# A boat that drifts has no course worth the name.
MIN_SPEED = 0.5  # m/s


def meeting_of(
    own_heading_rad: float,
    own_speed: float,
    target_bearing_rad: float,
    target_course_rad: float,
    target_speed: float,
) -> Meeting | None:
    """Return how two boats in sight meet, by Rules 13 to 15; None when either does not make way.

    Angles are true, radians.  ``target_bearing_rad``: of the target from here.
    """
    if own_speed < MIN_SPEED or target_speed < MIN_SPEED:
        return None
    from_bow = wrap_pi(target_bearing_rad - own_heading_rad)
    aspect = wrap_pi(target_bearing_rad + math.pi - target_course_rad)
    same_way = math.cos(target_course_rad - own_heading_rad)
    # Overtaking comes first: Rule 13(a) holds notwithstanding the rest.
    if abs(aspect) > ABAFT_BEAM_RAD and own_speed * math.cos(from_bow) > target_speed * math.cos(aspect + math.pi):
        return "overtaking"
    if abs(from_bow) > ABAFT_BEAM_RAD and target_speed * math.cos(aspect) > own_speed * math.cos(from_bow + math.pi):
        return "being overtaken"
    if same_way < -math.cos(NEARLY_RAD) + 1e-12 and abs(from_bow) <= NEARLY_RAD:
        return "head-on"
    return "crossing from starboard" if from_bow >= 0.0 else "crossing from port"
