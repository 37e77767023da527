"""What the one danger engine says of a leg, with the leg's number and place in every sentence."""

from __future__ import annotations

import shapely

from moonless.boat.types import Boat
from moonless.chart.dangers.layout import ChartDangers
from moonless.chart.dangers.needs import Needs
from moonless.chart.dangers.strip import KeepOuts, OwnNotes, OwnThings, StripDangers
from moonless.chart.dangers.types import Danger, way_strip
from moonless.constants import NAUTICAL_MILE_M
from moonless.passage.types import LegDanger
from moonless.passage.way.route import Leg
from moonless.units import down


def hold(
    leg: Leg,
    chart: ChartDangers,
    boat: Boat,
    keep_outs: KeepOuts = (),
    own_things: OwnThings = (),
    own_notes: OwnNotes = (),
    berths: tuple[bool, bool] = (False, False),
) -> StripDangers:
    """Return a leg held against the chart, ready to be asked for any tide and speed.

    ``berths``: whether the route begins at the leg's start, and ends at its end.
    """
    line = shapely.LineString(leg.plane(chart.local.frame))
    ends = zip((line.coords[0], line.coords[-1]), berths, strict=True)
    strip = way_strip(line, boat, berths=tuple(shapely.Point(place) for place, is_berth in ends if is_berth))
    return StripDangers(chart, strip, keep_outs, own_things, own_notes)


def leg_dangers(number: int, held: StripDangers, needs: Needs) -> list[LegDanger]:
    """Return every danger and charted area of a leg, by distance along, worst first where level."""
    return [_told(number, danger) for danger in held.dangers(needs)]


def _told(number: int, danger: Danger) -> LegDanger:
    where = f"{danger.along_m / NAUTICAL_MILE_M:.2f} NM along leg {number}"
    where += ", on the track" if danger.side == "on" else f", {down(danger.off_m, 0)} m to {danger.side}"
    return LegDanger(
        kind=danger.kind,
        leg=number,
        along_m=danger.along_m,
        off_m=danger.off_m,
        side=danger.side,
        name=danger.name,
        object=danger.object,
        cell=danger.cell,
        feature=danger.feature,
        depth_m=danger.depth_m,
        margin_m=danger.clearance_m,
        weight=danger.weight,
        say=f"{danger.say}, {where}",
        text_file=danger.text_file,
    )
