"""What a plan holds.  Degrees, metres and knots where the name says; None: not known."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from moonless.boat.types import Boat
from moonless.chart.dangers.types import DangerKind
from moonless.passage.way.route import Leg, Route

Weight = Literal["stops", "against", "note", "for"]
Span = tuple[float, float]  # from, to, Unix seconds


@dataclass(frozen=True, slots=True)
class DarkAt:
    """How dark it is at one place and time."""

    time_s: float
    word: str
    lux: float
    sun_altitude_deg: float
    moon_altitude_deg: float
    moon_relative_deg: float | None  # from the course, -180..180; None: the moon is down
    moon_lit_percent: float
    glow: tuple[str, ...] = ()  # shore lights the skipper marked, as they stand to the course, in words


@dataclass(frozen=True, slots=True)
class WaterAt:
    """Tide and stream at one place and time; None: no station says."""

    time_s: float
    tide_m: float | None
    tide_how: str
    stream_set_deg: float | None
    stream_drift_kn: float | None
    stream_how: str
    lowest_m: float | None = None  # the lowest tide while on the leg, which depths are held against
    datum_doubt: str = ""  # why tide and charted depths may not be added; "" where they may, or nothing is known of it


@dataclass(frozen=True, slots=True)
class LegDanger:
    """One charted thing in a leg's corridor."""

    kind: DangerKind
    leg: int  # from 1
    along_m: float  # from the leg's start to where it is nearest, or first met
    off_m: float  # from the track; 0: on it
    side: Literal["on", "port", "starboard"]
    name: str | None
    object: str
    cell: str
    feature: str
    depth_m: float | None  # charted, below datum
    margin_m: float | None  # water, or air, left over what the boat needs at that time; None: not known
    weight: Weight
    say: str
    enough: tuple[tuple[float, float], ...] | None = None  # when there is water enough, Unix seconds; None: not known
    text_file: str | None = None  # the cell's own file with more words on it


@dataclass(frozen=True, slots=True)
class LightSeen:
    """One light of the chart as this leg sees it."""

    leg: int
    name: str | None
    text: str
    colour: str
    first_along_m: float
    last_along_m: float
    range_m: float  # how far it is seen tonight
    bearing_deg: float  # true, when first seen
    relative_deg: float  # from the bow, -180..180
    nearest_m: float
    lat_deg: float
    lon_deg: float
    leading: bool = False

    @property
    def place(self) -> tuple[str, float, float]:
        """What one light is told from another by, however many legs and sectors show it."""
        return (self.text, round(self.lat_deg, 5), round(self.lon_deg, 5))


@dataclass(frozen=True, slots=True)
class UnrangedLight:
    """A charted light near a leg whose range is not charted: it may show, and is counted on for nothing."""

    leg: int
    name: str | None
    text: str
    nearest_m: float
    along_m: float  # where it is nearest
    side: Literal["port", "starboard"]


@dataclass(frozen=True, slots=True)
class UnlitMark:
    """A beacon or buoy without a light near the track, and by when the radar should hold it."""

    leg: int
    name: str | None
    object: str
    along_m: float  # where it is abeam
    off_m: float
    side: Literal["port", "starboard"]
    thing: str  # what one mark is told from another by, however many legs it stands beside
    radar_from_m: float | None  # along the leg, where p(detect) first passes nine in ten; None: not expected


@dataclass(frozen=True, slots=True)
class OpensAt:
    """One point of land beside a leg that opens as the boat passes."""

    along_m: float
    distance_m: float  # of the point, where the boat passes it closest while it still hides water
    side: Literal["port", "starboard"]
    slow_to_kn: float | None  # the speed that goes with a boat coming out; None: the leg's own speed does
    say: str


@dataclass(frozen=True, slots=True)
class ScopePicture:
    """What the radar should show at one place."""

    leg: int
    title: str
    lat_deg: float
    lon_deg: float
    heading_deg: float
    scale_nm: float
    png: bytes
    marks: tuple[str, ...]  # "Cay beacon 045° 0.6 NM"
    hidden: tuple[str, ...]  # "behind the point to port until ..."


@dataclass(frozen=True, slots=True)
class Refuge:
    """A charted place beside a leg where she can break off to."""

    is_harbour: bool  # else an anchorage
    name: str
    off_m: float  # from the track; 0: on it
    side: Literal["on", "port", "starboard"]
    feature: str


@dataclass(frozen=True, slots=True)
class TideGate:
    """A leg that is closed at low water and open at high."""

    leg: int  # from 1
    least_m: float  # tide above chart datum from which on the chart lets her through
    by: str  # what closes it below that, in words
    open: tuple[Span, ...]  # when, in whole minutes
    seen: Span  # the time that was looked at: a span that ends with it goes on past it


@dataclass(frozen=True, slots=True)
class LegPlan:
    """One leg, timed."""

    number: int
    leg: Leg
    speed_kn: float  # over the ground, as planned
    because: str
    steer_deg: float | None  # true course to steer with the stream; None: the stream is not known
    start_s: float
    end_s: float
    fuel_l: float | None
    dark: DarkAt
    water: WaterAt
    dangers: tuple[LegDanger, ...]
    lights: tuple[LightSeen, ...]
    unlit: tuple[UnlitMark, ...]
    bailout: str
    opens: tuple[OpensAt, ...] = ()  # points of land that open along it
    index: tuple[str, ...] = ()  # parallel index lines, in words
    least_depth_m: float | None = None  # charted on the track, below datum; None: not charted
    unranged: tuple[UnrangedLight, ...] = ()
    calls: tuple[str, ...] = ()  # charted radio stations and calling-in points near it, with their channels
    refuges: tuple[Refuge, ...] = ()  # the nearest first
    gate: TideGate | None = None  # None: no gate, or the tide is not known


@dataclass(frozen=True, slots=True)
class Point:
    """One thing that speaks for or against going, with its figure and limit."""

    weight: Weight
    what: str
    figure: str
    limit: str


@dataclass(frozen=True, slots=True)
class Departure:
    """One departure time of the window, as the search found it."""

    time_s: float
    stops: int
    against: int
    darkest_lux: float
    mean_lux: float
    least_depth_margin_m: float | None
    tide_at_least_m: float | None
    arrival_s: float


@dataclass(frozen=True, slots=True)
class Plan:
    """The whole plan."""

    route: Route
    boat_name: str
    depart_s: float
    zone: str
    legs: tuple[LegPlan, ...]
    events: tuple[tuple[float, str], ...]  # sun and moon, (Unix seconds, words)
    points: tuple[Point, ...]
    pictures: tuple[ScopePicture, ...] = ()
    departures: tuple[Departure, ...] = ()
    assumptions: tuple[str, ...] = ()
    chart_cells: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()  # what is to be known of the route itself: ends moved, points thinned
    chart_faults: tuple[str, ...] = ()  # what is wrong with the charts along the route; said first
    chartlet_svg: str = ""  # the chart with the track; "": not drawn
    boat: Boat | None = None
    leave: tuple[Span, ...] | None = None  # when to leave to pass every tide gate; None: there is none, or not asked

    @property
    def gates(self) -> tuple[TideGate, ...]:
        """Return the tide gates of the way, the one that is shut longest first."""
        found = [leg.gate for leg in self.legs if leg.gate is not None]
        return tuple(sorted(found, key=lambda gate: sum(b - a for a, b in gate.open)))

    @property
    def refused(self) -> tuple[LegDanger, ...]:
        """Return the dangers that forbid the route as drawn."""
        return tuple(d for leg in self.legs for d in leg.dangers if d.weight == "stops")
