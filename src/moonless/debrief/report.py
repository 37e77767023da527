"""The run afterwards, whole: everything worked out, nothing drawn yet."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import asdict, replace

import numpy as np
from numpy.typing import NDArray

from moonless.boat.types import Boat
from moonless.debrief.calls import calls, orders
from moonless.debrief.figures import (
    against_plan,
    depth_margin,
    hidden_near,
    marks_missed,
    pace,
    radar_health,
    registered,
)
from moonless.debrief.ledger import Ledger
from moonless.debrief.meetings import MeetingTold, meetings
from moonless.debrief.practise import to_practise
from moonless.debrief.types import Debrief
from moonless.passage.way.route import Waypoint
from moonless.units import NS_PER_S, iso_utc
from moonless.watch.afterwards.told import AcknowledgedCall

CAUTION = (
    "Worked out from what was recorded. What the radar did not show is not in it: that nothing is told here does not "
    "mean that nothing was there. Not evidence, and not for navigation."
)


def debrief(
    run: Ledger,
    boat: Boat,
    source: str,
    *,
    tide_m: Callable[[int, float, float], float | None] | None = None,
    plan: tuple[str, Sequence[Waypoint], Sequence[int | None]] | None = None,
    is_anew: bool = False,
    answers: Sequence[AcknowledgedCall] = (),
    notes: Sequence[str] = (),
) -> Debrief:
    """Return a run looked back on.

    Parameters
    ----------
    tide_m : height of tide above chart datum for (Unix ns, lat, lon); None: not known
    answers : what the skipper answered at the helm
    plan : its name, its waypoints and when each was planned; None: there was none
    """
    tide = None if tide_m is None else _tide(run, tide_m)
    met = meetings(run, boat)
    known = np.isfinite(run.east_m)
    step = np.hypot(np.diff(run.east_m[known]), np.diff(run.north_m[known]))
    found = Debrief(
        source=source,
        boat=boat.name,
        begins_ns=int(run.time_ns[0]),
        ends_ns=int(run.time_ns[-1]),
        length_m=round(float(step.sum()), 0),
        turns=len(run.time_ns),
        is_anew=is_anew,
        keep_off_s=round(_inside_s(run, met), 1),
        pace=pace(run),
        meetings=met,
        hidden=hidden_near(run, boat),
        depth=depth_margin(run, boat, tide),
        calls=calls(run, answers),
        orders=orders(run),
        marks=marks_missed(run),
        radar=radar_health(run),
        registered=registered(run),
        plan=() if plan is None else against_plan(run, plan[1], plan[2]),
        plan_name=None if plan is None else plan[0],
        practise=(),
        notes=tuple(notes),
    )
    return replace(found, practise=to_practise(found))


def _inside_s(run: Ledger, met: Sequence[MeetingTold]) -> float:
    inside = np.zeros(len(run.time_ns), dtype=np.bool_)
    for one in met:
        rows = np.array(one.rows)
        off = np.hypot(np.array(one.east_m) - run.east_m[rows], np.array(one.north_m) - run.north_m[rows])
        inside[rows[off < one.keep_off_m]] = True
    return run.seconds(inside)


def _tide(run: Ledger, tide_m: Callable[[int, float, float], float | None]) -> NDArray[np.float64]:
    out = []
    for time_ns, lat, lon in zip(run.time_ns.tolist(), run.lat.tolist(), run.lon.tolist(), strict=True):
        height = None if lat != lat else tide_m(time_ns, lat, lon)
        out.append(np.nan if height is None else height)
    return np.array(out)


def as_data(found: Debrief) -> dict[str, object]:
    """Return the debrief as JSON-ready data; times are ISO 8601 UTC, unknown is null."""
    out = _with_times(asdict(found))
    assert isinstance(out, dict)
    for one in out["meetings"]:
        for name in ("rows", "east_m", "north_m"):
            del one[name]
    return {**out, "duration_s": (found.ends_ns - found.begins_ns) / NS_PER_S, "caution": CAUTION}


def _with_times(value: object) -> object:
    if isinstance(value, dict):
        return {
            (name.removesuffix("_ns") if name.endswith("_ns") else name): (
                iso_utc(inner) if name.endswith("_ns") and inner is not None else _with_times(inner)
            )
            for name, inner in value.items()
        }
    if isinstance(value, list | tuple):
        return [_with_times(inner) for inner in value]
    return value
