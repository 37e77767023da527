"""The score of one scene: figures gathered turn by turn, summed at the end.  See `bench.scenes.truth` for the rules."""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import shapely

from bench.metrics import gospa
from bench.scenes.hidden import HiddenScore
from bench.scenes.meetings import Meetings
from bench.scenes.stage import Stage, StageTurn
from bench.scenes.truth import Laid, Thing, TruthBook, pair
from moonless.reading.types import Echo, Reading
from moonless.scene.instruments import within
from moonless.units import kn_to_mps

# The first turns belong to start-up: the receiver is learnt, tracks begin.
WARM_UP = 8
HIDDEN_EVERY = 8
REGISTERED_AFTER = 20
# A mark that is gone would surely have shown with this probability.
MISSING_P = 0.8
# What the reading says of the radar's performance is held to when it says it with this sigma or less.
SURE_SIGMA_DB = 3.0
# Velocity is compared from so many turns after a thing was first held, and again from so many seconds.
SETTLED_TURNS, SETTLED_S = 10, 60.0
# Small things: from what the skipper cares about upwards to here.
SMALL_RCS_M2 = 25.0


@dataclass(slots=True)
class Counts:
    """What was counted."""

    pairs: int = 0
    held: int = 0
    fresh: int = 0
    fresh_right: int = 0
    object_pairs: int = 0
    object_held: int = 0
    scans: int = 0
    withdrawn: int = 0
    false_tracks: int = 0
    false_vessels: int = 0
    doubled: int = 0
    memories: int = 0
    switches: int = 0
    right_mark: int = 0
    told_mark: int = 0
    small_inside: int = 0
    small_held: int = 0
    outage_turns: int = 0


@dataclass(slots=True)
class Errors:
    """What was measured, each against its truth."""

    position_m: list[float] = field(default_factory=list)
    place_m: list[float] = field(default_factory=list)
    velocity: list[float] = field(default_factory=list)
    velocity_60: list[float] = field(default_factory=list)
    gospa_m: list[float] = field(default_factory=list)
    outage_own_m: list[float] = field(default_factory=list)
    bias_deg: list[float] = field(default_factory=list)
    fix_m: list[float] = field(default_factory=list)
    loss_db: list[float] = field(default_factory=list)


@dataclass(slots=True)
class Firsts:
    """By thing, the turn in which it could first be held, was held, was called rightly; and its echo's last id."""

    first_able: dict[str, int] = field(default_factory=dict)
    first_held: dict[str, int] = field(default_factory=dict)
    first_right: dict[str, int] = field(default_factory=dict)
    last_id: dict[str, int] = field(default_factory=dict)
    held_since: dict[str, tuple[int, int]] = field(default_factory=dict)  # turn, Unix ns


@dataclass(slots=True)
class Kinds:
    """What echoes were called, and what was called wrongly or not held."""

    confusion: Counter[tuple[str, str]] = field(default_factory=Counter)
    calibration: list[tuple[float, bool]] = field(default_factory=list)
    unheld: Counter[str] = field(default_factory=Counter)
    wrong: Counter[str] = field(default_factory=Counter)
    false_by: Counter[str] = field(default_factory=Counter)
    strays: list[dict[str, Any]] = field(default_factory=list)


class Score:
    """Gathers one scene; `bench.scenes.named_figures` makes its figures."""

    def __init__(self, stage: Stage) -> None:
        self.stage = stage
        self.book = TruthBook(stage)
        self.n = Counts()
        self.errors = Errors()
        self.firsts = Firsts()
        self.kinds = Kinds()
        self.hidden = HiddenScore(stage)
        self.meetings = Meetings()
        self.told_missing: set[str] = set()
        self.gone_turns: Counter[int] = Counter()
        self.first_ns: int | None = None
        self.last_ns = 0
        self.slowest_s = 0.0  # of the processor, one turn's bytes to its reading

    def add(self, turn: StageTurn, reading: Reading) -> None:
        """Take in one turn's reading."""
        laid = self.book.lay(turn.truth, reading.time_ns)
        self._outage(reading, laid)
        gone = {"radar", "position", "heading"} & {f.what for f in reading.faults}
        is_withdrawn = not reading.echoes and bool(gone)
        self.n.withdrawn += is_withdrawn
        if self.stage.is_dark(turn) or turn.number < WARM_UP:
            # Nothing could be read, or all is new.
            return
        self.n.scans += 1
        self.first_ns = reading.time_ns if self.first_ns is None else self.first_ns
        self.last_ns = reading.time_ns
        if is_withdrawn:
            # Withdrawn though there was a picture: what could be seen was not told.
            for thing in laid.things:
                if thing.detectable:
                    self._count_pair(turn.number, thing, None, None)
            return
        self._echoes(turn, reading, laid)
        self._missing(reading, laid)
        if turn.number % HIDDEN_EVERY == 0:
            self.hidden.add(turn, reading, laid)
        if turn.number >= REGISTERED_AFTER:
            self._registration(reading)
        sigma_db = reading.performance_sigma_db
        if sigma_db is not None and sigma_db <= SURE_SIGMA_DB and turn.number >= REGISTERED_AFTER:
            assert reading.performance_db is not None
            self.errors.loss_db.append(reading.performance_db)

    def _outage(self, reading: Reading, laid: Laid) -> None:
        at_s = (reading.time_ns - self.stage.scene.start_ns) / 1e9
        if not within(at_s - 3.0, self.stage.scene.sensors.gnss_out_s):
            return
        self.n.outage_turns += 1
        if reading.own.lat is not None and reading.own.lon is not None:
            east, north = self.stage.frame.to_plane(reading.own.lat, reading.own.lon)
            self.errors.outage_own_m.append(math.hypot(east - laid.own_m[0], north - laid.own_m[1]))

    def _places(self, echoes: tuple[Echo, ...], laid: Laid) -> tuple[Any, Any]:
        """Return where the echoes are told, in the truth's plane."""
        if self.stage.by_bearing:
            # As the skipper takes them: range and true bearing from the boat, whatever the chart's datum.
            bearing = np.radians([e.bearing_deg for e in echoes])
            reach = np.array([e.range_m for e in echoes])
            return laid.own_m[0] + reach * np.sin(bearing), laid.own_m[1] + reach * np.cos(bearing)
        east, north = self.stage.frame.to_plane([e.lat for e in echoes], [e.lon for e in echoes])
        # Everything is placed against the chart: where the whole ground lies elsewhere, so does the truth.
        shift = self.stage.shift_m
        return np.atleast_1d(east) + shift[0], np.atleast_1d(north) + shift[1]

    def _echoes(self, turn: StageTurn, reading: Reading, laid: Laid) -> None:
        echoes = reading.echoes
        east, north = self._places(echoes, laid)
        whose = pair(east, north, laid, self.stage.beam_rad)
        own = {thing.key: k for k, thing in whose.items()}
        belongs = dict(own)
        key_of = {thing.name: thing.key for thing in laid.things}
        for k, thing in whose.items():
            # One echo for two that the beam cannot part: it speaks for the stronger too.
            stronger = key_of.get(thing.seen.merged_with or "")
            if stronger is not None:
                belongs.setdefault(stronger, k)
        for thing in laid.things:
            if thing.detectable:
                k = belongs.get(thing.key)
                self._count_pair(turn.number, thing, None if k is None else echoes[k], own.get(thing.key))
        self._small(reading, laid, belongs)
        self.meetings.calls(reading, laid, whose)
        for k, echo in enumerate(echoes):
            at = (float(east[k]), float(north[k]))
            mine = whose.get(k)
            if mine is not None:
                self._count_echo(turn.number, echo, mine, self.book.of_thing(mine, laid), *at, reading.time_ns, laid)
            else:
                truly, doubles = self.book.of_no_thing(*at, laid, turn, set(own))
                self._count_stray(turn.number, echo, truly, doubles)
        self._gospa(turn, echoes, whose, east, north, laid)

    def _count_pair(self, number: int, thing: Thing, echo: Echo | None, own: int | None) -> None:
        self.n.pairs += 1
        self.firsts.first_able.setdefault(thing.key, number)
        is_object = thing.mark is None
        self.n.object_pairs += is_object
        if echo is None:
            self.kinds.unheld[thing.key] += 1
            return
        self.n.held += 1
        self.n.object_held += is_object
        is_fresh = own is not None and not echo.coasting
        self.n.fresh += is_fresh
        self.n.fresh_right += is_fresh and echo.kind == thing.cls

    def _count_kind(self, echo: Echo, truly: str, of: str) -> bool:
        is_right = echo.kind == truly
        self.kinds.confusion[(truly, echo.kind)] += 1
        self.kinds.calibration.append((echo.confidence, is_right))
        if not is_right:
            self.kinds.wrong[f"{of}: called {echo.kind}"] += 1
        return is_right

    def _count_stray(self, number: int, echo: Echo, truly: str, doubles: str | None) -> None:
        """An echo that belongs to nothing."""
        self._count_kind(echo, truly, truly if doubles is None else f"second echo of {doubles}")
        if echo.kind == "vessel":
            self.n.false_vessels += 1
            self.n.doubled += doubles is not None
            self.n.memories += echo.coasting
            self.kinds.false_by["doubled" if doubles is not None else truly] += 1
        # Told as something that is there, in open water.
        if truly in ("clutter", "false") and echo.kind not in ("clutter", "false"):
            self.n.false_tracks += 1
            if len(self.kinds.strays) < 400:
                self.kinds.strays.append(
                    {
                        "turn": number,
                        "id": echo.id,
                        "range_m": round(echo.range_m),
                        "bearing_deg": round(echo.bearing_deg),
                        "sog_kn": round(echo.sog_kn, 1),
                        "is": echo.kind,
                        "truly": truly,
                        "remembered": echo.coasting,
                    }
                )

    def _count_echo(
        self, number: int, echo: Echo, thing: Thing, truly: str, east: float, north: float, time_ns: int, laid: Laid
    ) -> None:
        is_right = self._count_kind(echo, truly, thing.key)
        if echo.kind == "vessel" and truly != "vessel":
            is_boat = thing.mark is None and self.stage.is_boat(thing.name)
            if not is_boat:
                self.n.false_vessels += 1
                self.kinds.false_by["mark" if thing.mark is not None else "float"] += 1
        self.firsts.first_held.setdefault(thing.key, number)
        if is_right:
            self.firsts.first_right.setdefault(thing.key, number)
        last = self.firsts.last_id.get(thing.key)
        self.n.switches += last is not None and last != echo.id
        self.firsts.last_id[thing.key] = echo.id
        if not thing.detectable:
            return
        self.errors.position_m.append(math.hypot(east - thing.east_m, north - thing.north_m))
        if self.stage.by_bearing and self.stage.is_chart_right:
            # And where it is told on the earth, with the boat's own position in it.
            e, n = self.stage.frame.to_plane(echo.lat, echo.lon)
            self.errors.place_m.append(math.hypot(e - thing.east_m, n - thing.north_m))
        if thing.mark is not None and truly == "charted":
            self.n.told_mark += 1
            mark = self.stage.marks[thing.mark].charted
            told = echo.charted_as
            self.n.right_mark += told is not None and (told.object, told.cell, told.feature) == (
                mark.object,
                mark.cell,
                mark.feature,
            )
        since, since_ns = self.firsts.held_since.setdefault(thing.key, (number, time_ns))
        if thing.mark is not None:
            return
        speed = kn_to_mps(echo.sog_kn) if echo.cog_deg is not None else 0.0
        course = math.radians(echo.cog_deg) if echo.cog_deg is not None else 0.0
        told_v = (speed * math.sin(course), speed * math.cos(course))
        error = math.hypot(told_v[0] - thing.velocity[0], told_v[1] - thing.velocity[1])
        if number - since >= SETTLED_TURNS:
            self.errors.velocity.append(error)
            self.meetings.closest(echo, thing, laid)
        if time_ns - since_ns >= SETTLED_S * 1e9:
            self.errors.velocity_60.append(error)

    def _small(self, reading: Reading, laid: Laid, belongs: dict[str, int]) -> None:
        """Of small things inside the seeing line, how many are held."""
        if reading.seeing_line is None or reading.own.lat is None or reading.own.lon is None:
            return
        line = shapely.make_valid(shapely.geometry.shape(reading.seeing_line))
        own_e, own_n = self.stage.frame.to_plane(reading.own.lat, reading.own.lon)
        least = self.stage.scene.boat.skipper.smallest_rcs_m2
        for thing in laid.things:
            if thing.mark is not None or not least <= self.stage.rcs_of(thing.name) <= SMALL_RCS_M2:
                continue
            if thing.seen.hidden or thing.seen.merged_with is not None:
                continue
            if self.firsts.first_able.get(thing.key) is None and thing.seen.range_m < 1.5 * self.stage.min_range_m:
                continue
            lat, lon = self.stage.frame.to_geographic(
                own_e + thing.east_m - laid.own_m[0], own_n + thing.north_m - laid.own_m[1]
            )
            if shapely.contains_xy(line, lon, lat):
                self.n.small_inside += 1
                self.n.small_held += thing.key in belongs

    def _gospa(self, turn: StageTurn, echoes: Any, whose: dict[int, Thing], east: Any, north: Any, laid: Laid) -> None:
        truths = [(t.east_m, t.north_m) for t in laid.things if t.detectable]
        kept = []
        for k, echo in enumerate(echoes):
            thing = whose.get(k)
            if thing is not None:
                # Holding what could not be expected is neither praised nor blamed.
                if thing.detectable:
                    kept.append((float(east[k]), float(north[k])))
            elif echo.kind not in ("shore", "bridge", "clutter", "false"):
                kind = self.book.land_kind(float(east[k]), float(north[k]), laid)
                if kind is None:
                    kept.append((float(east[k]), float(north[k])))
        if truths or kept:
            self.errors.gospa_m.append(gospa(np.array(kept).reshape(-1, 2), np.array(truths).reshape(-1, 2)).distance)

    def _missing(self, reading: Reading, laid: Laid) -> None:
        for index, seen in laid.gone:
            if seen.p_detect >= MISSING_P and not seen.hidden and seen.merged_with is None:
                self.gone_turns[index] += 1
        for one in reading.missing:
            self.told_missing.add(f"{one.object} {one.name} {one.lat:.5f} {one.lon:.5f}")

    def _registration(self, reading: Reading) -> None:
        found = reading.registration
        if self.stage.by_bearing and not self.stage.is_chart_right:
            return
        if found.heading_bias_deg is not None:
            self.errors.bias_deg.append(found.heading_bias_deg - self.stage.heading_bias_deg)
        if found.east_m is not None and found.north_m is not None and reading.own.lat is not None:
            offset, shift = self.stage.scene.sensors.position_offset_m, self.stage.shift_m
            # Against the chart: a ground that lies elsewhere is one more offset of the position.
            east, north = found.east_m - (offset[0] + shift[0]), found.north_m - (offset[1] + shift[1])
            self.errors.fix_m.append(math.hypot(east, north))
