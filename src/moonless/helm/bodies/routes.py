"""What the screens are told of routes: answers to their questions, and tonight's route with every reading."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NotRequired, TypedDict


class LegDangerBody(TypedDict):
    """What stops a leg or speaks against it, and where it lies."""

    say: str
    lat: float | None
    lon: float | None


class LegCheckBody(TypedDict):
    """A drawn leg held against the chart."""

    length_m: float
    course_deg: float
    least_depth_m: float | None
    stops: Sequence[LegDangerBody]
    against: Sequence[LegDangerBody]


class RouteKeptBody(TypedDict):
    """A route in the helm's folder; ``problem``: why it cannot be read."""

    name: str
    length_m: float | None
    points: int | None
    problem: str | None


class DepthsBody(TypedDict):
    """The charted depth along a leg: the least at each place, below chart datum, null: not charted; what she needs."""

    along_m: Sequence[float]
    least_m: Sequence[float | None]
    need_m: float


class ScopeBody(TypedDict):
    """What the radar should show at the turn onto a leg, the course up: ``levels`` are size by size bytes, base64."""

    size: int
    levels: str
    scale_nm: float
    marks: Sequence[str]
    hidden: Sequence[str]


class LegPicturesBody(TypedDict):
    """One leg of the plan as pictures; what is left out the chart cannot give.  ``chart``: SVG without colours."""

    number: int
    chart: NotRequired[str]
    depths: NotRequired[DepthsBody]
    scope: NotRequired[ScopeBody]


class RouteAnswer(TypedDict, total=False):
    """What became of a question about routes."""

    problem: str
    legs: Sequence[LegCheckBody]
    points: Sequence[tuple[float, float]]
    notes: Sequence[str]
    routes: Sequence[RouteKeptBody]
    following: str | None
    folder: str
    name: str
    path: str
    leg: LegPicturesBody


class ReplyBody(RouteAnswer):
    """What became of a question about routes; ``token`` says whose it was.  ``notes``: of a way that was found."""

    about: str
    token: int


class TideGateBody(TypedDict):
    """When low water closes a leg."""

    least_m: float  # tide above chart datum from which on it is open
    by: str
    open_ms: Sequence[Sequence[int]]  # from, to


class PlanLegBody(TypedDict):
    """One leg for the plan's sheet: what a helmsman asks of it."""

    number: int
    to: str
    course_deg: float
    length_m: float
    end_ms: int
    speed_kn: float
    least_depth_m: float | None
    lights: Sequence[str]
    marks: Sequence[str]
    opens: Sequence[str]
    refused: Sequence[str]
    gate: TideGateBody | None


class ComingBody(TypedDict):
    """A thing that comes next on the route."""

    what: str
    distance_m: float
    say: str


class OnRouteBody(TypedDict):
    """Where the boat is on the route; ``to_go_leg_m``: to the end of this leg, where the next turn is."""

    leg: int
    course_deg: float
    off_track_m: float
    to_go_leg_m: float
    to_go_m: float
    arrive_ms: NotRequired[int | None]
    coming: Sequence[ComingBody]


class PlanNowBody(TypedDict):
    """Tonight's route and what comes next on it.

    ``route``: lat, lon, name.  ``legs``: empty while the plan is worked out.  ``now``: null where the
    boat is not on it.
    """

    route: Sequence[tuple[float, float, str | None]]
    legs: NotRequired[Sequence[PlanLegBody]]
    now: OnRouteBody | None
