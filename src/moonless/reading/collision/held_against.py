"""What a manoeuvre of a turn is held against: the echoes, the chart and the water that is hidden.

What must be kept off by how much: a vessel by the skipper's keep-off distance; a still thing that the chart does not
know by the share of it that calls use; a charted mark, which is meant to be passed close, by what would be a collision.
Shore, bridges, clutter and false echoes are the chart's business or nobody's.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from moonless.boat.types import Boat
from moonless.chart.dangers.types import Danger
from moonless.reading.collision import charted_dangers
from moonless.reading.collision.counts import MARK_M, STILL_SHARE
from moonless.reading.collision.trial import MIN_SPEED, Mover, vector
from moonless.reading.contact import Passing
from moonless.reading.own import OwnPlane
from moonless.reading.visibility.raster import VisibilityRaster
from moonless.rules.steering import Sight

# Told kinds that a manoeuvre is held against, and from which confidence on.
KINDS = ("vessel", "uncharted", "charted")
LEAST_CONFIDENCE = 0.5


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

    @property
    def way(self) -> tuple[float, float] | None:
        """Course and speed over ground; None where either is not known, or she hardly moves."""
        if self.own.cog_rad is None or self.own.sog is None or self.own.sog < MIN_SPEED:
            return None
        return self.own.cog_rad, self.own.sog

    def movers(self) -> tuple[list[Mover], list[int]]:
        """Return what must be kept off, and the row of each among the passings."""
        keep_off = self.boat.skipper.keep_off_m
        own_keep = {"vessel": keep_off, "uncharted": STILL_SHARE * keep_off, "charted": MARK_M}
        movers, rows = [], []
        for row, passing in enumerate(self.passings):
            one = passing.contact
            if one.kind not in KINDS or one.confidence < LEAST_CONFIDENCE:
                continue
            place = (one.position_en[0] - self.own.east_m, one.position_en[1] - self.own.north_m)
            movers.append(Mover(one.id, place, one.velocity_en, own_keep[one.kind], one.kind == "charted"))
            rows.append(row)
        return movers, rows

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
