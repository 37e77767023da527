"""What of a leg is worth a line on paper; all of it is in the JSON."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from moonless.passage.types import LegDanger, LegPlan, LightSeen, OpensAt, UnlitMark

MOST_DANGERS, MOST_LIGHTS, MOST_UNLIT, MOST_OPENS = 12, 12, 8, 5
_ORDER = {"stops": 0, "against": 1, "note": 2, "for": 3}


@dataclass(frozen=True, slots=True)
class ToldOfLeg:
    """The chosen lines of one leg, in order along, and how many were left out of each."""

    dangers: tuple[LegDanger, ...]
    dangers_left: int
    lights: tuple[LightSeen, ...]
    lights_left: int
    unlit: tuple[UnlitMark, ...]
    unlit_left: int
    opens: tuple[OpensAt, ...]
    opens_left: int


def worth_telling(leg: LegPlan) -> ToldOfLeg:
    """Return the gravest dangers, the lights the leg is steered by, the unlit marks nearest the track.

    What stops or speaks against the run is never left out.
    """
    grave = [d for d in leg.dangers if d.weight in ("stops", "against")]
    others = (d for d in leg.dangers if d.weight not in ("stops", "against"))
    # What the skipper noted himself comes before what the chart remarks on.
    notes = sorted(others, key=lambda d: (d.kind != "own note", d.off_m, d.along_m))
    dangers = [*grave, *notes[: max(0, MOST_DANGERS - len(grave))]]
    lights = sorted(leg.lights, key=lambda x: (not x.leading, x.nearest_m))[:MOST_LIGHTS]
    unlit = sorted(leg.unlit, key=lambda u: (u.name is None, u.off_m))[:MOST_UNLIT]
    # Openings are told with the speed that goes with them where one has to slow: those first.
    opens = sorted(leg.opens, key=lambda o: (o.slow_to_kn is None, o.distance_m))[:MOST_OPENS]
    return ToldOfLeg(
        tuple(sorted(dangers, key=lambda d: (d.along_m, _ORDER[d.weight]))),
        len(leg.dangers) - len(dangers),
        tuple(sorted(lights, key=lambda x: x.first_along_m)),
        len(leg.lights) - len(lights),
        tuple(sorted(unlit, key=lambda u: u.along_m)),
        len(leg.unlit) - len(unlit),
        tuple(sorted(opens, key=lambda o: o.along_m)),
        len(leg.opens) - len(opens),
    )


def and_more(rows: Sequence[str], most: int, where: str) -> tuple[str, ...]:
    """Return the first rows and, where some are left out, a last one that says how many and where they are."""
    if len(rows) <= most:
        return tuple(rows)
    return (*rows[:most], f"and {len(rows) - most} more, {where}")
