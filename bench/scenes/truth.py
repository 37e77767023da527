"""What a scene's truth is at the time of a reading, laid out for scoring.

Stated rules, all of them.  None asks what the program said.

- A thing is *detectable* this turn when it has p_detect >= 0.5 (by the radar model in the built-in scenes, by the wild
  drawer's own figures in the wild ones), nothing hides it, it lies neither within 0.75 beam and one pulse of land, a
  bridge or what is built along a shore, nor within a beam and 1.5 pulses of something stronger, it is not under the
  bridge, and the same held on at least four of the last five turns (this one counted): no tracker can hold what has
  only just come out.
- An echo belongs to the nearest thing within 30 m + half a beam's width at its range + half its length; pairs are
  chosen for the least sum of distances, and each thing has one echo at most.  A thing that is not detectable may be
  held all the same; nothing is counted for it among the held.
- Two things within a beam and 1.5 pulses of each other make one echo: the stronger counts as held when that echo has
  been given to the weaker.
- An echo that belongs to a thing is truly of that thing's kind, remembered or not; but one of a still thing that cannot
  be parted from land is one with it, and truly what the land there is.
- A beacon or buoy that stands where the program is given no chart is `uncharted` like any other still thing.
- An echo that belongs to no thing is truly, in this order: `uncharted` by land that is on no chart; `bridge` or
  `shore`, by which is nearer, within 25 m + half a beam of either; `false` where a thing has its own echo already and
  this is a second one in its reach; `false` where a ghost or a side lobe must lie; else `clutter`.  That it is only
  remembered excuses nothing.
- A vessel told where none is counts among the false vessels, whatever made the echo; still boats without AIS, which
  the contract calls `uncharted`, are vessels all the same and do not count there.
"""

from __future__ import annotations

import math
from collections import deque
from dataclasses import dataclass, field

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.optimize import linear_sum_assignment

from bench.scenes.stage import Stage, StageTurn
from moonless.scene.truth import Seen, TurnTruth

P_DETECTABLE = 0.5
OF_LAST = (4, 5)
GATE_M = 30.0
SHORE_GATE_M = 25.0


@dataclass(slots=True)
class Thing:
    """One real thing at the time of a reading."""

    key: str  # unique in the scene
    cls: str  # what a right reading calls it
    east_m: float
    north_m: float
    velocity: tuple[float, float]
    length_m: float
    seen: Seen
    detectable: bool
    mark: int | None = None  # index of the charted mark
    name: str = ""  # as `Seen.merged_with` says it


@dataclass(slots=True)
class Laid:
    """All real things that are there, within range, at one time; and charted marks that are not."""

    things: list[Thing]
    gone: list[tuple[int, Seen]]
    own_m: tuple[float, float]
    own_velocity: tuple[float, float]


@dataclass(slots=True)
class TruthBook:
    """Follows the truth turn by turn, because being detectable has a memory."""

    stage: Stage
    _past: dict[str, deque[bool]] = field(default_factory=dict)

    def lay(self, truth: TurnTruth, time_ns: int) -> Laid:
        """Return the things at a time near the end of the turn that ``truth`` tells of."""
        late_s = (time_ns - truth.end_ns) / 1e9
        things = []
        for one in truth.objects:
            if one.seen is not None:
                things.append(
                    Thing(
                        f"object {one.name}",
                        one.cls,
                        one.east_m + one.velocity_east * late_s,
                        one.north_m + one.velocity_north * late_s,
                        (one.velocity_east, one.velocity_north),
                        one.length_m,
                        one.seen,
                        self._detectable(f"object {one.name}", one.seen, one.east_m, one.north_m),
                        name=one.name,
                    )
                )
        gone = []
        for mark in truth.marks:
            real = self.stage.marks[mark.index]
            key = f"mark {mark.index}"
            if not real.is_there:
                gone.append((mark.index, mark.seen))
                continue
            name = self.stage.mark_name(mark.index)
            able = self._detectable(key, mark.seen, real.east_m, real.north_m)
            things.append(
                Thing(key, "charted", real.east_m, real.north_m, (0.0, 0.0), 0.0, mark.seen, able, mark.index, name)
            )
        own = (
            truth.own.east_m + truth.own.velocity_east * late_s,
            truth.own.north_m + truth.own.velocity_north * late_s,
        )
        return Laid(things, gone, own, (truth.own.velocity_east, truth.own.velocity_north))

    def _detectable(self, key: str, seen: Seen, east_m: float, north_m: float) -> bool:
        bridges = self.stage.bridges
        under_bridge = bridges is not None and shapely.distance(bridges, shapely.Point(east_m, north_m)) < (
            SHORE_GATE_M + 0.5 * self.stage.beam_rad * seen.range_m
        )
        now = (
            seen.p_detect >= P_DETECTABLE
            and not seen.hidden
            and seen.merged_with is None
            and not under_bridge
            and seen.range_m > 1.5 * self.stage.min_range_m
        )
        past = self._past.setdefault(key, deque(maxlen=OF_LAST[1]))
        past.append(now)
        return now and sum(past) >= OF_LAST[0]

    def land_kind(self, east_m: float, north_m: float, laid: Laid) -> str | None:
        """Return what land, bridge or uncharted land an echo here is of; None in open water."""
        here = shapely.Point(east_m, north_m)
        reach = math.hypot(east_m - laid.own_m[0], north_m - laid.own_m[1])
        gate = SHORE_GATE_M + 0.5 * self.stage.beam_rad * reach
        new = self.stage.uncharted_land
        if new is not None and not shapely.is_empty(new) and shapely.distance(new, here) < gate:
            return "uncharted"
        bridge = math.inf if self.stage.bridges is None else float(shapely.distance(self.stage.bridges, here))
        shore = math.inf if self.stage.shores is None else float(shapely.distance(self.stage.shores, here))
        # The distance to an empty geometry is not a number.
        bridge, shore = (math.inf if math.isnan(v) else v for v in (bridge, shore))
        if min(bridge, shore) < gate:
            return "bridge" if bridge <= shore else "shore"
        return None

    def of_thing(self, thing: Thing, laid: Laid) -> str:
        """Return what an echo truly is that belongs to a thing."""
        if thing.seen.merged_with == "land" and thing.cls != "vessel":
            return self.land_kind(thing.east_m, thing.north_m, laid) or thing.cls
        return thing.cls

    def of_no_thing(
        self, east_m: float, north_m: float, laid: Laid, turn: StageTurn, has_echo: set[str]
    ) -> tuple[str, str | None]:
        """Return what an echo truly is that belongs to nothing, and the key of what it doubles, if it does."""
        land = self.land_kind(east_m, north_m, laid)
        if land is not None:
            return land, None
        doubled = self._beside(east_m, north_m, laid, has_echo)
        if doubled is not None:
            return "false", doubled
        return ("false" if self.stage.is_false(turn, east_m, north_m, laid.own_m) else "clutter"), None

    def _beside(self, east_m: float, north_m: float, laid: Laid, has_echo: set[str]) -> str | None:
        best, found = math.inf, None
        for thing in laid.things:
            away = math.hypot(thing.east_m - east_m, thing.north_m - north_m)
            if thing.key in has_echo and away <= gate_m(thing, self.stage.beam_rad) and away < best:
                best, found = away, thing.key
        return found


def gate_m(thing: Thing, beam_rad: float) -> float:
    """Return how far from a thing an echo may lie and be its own."""
    return GATE_M + 0.5 * beam_rad * thing.seen.range_m + 0.5 * thing.length_m


def pair(east_m: NDArray[np.float64], north_m: NDArray[np.float64], laid: Laid, beam_rad: float) -> dict[int, Thing]:
    """Return which thing each echo belongs to, by the echo's index."""
    if not len(east_m) or not laid.things:
        return {}
    e = np.array([t.east_m for t in laid.things])
    n = np.array([t.north_m for t in laid.things])
    distance = np.hypot(east_m[:, None] - e[None, :], north_m[:, None] - n[None, :])
    gate = np.array([gate_m(t, beam_rad) for t in laid.things])
    cost = np.where(distance <= gate[None, :], distance, 1e6)
    # What can be detected has the better claim.
    cost += np.array([0.0 if t.detectable else 12.0 for t in laid.things])[None, :]
    rows, columns = linear_sum_assignment(cost)
    return {int(r): laid.things[int(c)] for r, c in zip(rows, columns, strict=True) if cost[r, c] < 1e5}
