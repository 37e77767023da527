"""The score of one scene: figures gathered turn by turn, summed at the end.  See `bench.scenes.truth` for the rules."""

from __future__ import annotations

import math
from collections import Counter, defaultdict
from typing import Any

import numpy as np
import shapely

from bench.metrics import gospa
from bench.scenes.meetings import Meetings
from bench.scenes.named_figures import figures_of
from bench.scenes.stage import Stage, StageTurn
from bench.scenes.truth import Laid, Thing, TruthBook, pair
from moonless.reading.types import Echo, Reading
from moonless.scene.instruments import within
from moonless.scene.truth import ObjectTruth
from moonless.scene.wild.truth import Water
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
# A boat is hidden when so many cells about her are too: the edge of a shadow is no sharper.
EDGE_CELLS = 1


class Score:
    """Gathers one scene."""

    def __init__(self, stage: Stage) -> None:
        self.stage = stage
        self.book = TruthBook(stage)
        self.pairs = self.held = self.fresh = self.fresh_right = self.object_pairs = self.object_held = 0
        self.scans = self.false_tracks = self.false_vessels = self.doubled = self.memories = self.switches = 0
        self.first_able: dict[str, int] = {}
        self.first_held: dict[str, int] = {}
        self.first_right: dict[str, int] = {}
        self.last_id: dict[str, int] = {}
        self.confusion: Counter[tuple[str, str]] = Counter()
        self.position_m: list[float] = []
        self.velocity: list[float] = []
        self.velocity_60: list[float] = []
        self.place_m: list[float] = []
        self.meetings = Meetings()
        self.first_ns: int | None = None
        self.last_ns = 0
        self.gospa_m: list[float] = []
        self.right_mark = self.told_mark = 0
        self.calibration: list[tuple[float, bool]] = []
        self.told_missing: set[str] = set()
        self.gone_turns: Counter[int] = Counter()
        self.hidden_both = self.hidden_either = self.hidden_true = 0.0
        self.hidden_boats = self.hidden_boats_in_seen = 0
        self.open_water = self.open_told_hidden = 0.0
        self.small_inside = self.small_held = 0
        self.outage_turns = 0
        self.outage_own_m: list[float] = []
        self.bias_deg: list[float] = []
        self.fix_m: list[float] = []
        self.loss_db: list[float] = []
        self.withdrawn = 0
        self.slowest_s = 0.0  # of the processor, one turn's bytes to its reading
        self.unheld: Counter[str] = Counter()
        self.wrong: Counter[str] = Counter()
        self.false_by: Counter[str] = Counter()
        self.exceedances: list[dict[str, Any]] = []
        self._held_since: dict[str, tuple[int, int]] = {}

    def add(self, turn: StageTurn, reading: Reading) -> None:
        """Take in one turn's reading."""
        laid = self.book.lay(turn.truth, reading.time_ns)
        self._outage(reading, laid)
        gone = {"radar", "position", "heading"} & {f.what for f in reading.faults}
        is_withdrawn = not reading.echoes and bool(gone)
        self.withdrawn += is_withdrawn
        if self.stage.is_dark(turn) or turn.number < WARM_UP:
            # Nothing could be read, or all is new.
            return
        self.scans += 1
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
            self._hidden(turn, reading, laid)
        if turn.number >= REGISTERED_AFTER:
            self._registration(reading)
        sigma_db = reading.performance_sigma_db
        if sigma_db is not None and sigma_db <= SURE_SIGMA_DB and turn.number >= REGISTERED_AFTER:
            assert reading.performance_db is not None
            self.loss_db.append(reading.performance_db)

    def _outage(self, reading: Reading, laid: Laid) -> None:
        at_s = (reading.time_ns - self.stage.scene.start_ns) / 1e9
        if not within(at_s - 3.0, self.stage.scene.sensors.gnss_out_s):
            return
        self.outage_turns += 1
        if reading.own.lat is not None and reading.own.lon is not None:
            east, north = self.stage.frame.to_plane(reading.own.lat, reading.own.lon)
            self.outage_own_m.append(math.hypot(east - laid.own_m[0], north - laid.own_m[1]))

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
        self.pairs += 1
        self.first_able.setdefault(thing.key, number)
        is_object = thing.mark is None
        self.object_pairs += is_object
        if echo is None:
            self.unheld[thing.key] += 1
            return
        self.held += 1
        self.object_held += is_object
        is_fresh = own is not None and not echo.coasting
        self.fresh += is_fresh
        self.fresh_right += is_fresh and echo.kind == thing.cls

    def _count_kind(self, echo: Echo, truly: str, of: str) -> bool:
        is_right = echo.kind == truly
        self.confusion[(truly, echo.kind)] += 1
        self.calibration.append((echo.confidence, is_right))
        if not is_right:
            self.wrong[f"{of}: called {echo.kind}"] += 1
        return is_right

    def _count_stray(self, number: int, echo: Echo, truly: str, doubles: str | None) -> None:
        """An echo that belongs to nothing."""
        self._count_kind(echo, truly, truly if doubles is None else f"second echo of {doubles}")
        if echo.kind == "vessel":
            self.false_vessels += 1
            self.doubled += doubles is not None
            self.memories += echo.coasting
            self.false_by["doubled" if doubles is not None else truly] += 1
        # Told as something that is there, in open water.
        if truly in ("clutter", "false") and echo.kind not in ("clutter", "false"):
            self.false_tracks += 1
            if len(self.exceedances) < 400:
                self.exceedances.append(
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
                self.false_vessels += 1
                self.false_by["mark" if thing.mark is not None else "float"] += 1
        self.first_held.setdefault(thing.key, number)
        if is_right:
            self.first_right.setdefault(thing.key, number)
        last = self.last_id.get(thing.key)
        self.switches += last is not None and last != echo.id
        self.last_id[thing.key] = echo.id
        if not thing.detectable:
            return
        self.position_m.append(math.hypot(east - thing.east_m, north - thing.north_m))
        if self.stage.by_bearing and self.stage.is_chart_right:
            # And where it is told on the earth, with the boat's own position in it.
            e, n = self.stage.frame.to_plane(echo.lat, echo.lon)
            self.place_m.append(math.hypot(e - thing.east_m, n - thing.north_m))
        if thing.mark is not None and truly == "charted":
            self.told_mark += 1
            mark = self.stage.marks[thing.mark].charted
            told = echo.charted_as
            self.right_mark += told is not None and (told.object, told.cell, told.feature) == (
                mark.object,
                mark.cell,
                mark.feature,
            )
        since, since_ns = self._held_since.setdefault(thing.key, (number, time_ns))
        if thing.mark is not None:
            return
        speed = kn_to_mps(echo.sog_kn) if echo.cog_deg is not None else 0.0
        course = math.radians(echo.cog_deg) if echo.cog_deg is not None else 0.0
        told_v = (speed * math.sin(course), speed * math.cos(course))
        error = math.hypot(told_v[0] - thing.velocity[0], told_v[1] - thing.velocity[1])
        if number - since >= SETTLED_TURNS:
            self.velocity.append(error)
            self.meetings.closest(echo, thing, laid)
        if time_ns - since_ns >= SETTLED_S * 1e9:
            self.velocity_60.append(error)

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
            if self.first_able.get(thing.key) is None and thing.seen.range_m < 1.5 * self.stage.min_range_m:
                continue
            lat, lon = self.stage.frame.to_geographic(
                own_e + thing.east_m - laid.own_m[0], own_n + thing.north_m - laid.own_m[1]
            )
            if shapely.contains_xy(line, lon, lat):
                self.small_inside += 1
                self.small_held += thing.key in belongs

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
            self.gospa_m.append(gospa(np.array(kept).reshape(-1, 2), np.array(truths).reshape(-1, 2)).distance)

    def _missing(self, reading: Reading, laid: Laid) -> None:
        for index, seen in laid.gone:
            if seen.p_detect >= MISSING_P and not seen.hidden and seen.merged_with is None:
                self.gone_turns[index] += 1
        for one in reading.missing:
            self.told_missing.add(f"{one.object} {one.name} {one.lat:.5f} {one.lon:.5f}")

    def _hidden(self, turn: StageTurn, reading: Reading, laid: Laid) -> None:
        if reading.hidden is None:
            return
        frame, shift = self.stage.frame, self.stage.shift_m
        shapes: dict[str, list[Any]] = defaultdict(list)
        for feature in reading.hidden["features"]:
            cause = feature["properties"].get("by", feature.get("by"))
            shapes[cause].append(shapely.make_valid(shapely.geometry.shape(feature["geometry"])))
        told_all = shapely.union_all([one for parts in shapes.values() for one in parts])
        told = shapely.union_all([*shapes["land"], *shapes["horizon"]])
        by_vessel = shapely.union_all(shapes["vessel"])
        water = self.stage.water(turn, reading.time_ns)
        ranges = water.range_m
        wet = water.is_wet & (ranges > 60.0) & (ranges < 0.97 * float(ranges.max()))
        truly = water.is_hidden & wet
        # As with the echoes: the reading places everything against the chart, the ground may lie elsewhere.
        lat, lon = frame.to_geographic(water.east_m - shift[0], water.north_m - shift[1])
        lat, lon = np.asarray(lat).reshape(wet.shape), np.asarray(lon).reshape(wet.shape)
        behind = self._behind_hulls(turn, water, laid)
        open_water = wet & ~truly & ~behind
        self.open_water += float(ranges[open_water].sum())
        if not shapely.is_empty(by_vessel):
            self.open_told_hidden += float(ranges[open_water & shapely.contains_xy(by_vessel, lon, lat)].sum())
        if self.stage.is_chart_right and self.stage.shores is not None:
            counted = wet & ~behind if self.stage.by_bearing else wet
            said = shapely.contains_xy(told, lon, lat) & counted
            self.hidden_both += float(ranges[truly & said].sum())
            self.hidden_true += float(ranges[truly & counted].sum())
            self.hidden_either += float(ranges[(truly | said) & counted].sum())
        for one in turn.truth.objects:
            if one.seen is None or not one.seen.hidden or not self.stage.is_boat(one.name):
                continue
            if self.stage.blind_untold(turn, one.seen.bearing_rad) or not self._surely_hidden(turn, water, one):
                continue
            self.hidden_boats += 1
            lat, lon = frame.to_geographic(one.east_m - shift[0], one.north_m - shift[1])
            self.hidden_boats_in_seen += not shapely.contains_xy(told_all, lon, lat)

    def _surely_hidden(self, turn: StageTurn, water: Water, one: ObjectTruth) -> bool:
        """Return whether a hidden boat lies well inside what hides her."""
        if self.stage.is_blind(turn, one.seen.bearing_rad if one.seen is not None else 0.0):
            return True
        away = np.hypot(water.east_m - one.east_m, water.north_m - one.north_m)
        row, cell = np.unravel_index(int(np.argmin(away)), away.shape)
        rows = np.arange(row - EDGE_CELLS, row + EDGE_CELLS + 1) % away.shape[0]
        return bool(water.is_hidden[rows, max(0, cell - EDGE_CELLS) : cell + EDGE_CELLS + 1].all())

    def _behind_hulls(self, turn: StageTurn, water: Any, laid: Laid) -> Any:
        """Return which cells have something large on their bearing, before them."""
        behind = np.zeros(water.range_m.shape, dtype=np.bool_)
        bearing = np.arctan2(water.east_m - laid.own_m[0], water.north_m - laid.own_m[1])
        for one in turn.truth.objects:
            if one.seen is not None and self.stage.casts(one.name):
                half = 0.5 * one.length_m / one.seen.range_m + self.stage.beam_rad
                off = np.abs(np.mod(bearing - one.seen.bearing_rad + math.pi, 2.0 * math.pi) - math.pi)
                behind |= (off < half) & (water.range_m > one.seen.range_m - 50.0 - 0.5 * one.length_m)
        return behind

    def _registration(self, reading: Reading) -> None:
        found = reading.registration
        if self.stage.by_bearing and not self.stage.is_chart_right:
            return
        if found.heading_bias_deg is not None:
            self.bias_deg.append(found.heading_bias_deg - self.stage.heading_bias_deg)
        if found.east_m is not None and found.north_m is not None and reading.own.lat is not None:
            offset, shift = self.stage.scene.sensors.position_offset_m, self.stage.shift_m
            # Against the chart: a ground that lies elsewhere is one more offset of the position.
            self.fix_m.append(math.hypot(found.east_m - (offset[0] + shift[0]), found.north_m - (offset[1] + shift[1])))

    def figures(self) -> dict[str, float]:
        """Return the scene's figures by name; those that had nothing to measure are left out."""
        return figures_of(self)
