"""The score of one scene: figures gathered turn by turn and summed at the end.  See `_scene_truth` for the rules."""

from __future__ import annotations

import math
from collections import Counter, defaultdict
from typing import Any

import numpy as np
import shapely

from bench._scene_truth import Laid, Thing, TruthBook, pair
from moonless.radar.expected import expected_scan
from moonless.radar.types import ScanGrid
from moonless.reading.types import Echo, Reading
from moonless.scene.instruments import within
from moonless.scene.player import ScenePlayer, SceneTurn
from moonless.track.metrics import gospa

# The first turns belong to start-up: the receiver is learnt, tracks begin.
WARM_UP = 8
HIDDEN_EVERY = 8
# The truth of hidden water is asked on a quarter of a degree: coarser would blame a sharper answer.
N_RAY, N_RING = 1440, 180
REGISTERED_AFTER = 20
CLASSES = ("vessel", "charted", "shore", "bridge", "uncharted", "clutter", "false")
# A mark that is gone should be told of when it would have shown with this probability on so many turns.
MISSING_P, MISSING_TURNS = 0.8, 15
# What the reading says of the radar's performance is held to when it says it with this sigma or less.
SURE_SIGMA_DB = 3.0
# Velocity is compared from so many turns after a thing was first held.
SETTLED_TURNS = 10


class Score:
    """Gathers one scene."""

    def __init__(self, player: ScenePlayer) -> None:
        self.player = player
        self.book = TruthBook(player)
        self.pairs = self.held = self.object_pairs = self.object_held = 0
        self.scans = self.false_tracks = self.switches = 0
        self.first_able: dict[str, int] = {}
        self.first_held: dict[str, int] = {}
        self.first_right: dict[str, int] = {}
        self.last_id: dict[str, int] = {}
        self.confusion: Counter[tuple[str, str]] = Counter()
        self.position_m: list[float] = []
        self.velocity: list[float] = []
        self.gospa_m: list[float] = []
        self.right_mark = self.told_mark = 0
        self.calibration: list[tuple[float, bool]] = []
        self.told_missing: set[str] = set()
        self.gone_turns: Counter[int] = Counter()
        self.hidden_both = self.hidden_either = 0.0
        self.hidden_boats = self.hidden_boats_in_seen = 0
        self.open_water = self.open_told_hidden = 0.0
        self.outage_turns = 0
        self.outage_own_m: list[float] = []
        self.bias_deg: list[float] = []
        self.fix_m: list[float] = []
        self.loss_db: list[float] = []
        self.withdrawn = 0
        self.unheld: Counter[str] = Counter()
        self.wrong: Counter[str] = Counter()
        self.strays: list[dict[str, Any]] = []
        self._held_since: dict[str, int] = {}
        self._was: dict[int, str] = {}  # by echo, what it truly was when last seen

    def add(self, turn: SceneTurn, reading: Reading) -> None:
        """Take in one turn's reading."""
        laid = self.book.lay(turn.truth, reading.time_ns)
        self._outage(turn, reading, laid)
        gone = {"radar", "position", "heading"} & {f.what for f in reading.faults}
        if turn.truth.radar_silent or (not reading.echoes and gone):
            # Withdrawn and said so: neither praised nor blamed.
            self.withdrawn += 1
            return
        if turn.number < WARM_UP:
            return
        self.scans += 1
        self._echoes(turn, reading, laid)
        self._missing(reading, laid)
        if turn.number % HIDDEN_EVERY == 0:
            self._hidden(turn, reading, laid)
        if turn.number >= REGISTERED_AFTER:
            self._registration(turn, reading)
        sigma_db = reading.performance_sigma_db
        if sigma_db is not None and sigma_db <= SURE_SIGMA_DB and turn.number >= REGISTERED_AFTER:
            assert reading.performance_db is not None
            self.loss_db.append(reading.performance_db)

    def _outage(self, turn: SceneTurn, reading: Reading, laid: Laid) -> None:
        at_s = (reading.time_ns - self.player.scene.start_ns) / 1e9
        if not within(at_s - 3.0, self.player.scene.sensors.gnss_out_s):
            return
        self.outage_turns += 1
        if reading.own.lat is not None and reading.own.lon is not None:
            east, north = self.player.scene.frame.to_plane(reading.own.lat, reading.own.lon)
            self.outage_own_m.append(math.hypot(east - laid.own_m[0], north - laid.own_m[1]))

    def _echoes(self, turn: SceneTurn, reading: Reading, laid: Laid) -> None:
        frame = self.player.scene.frame
        echoes = reading.echoes
        east, north = frame.to_plane([e.lat for e in echoes], [e.lon for e in echoes])
        # Everything is placed against the chart: where the whole ground lies elsewhere, so does the truth.
        shift = self.player.scene.waters.shift_m
        east, north = np.atleast_1d(east) + shift[0], np.atleast_1d(north) + shift[1]
        whose = pair(east, north, laid, self.book.beam_rad)
        belongs = {thing.key: k for k, thing in whose.items()}
        names = {thing.key: thing.name for thing in laid.things}
        for k, thing in whose.items():
            # One echo for two that the beam cannot part: it speaks for the stronger too.
            if thing.seen.merged_with is not None:
                for key, name in names.items():
                    if name == thing.seen.merged_with:
                        belongs.setdefault(key, k)
        for thing in laid.things:
            if thing.detectable:
                self._count_pair(turn.number, thing, belongs.get(thing.key))
        classes = {thing.name: thing.cls for thing in laid.things}
        for k, echo in enumerate(echoes):
            thing = whose.get(k)
            at = (float(east[k]), float(north[k]))
            is_stray = thing is None and self.book.place_kind(*at, laid) in ("clutter", "false")
            truly = thing.cls if thing is not None else self._of_no_thing(echo, at, laid, reading.time_ns)
            if thing is not None and thing.seen.merged_with is not None:
                # What the radar cannot part cannot be told apart: either word is right.
                other = (
                    ("shore", "bridge") if thing.seen.merged_with == "land" else (classes.get(thing.seen.merged_with),)
                )
                truly = echo.kind if echo.kind in other else truly
            is_weak = thing is not None and not thing.detectable
            if is_weak and echo.coasting and echo.kind == self._was.get(echo.id):
                truly = echo.kind
            if is_weak and echo.kind in ("shore", "bridge") and self.book.place_kind(*at, laid) == echo.kind:
                # What cannot show by itself may be there and not answer: what it stands by is then right.
                truly = echo.kind
            if is_weak and echo.kind == "false" and self.book.is_side_lobe(*at, laid, reading.time_ns):
                truly = "false"
            if not echo.coasting:
                self._was[echo.id] = truly
            self._count_echo(turn.number, echo, thing, truly, *at, is_stray=is_stray)
        self._gospa(echoes, whose, east, north, laid)

    def _of_no_thing(self, echo: Echo, at: tuple[float, float], laid: Laid, time_ns: int) -> str:
        """Return what an echo that belongs to no thing truly is."""
        if echo.coasting and echo.id in self._was:
            return echo.kind if self.book.place_kind(*at, laid) == echo.kind else self._was[echo.id]
        beside = self.book.beside(*at, laid)
        if beside is not None:
            return beside.cls
        kind = self.book.place_kind(*at, laid)
        if (kind == "clutter" or echo.kind == "false") and self.book.is_side_lobe(*at, laid, time_ns):
            return "false"
        return kind

    def _count_pair(self, number: int, thing: Thing, echo: int | None) -> None:
        self.pairs += 1
        self.first_able.setdefault(thing.key, number)
        is_object = thing.mark is None
        self.object_pairs += is_object
        if echo is None:
            self.unheld[thing.key] += 1
            return
        self.held += 1
        self.object_held += is_object

    def _count_echo(
        self, number: int, echo: Echo, thing: Thing | None, truly: str, east: float, north: float, *, is_stray: bool
    ) -> None:
        is_right = echo.kind == truly
        self.confusion[(truly, echo.kind)] += 1
        self.calibration.append((echo.confidence, is_right))
        if not is_right:
            self.wrong[f"{thing.key if thing else truly}: called {echo.kind}"] += 1
        if thing is None:
            # A memory that lies by nothing, or a second echo of one thing, is a false track, whatever it is of.
            if is_stray and echo.kind not in ("clutter", "false"):
                self.false_tracks += 1
                if len(self.strays) < 400:
                    self.strays.append(
                        {
                            "turn": number,
                            "id": echo.id,
                            "range_m": round(echo.range_m),
                            "bearing_deg": round(echo.bearing_deg),
                            "sog_kn": round(echo.sog_kn, 1),
                            "is": echo.kind,
                        }
                    )
            return
        self.first_held.setdefault(thing.key, number)
        if is_right:
            self.first_right.setdefault(thing.key, number)
        last = self.last_id.get(thing.key)
        self.switches += last is not None and last != echo.id
        self.last_id[thing.key] = echo.id
        if not thing.detectable:
            return
        self.position_m.append(math.hypot(east - thing.east_m, north - thing.north_m))
        if thing.mark is not None and truly == "charted":
            self.told_mark += 1
            mark = self.player.ground.marks[thing.mark].charted
            told = echo.charted_as
            self.right_mark += told is not None and (told.object, told.cell, told.feature) == (
                mark.object,
                mark.cell,
                mark.feature,
            )
        since = self._held_since.setdefault(thing.key, number)
        if thing.mark is None and number - since >= SETTLED_TURNS:
            speed = echo.sog_kn * 1852.0 / 3600.0
            course = math.radians(echo.cog_deg) if echo.cog_deg is not None else 0.0
            speed = speed if echo.cog_deg is not None else 0.0
            self.velocity.append(
                math.hypot(speed * math.sin(course) - thing.velocity[0], speed * math.cos(course) - thing.velocity[1])
            )

    def _gospa(self, echoes: Any, whose: dict[int, Thing], east: Any, north: Any, laid: Laid) -> None:
        truths = [(t.east_m, t.north_m) for t in laid.things if t.detectable]
        kept = []
        for k, echo in enumerate(echoes):
            thing = whose.get(k)
            if thing is not None:
                # Holding what could not be expected is neither praised nor blamed.
                if thing.detectable:
                    kept.append((float(east[k]), float(north[k])))
            elif echo.kind not in ("shore", "bridge", "clutter", "false"):
                kind = self.book.place_kind(float(east[k]), float(north[k]), laid)
                if kind in ("clutter", "false"):
                    kept.append((float(east[k]), float(north[k])))
        if truths or kept:
            self.gospa_m.append(gospa(np.array(kept).reshape(-1, 2), np.array(truths).reshape(-1, 2)).distance)

    def _missing(self, reading: Reading, laid: Laid) -> None:
        for index, seen in laid.gone:
            if seen.p_detect >= MISSING_P and not seen.hidden and seen.merged_with is None:
                self.gone_turns[index] += 1
        for one in reading.missing:
            self.told_missing.add(f"{one.object} {one.name} {one.lat:.5f} {one.lon:.5f}")

    def _hidden(self, turn: SceneTurn, reading: Reading, laid: Laid) -> None:
        if reading.hidden is None:
            return
        frame = self.player.scene.frame
        shapes: dict[str, list[Any]] = defaultdict(list)
        for feature in reading.hidden["features"]:
            cause = feature["properties"].get("by", feature.get("by"))
            shapes[cause].append(shapely.make_valid(shapely.geometry.shape(feature["geometry"])))
        told_all = shapely.union_all([one for parts in shapes.values() for one in parts])
        told = shapely.union_all([*shapes["land"], *shapes["horizon"]])
        by_vessel = shapely.union_all(shapes["vessel"])
        # The water hidden from where the reading says it stands: at its own time.
        now_s = (reading.time_ns - self.player.scene.start_ns) / 1e9
        pose = self.player.pose_at(now_s)
        grid = ScanGrid(N_RAY, N_RING, self.player.grid.max_range_m / N_RING, self.player.grid.max_range_m / N_RING)
        height = self.player.scene.boat.skipper.smallest_height_m
        scan = expected_scan(
            self.player.world, self.player.scene.boat.radar, pose, grid, self.player.scene.radar.scale_nm,
            self.player.weather_at(now_s),
        )  # fmt: skip
        bearing = pose.heading_rad + np.arange(N_RAY) * (2.0 * math.pi / N_RAY)
        ranges = grid.first_cell_m + np.arange(N_RING) * grid.cell_m
        e = pose.east_m + np.sin(bearing)[:, None] * ranges[None, :]
        n = pose.north_m + np.cos(bearing)[:, None] * ranges[None, :]
        land = self.player.ground.real.land if self.player.ground.real is not None else shapely.MultiPolygon()
        wet = ~shapely.contains_xy(land, e, n) & (ranges[None, :] > 60.0) & (ranges[None, :] < 0.97 * ranges[-1])
        truly = (scan.shadow_height_m > height) & wet
        # As with the echoes: the reading places everything against the chart, the ground may lie elsewhere.
        shift = self.player.scene.waters.shift_m
        lat, lon = frame.to_geographic(e - shift[0], n - shift[1])
        said = shapely.contains_xy(told, lon, lat) & wet
        weight = np.broadcast_to(ranges[None, :], truly.shape)
        # Water that is seen, and that is said to lie behind a vessel although nothing large stands on its bearing.
        open_water = wet & ~truly & ~self._behind_hulls(turn, bearing, ranges)
        self.open_water += float(weight[open_water].sum())
        self.open_told_hidden += float(weight[open_water & shapely.contains_xy(by_vessel, lon, lat)].sum())
        self.hidden_both += float(weight[truly & said].sum())
        self.hidden_either += float(weight[truly | said].sum())
        for one in turn.truth.objects:
            if one.seen is None or not one.seen.hidden:
                continue
            self.hidden_boats += 1
            lat, lon = frame.to_geographic(one.east_m - shift[0], one.north_m - shift[1])
            self.hidden_boats_in_seen += not shapely.contains_xy(told_all, lon, lat)

    def _behind_hulls(self, turn: SceneTurn, bearing: Any, ranges: Any) -> Any:
        behind = np.zeros((len(bearing), len(ranges)), dtype=np.bool_)
        casts = {one.name for one in self.player.scene.objects if one.casts_shadow}
        for one in turn.truth.objects:
            if one.name in casts and one.seen is not None:
                half = 0.5 * one.length_m / one.seen.range_m + self.book.beam_rad
                off = np.abs(np.mod(bearing - one.seen.bearing_rad + math.pi, 2.0 * math.pi) - math.pi)
                behind |= (off < half)[:, None] & (ranges > one.seen.range_m - 50.0)[None, :]
        return behind

    def _registration(self, turn: SceneTurn, reading: Reading) -> None:
        found = reading.registration
        scene = self.player.scene
        if found.heading_bias_deg is not None:
            self.bias_deg.append(found.heading_bias_deg - math.degrees(scene.sensors.heading_bias_rad))
        if found.east_m is not None and found.north_m is not None and reading.own.lat is not None:
            offset = scene.sensors.position_offset_m
            shift = scene.waters.shift_m
            # Against the chart: a ground that lies elsewhere is one more offset of the position.
            self.fix_m.append(math.hypot(found.east_m - (offset[0] + shift[0]), found.north_m - (offset[1] + shift[1])))

    def figures(self) -> dict[str, float]:
        """Return the scene's figures by name; those that had nothing to measure are left out."""
        out: dict[str, float] = {}

        def put(name: str, top: float, bottom: float) -> None:
            if bottom > 0:
                out[name] = top / bottom

        put("held", self.held, self.pairs)
        put("held_objects", self.object_held, self.object_pairs)
        put("false_tracks_per_scan", self.false_tracks, self.scans)
        out["id_switches"] = float(self.switches)
        firsts = [self.first_held[k] - self.first_able[k] for k in self.first_held if k in self.first_able]
        rights = [self.first_right[k] - self.first_able[k] for k in self.first_right if k in self.first_able]
        if firsts:
            out["turns_to_first"] = float(np.median(np.maximum(firsts, 0)))
        if rights:
            out["turns_to_right"] = float(np.median(np.maximum(rights, 0)))
        if self.position_m:
            out["position_error_m"] = float(np.sqrt(np.mean(np.square(self.position_m))))
        if self.velocity:
            out["velocity_error_mps"] = float(np.sqrt(np.mean(np.square(self.velocity))))
        if self.gospa_m:
            out["gospa_m"] = float(np.mean(self.gospa_m))
        f1 = macro_f1(self.confusion)
        if f1 is not None:
            out["macro_f1"] = f1
        put("right_mark", self.right_mark, self.told_mark)
        out.update(self._missing_figures())
        put("hidden_iou", self.hidden_both, self.hidden_either)
        put("seen_told_behind_vessel", self.open_told_hidden, self.open_water)
        if self.hidden_boats:
            out["hidden_boats_in_seen"] = float(self.hidden_boats_in_seen)
        for name, values in (("heading_bias_error_deg", self.bias_deg), ("fix_error_m", self.fix_m)):
            if values:
                out[name] = float(np.sqrt(np.mean(np.square(values))))
        if self.loss_db:
            out["scanner_loss_error_db"] = abs(float(np.median(self.loss_db)) + self.player.scene.radar.loss_db)
        put("outage_own_known", len(self.outage_own_m), self.outage_turns)
        if self.outage_own_m:
            out["outage_own_error_m"] = float(np.sqrt(np.mean(np.square(self.outage_own_m))))
        if self.calibration:
            out["calibration_error"] = calibration_error(self.calibration)
        return out

    def _missing_figures(self) -> dict[str, float]:
        out: dict[str, float] = {}
        frame = self.player.scene.frame
        marks = self.player.ground.marks
        names = {}
        for m in marks:
            lat, lon = frame.to_geographic(m.charted.east_m, m.charted.north_m)
            names[f"{m.charted.object} {m.charted.name} {lat:.5f} {lon:.5f}"] = m
        right = wrong = 0
        for told in self.told_missing:
            mark = names.get(told)
            moved = mark is not None and math.hypot(
                mark.east_m - mark.charted.east_m, mark.north_m - mark.charted.north_m
            )
            if mark is not None and not mark.is_there:
                right += 1
            elif not (mark is not None and moved > 40.0):
                # A mark dragged far from its place may rightly be told as missing from there.
                wrong += 1
        due = [k for k, turns in self.gone_turns.items() if turns >= MISSING_TURNS]
        if self.told_missing:
            out["missing_wrong"] = float(wrong)
        if due:
            told_due = sum(any(names.get(t) is marks[k] for t in self.told_missing) for k in due)
            out["missing_recall"] = told_due / len(due)
        out["missing_right"] = float(right)
        return out


def macro_f1(confusion: Counter[tuple[str, str]], least: int = 10) -> float | None:
    """Return the mean F1 over the classes that truly occur at least ``least`` times."""
    scores = []
    for cls in CLASSES:
        true = sum(n for (t, _), n in confusion.items() if t == cls)
        said = sum(n for (_, s), n in confusion.items() if s == cls)
        both = confusion.get((cls, cls), 0)
        if true >= least:
            scores.append(2.0 * both / (true + said))
    return float(np.mean(scores)) if scores else None


def confusion_table(confusion: Counter[tuple[str, str]]) -> str:
    """Return how often each true kind (rows) was told as which (columns), with the F1 of each, as plain text."""
    lines = ["true \\ told " + " ".join(f"{cls:>9}" for cls in CLASSES) + "        F1"]
    for cls in CLASSES:
        row = [confusion.get((cls, said), 0) for said in CLASSES]
        told = sum(confusion.get((true, cls), 0) for true in CLASSES)
        f1 = 2.0 * confusion.get((cls, cls), 0) / (sum(row) + told) if sum(row) + told else math.nan
        lines.append(f"{cls:<11} " + " ".join(f"{n:>9}" for n in row) + f" {f1:>9.3f}")
    return "\n".join(lines)


def calibration_error(pairs: list[tuple[float, bool]], n_bin: int = 10) -> float:
    """Return the expected calibration error: mean gap between confidence and rightness, weighed by bin."""
    groups: dict[int, list[tuple[float, bool]]] = defaultdict(list)
    for confidence, is_right in pairs:
        groups[min(n_bin - 1, int(confidence * n_bin))].append((confidence, is_right))
    return sum(
        abs(float(np.mean([c for c, _ in g])) - float(np.mean([r for _, r in g]))) * len(g) / len(pairs)
        for g in groups.values()
    )
