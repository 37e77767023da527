"""What a manoeuvre of a turn is held against: the echoes, the chart and the water that is hidden.

What must be kept off by how much: `moonless.reading.collision.keep_off`.  Shore, bridges, clutter and false echoes are
the chart's business or nobody's.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace

from moonless.boat.types import Boat
from moonless.chart.dangers.types import Danger
from moonless.chart.dangers.words import refusal_words
from moonless.reading.collision import charted_dangers
from moonless.reading.collision.trial import MIN_SPEED, Mover, vector
from moonless.reading.contact import Contact, Passing
from moonless.reading.own import OwnPlane
from moonless.reading.visibility.raster import VisibilityRaster
from moonless.rules.steering import Sight

# Told kinds that a manoeuvre is held against, and from which confidence on.
KINDS = ("vessel", "uncharted", "charted")
LEAST_CONFIDENCE = 0.5


# What an order is about stays what it was told as for so many turns on which it is told as nothing that is met.  Own
# figure, as that of the roles.
ELSE_TURNS = 3


def is_met(one: Contact) -> bool:
    """Return whether a contact is a thing that a manoeuvre is held against."""
    return one.kind in KINDS and one.confidence >= LEAST_CONFIDENCE


class KeptAsTold:
    """Keeps what was acted on from being clutter for a turn: the order would come and go with the label."""

    def __init__(self) -> None:
        self._told: dict[int, tuple[Contact, int]] = {}  # as last met, and on how many turns since it was not

    def keep(self, passings: Sequence[Passing], acted_on: Collection[str]) -> tuple[Passing, ...]:
        """Return the passings, what was acted on lately as the thing it was until it is past, or was none."""
        out, told = [], {}
        for passing in passings:
            one = passing.contact
            before, n_else = self._told.get(one.id, (None, 0))
            if is_met(one):
                told[one.id] = one, 0
            elif before is not None and f"echo {one.id}" in acted_on and n_else < ELSE_TURNS:
                told[one.id] = before, n_else + 1
                if passing.tcpa_s is not None and passing.tcpa_s > 0.0:
                    as_told = replace(one, kind=before.kind, confidence=before.confidence, moves=before.moves)
                    passing = replace(passing, contact=as_told)
            out.append(passing)
        self._told = told
        return tuple(out)


@dataclass(frozen=True, slots=True, eq=False)
class HeldAgainst:
    """One turn, as manoeuvres are held against it."""

    time_ns: int
    own: OwnPlane  # put right
    passings: tuple[Passing, ...]
    boat: Boat
    sight: Sight
    dangers: charted_dangers.Charted | None
    tide_m: float | None
    position_sigma_m: float
    raster: VisibilityRaster | None
    keep_off_m: Mapping[int, float] = field(default_factory=dict)  # by contact; what is not in it asks the skipper's

    in_channel: bool = False  # a charted channel that she runs along

    def keep_off_of(self, contact: int) -> float:
        """Return the distance to keep from a contact."""
        return self.keep_off_m.get(contact, self.boat.skipper.keep_off_m)

    @property
    def way(self) -> tuple[float, float] | None:
        """Course and speed over ground; None where either is not known, or she hardly moves."""
        if self.own.cog_rad is None or self.own.sog is None or self.own.sog < MIN_SPEED:
            return None
        return self.own.cog_rad, self.own.sog

    def movers(self) -> tuple[list[Mover], list[int]]:
        """Return what must be kept off, and the row of each among the passings."""
        movers, rows = [], []
        for row, passing in enumerate(self.passings):
            one = passing.contact
            if not is_met(one):
                continue
            place = (one.position_en[0] - self.own.east_m, one.position_en[1] - self.own.north_m)
            movers.append(Mover(one.id, place, one.velocity_en, self.keep_off_of(one.id), one.kind == "charted"))
            rows.append(row)
        return movers, rows

    def refuses(self, course_rad: float, speed: float, delay_s: float, hold_s: float) -> str | None:
        """Return why the chart refuses a course held for so long, in words; None: it does not."""
        danger = self.first_danger(course_rad, speed, delay_s, hold_s)
        return None if danger is None else f"{refusal_words(danger)} that way"

    def first_danger(self, course_rad: float, speed: float, delay_s: float, hold_s: float) -> Danger | None:
        """Return the first charted thing that refuses a course that begins ``delay_s`` from now and is held so long."""
        if self.dangers is None:
            return None
        own = self.own
        if delay_s > 0.0 and own.sog is not None and own.ahead_rad is not None:
            own = moved(own, own.ahead_rad, own.sog, delay_s)
        line = charted_dangers.line_ahead(own, course_rad, max(speed * hold_s, self.boat.length_m))
        return charted_dangers.first_refusal(self.dangers, self.boat, line, speed, self.tide_m, self.position_sigma_m)


def moved(own: OwnPlane, course_rad: float, speed: float, seconds: float) -> OwnPlane:
    """Return the boat after so long on a course."""
    east, north = vector(course_rad, speed)
    return replace(own, east_m=own.east_m + east * seconds, north_m=own.north_m + north * seconds)
