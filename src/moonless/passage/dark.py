"""How dark the run will be: the sky at each leg, and the night's events in words."""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import lru_cache

from moonless.constants import NAUTICAL_MILE_M
from moonless.frames import geodesic, wrap_180
from moonless.passage.types import DarkAt
from moonless.passage.way.route import Waypoint
from moonless.passage.words import relative_words
from moonless.sky.ephemeris import SkyState, sky_state
from moonless.sky.events import moon_phases, sky_events
from moonless.sky.light import darkness, light_lux


@lru_cache(maxsize=4096)
def _sky_at(lat_deg: float, lon_deg: float, time_s: float) -> SkyState:
    """Return the sky of a place to half a mile and ten seconds: a twentieth of a degree, and short legs share it."""
    return sky_state(lat_deg, lon_deg, [time_s])


def dark_at(lat_deg: float, lon_deg: float, time_s: float, course_deg: float, cloud: float) -> DarkAt:
    """Return how dark it is at one place, with the moon told from the course."""
    state = _sky_at(round(lat_deg, 2), round(lon_deg, 2), round(time_s / 20.0) * 20.0)
    moon_deg = math.degrees(float(state.moon_altitude_rad[0]))
    relative = wrap_180(math.degrees(float(state.moon_azimuth_rad[0])) - course_deg) if moon_deg > 0.0 else None
    return DarkAt(
        time_s=time_s,
        word=darkness(state, cloud)[0],
        lux=float(light_lux(state, cloud)[0]),
        sun_altitude_deg=math.degrees(float(state.sun_altitude_rad[0])),
        moon_altitude_deg=moon_deg,
        moon_relative_deg=relative,
        moon_lit_percent=100.0 * float(state.moon_lit_fraction[0]),
    )


def sky_words(dark: DarkAt) -> str:
    """Return moon and marked shore lights for someone at the wheel."""
    return "; ".join((moon_words(dark), *dark.glow))


def moon_words(dark: DarkAt) -> str:
    """Return where the moon stands for someone at the wheel, and what that does."""
    if dark.moon_relative_deg is None:
        return "moon down"
    off = abs(dark.moon_relative_deg)
    side = "" if off < 10 or off > 170 else " to starboard" if dark.moon_relative_deg > 0 else " to port"
    lit = f"moon {dark.moon_lit_percent:.0f}% lit, {dark.moon_altitude_deg:.0f}° up"
    if off <= 45:
        low = dark.moon_altitude_deg < 20
        return f"{lit}, ahead{side}: " + ("glare on the water, things ahead stand dark against it" if low else "ahead")
    if off >= 135:
        return f"{lit}, behind{side}: it lights what lies ahead"
    return f"{lit}, abeam{side}"


# Farther than this a town's glow is no longer in the eyes.  No source: common practice speaks of a dozen miles.
GLOW_REACH_M = 12.0 * NAUTICAL_MILE_M


def glow_words(lat_deg: float, lon_deg: float, course_deg: float, glows: Sequence[Waypoint]) -> tuple[str, ...]:
    """Return how the shore lights the skipper marked stand from a leg; those ahead hide small lights before them."""
    out = []
    for glow in glows:
        distance, bearing = geodesic(lat_deg, lon_deg, glow.lat_deg, glow.lon_deg)
        if distance > GLOW_REACH_M:
            continue
        relative = wrap_180(bearing - course_deg)
        effect = ": small lights before it are lost, hulls stand dark against it" if abs(relative) < 45 else ""
        out.append(f"glow of {glow.name} {relative_words(relative)}, {distance / NAUTICAL_MILE_M:.1f} NM{effect}")
    return tuple(out)


def night_events(lat_deg: float, lon_deg: float, depart_s: float, arrive_s: float) -> tuple[tuple[float, str], ...]:
    """Return the events of sun and moon from twelve hours before departure to twelve after arrival, and the phase."""
    half_day = 43_200.0
    events = [(e.time_s, e.kind) for e in sky_events(lat_deg, lon_deg, depart_s - half_day, arrive_s + half_day)]
    month = 15.0 * 86_400.0
    phases = moon_phases(depart_s - month, depart_s + month)
    nearest = min(phases, key=lambda p: abs(p[0] - depart_s))
    days = (nearest[0] - depart_s) / 86_400.0
    when = f"{abs(days):.1f} days {'ahead' if days > 0 else 'ago'}"
    return (*sorted(events), (nearest[0], f"{nearest[1]}, {when}"))
