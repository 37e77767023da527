"""What is said at the helm, held against what was there: ``python -m bench helm_words [SCENE...]``.

Without a scene: the demo's story, without its route and along it, and seven scenes of dense and of calm traffic, all of
the project's own radar model; ``story`` and ``story-route`` are the demo's by name.  Each is played through the whole
chain, and what its readings say is held against the truth of the scene afterwards, when it is known how near all came:

- ``sentences_per_minute``, ``words_per_minute``: what would be spoken.
- ``headline_share_3``, ``_4``: turns over which a sentence of that urgency or more stands on the sheet.
- ``contradictions``: turns in which what stands on the sheet forbids what else stands there: a change offered beside an
  order to hold, a turn offered to the other side than the order's, words of an order that is not the one that stands,
  and, for twenty seconds and more, another order as the last one spoken.
- ``role_changes``: our role towards a vessel (the rule told, or that she gives way) told differently before she is past
  and clear, though the boat has held her course.
- ``orders_per_minute``, ``order_flips``: how often another order stands (another verb or side, or about another thing),
  and how often one comes back within half a minute after another stood between: a helmsman cannot steer by those.
- ``headline_wrong_share``: turns in which the headline's distance is out by a quarter and half a cable.
- ``false_calls``: urgent sentences about a vessel where none is, or about one that never comes inside her keep-off.
- ``missed``: passes nearer than a hundred metres that could be seen a minute before and were not called by then.
- ``young_calls``: vessels called before they had been told for two turns.

Limits and their reasons stand in docs/helm.md.
"""

from __future__ import annotations

import itertools
import math
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from bench.result import Result
from bench.scenes.built_in import scene_files
from moonless.frames import wrap_180
from moonless.passage.way.follow import Follower
from moonless.passage.way.route import Route, read_gpx
from moonless.reading.alerts.standing import StandingCalls
from moonless.reading.types import Call, Reading
from moonless.scene.file import demo_folder, load_scene
from moonless.scene.player import ScenePlayer, SceneTurn
from moonless.units import kn_to_mps

NAMES = ("helm_words",)
TAKES_REST = True
STORIES = ("story", "story-route")
SCENES = (
    "crossing-traffic", "dense-anchorage", "overtaking-in-shadow", "hidden-launch", "river", "quiet", "bridge",
)  # fmt: skip
URGENT = 3
# An echo is of a thing this near: two beams' worth at the range of a close call, and the boat's own doubt.
SAME_M, SAME_SHARE = 40.0, 0.05
CABLE_M = 185.2
CLOSE_M, AHEAD_S = 100.0, 60.0
# A role that changes though the course was held so closely is a contradiction in time.
HELD_DEG = 12.0
FLIP_S, HEARD_S = 30.0, 20.0
# A call is of a pass within so long.
SOON_S = 480.0
PAST_S = 20.0


@dataclass(slots=True)
class _Thing:
    """One thing of the scene through time: (seconds, distance, could be seen, is a vessel)."""

    name: str
    is_vessel: bool
    far: list[tuple[float, float, bool]] = field(default_factory=list)

    def least_after(self, t: float, until: float) -> tuple[float, float]:
        """Return (least distance, when) within a time."""
        return min(((d, s) for s, d, _ in self.far if t <= s <= until), default=(math.inf, t))

    def at(self, t: float) -> float | None:
        near = min(self.far, key=lambda row: abs(row[0] - t), default=None)
        return None if near is None or abs(near[0] - t) > 5.0 else near[1]


@dataclass(frozen=True, slots=True)
class _Said:
    t: float
    call: Call
    thing: str | None
    range_m: float | None  # as told when it was said
    turns_told: int


@dataclass(slots=True)
class Words:
    """All that was said over one scene."""

    keep_off_m: float
    things: dict[str, _Thing] = field(default_factory=dict)
    said: list[_Said] = field(default_factory=list)
    turns: list[tuple[float, Reading]] = field(default_factory=list)
    whose: list[dict[int, str | None]] = field(default_factory=list)
    told_turns: dict[int, int] = field(default_factory=dict)
    sheet: StandingCalls = field(default_factory=StandingCalls)
    heads: list[list[_Said]] = field(default_factory=list)  # what stands on the sheet each turn, most urgent first

    def take(self, turn: SceneTurn, reading: Reading, frame_to_plane: object) -> None:
        """Take in one turn's truth and what was said of it."""
        t = reading.time_ns / 1e9
        own = turn.truth.own
        places: dict[str, tuple[float, float]] = {}
        for one in turn.truth.objects:
            places[one.name] = (one.east_m, one.north_m)
            thing = self.things.setdefault(one.name, _Thing(one.name, one.cls == "vessel"))
            able = one.seen is not None and not one.seen.hidden and one.seen.p_detect > 0.5
            thing.far.append((t, math.hypot(one.east_m - own.east_m, one.north_m - own.north_m), able))
        whose: dict[int, str | None] = {}
        for echo in reading.echoes:
            self.told_turns[echo.id] = self.told_turns.get(echo.id, 0) + 1
            east, north = frame_to_plane(echo.lat, echo.lon)  # type: ignore[operator]
            near = min(places, key=lambda k: math.hypot(places[k][0] - east, places[k][1] - north), default=None)
            reach = SAME_M + SAME_SHARE * echo.range_m + 0.5 * (echo.length_m or 0.0)
            far = math.inf if near is None else math.hypot(places[near][0] - east, places[near][1] - north)
            whose[echo.id] = near if far < reach else None
        ranges = {echo.id: echo.range_m for echo in reading.echoes}
        for call in reading.calls:
            thing_name = None if call.echo is None else whose.get(call.echo)
            told = 0 if call.echo is None else self.told_turns.get(call.echo, 0)
            self.said.append(_Said(t, call, thing_name, ranges.get(call.echo or -1), told))
        when = {(one.call.key, round(one.t * 1e3)): one for one in self.said[-64:]}
        stands = self.sheet.add(reading)
        self.heads.append([when[one.call.key, round(one.said_ns / 1e6)] for one in stands])
        self.turns.append((t, reading))
        self.whose.append(whose)

    def figures(self) -> dict[str, float]:
        """Return the figures by name."""
        if len(self.turns) < 2:
            return {}
        minutes = (self.turns[-1][0] - self.turns[0][0]) / 60.0
        n = len(self.turns)
        out = {
            "sentences_per_minute": len(self.said) / minutes,
            "words_per_minute": sum(len(s.call.say.split()) for s in self.said) / minutes,
            "longest_words": float(max((len(s.call.say.split()) for s in self.said), default=0)),
        }
        heads = self.heads
        for urgency in (3, 4):
            out[f"headline_share_{urgency}"] = sum(bool(h) and h[0].call.urgency >= urgency for h in heads) / n
        out["contradictions"] = float(self._contradictions())
        out["role_changes"] = float(self._role_changes())
        orders = self._orders()
        out["orders_per_minute"] = len(orders) / minutes
        thrice = zip(orders, orders[1:], orders[2:], strict=False)
        out["order_flips"] = float(sum(a[1:] == c[1:] and c[0] - b[0] < FLIP_S for a, b, c in thrice))
        out["headline_wrong_share"] = self._headline_wrong() / n
        out["false_calls"] = float(len({(s.call.echo, s.thing) for s in self.said if self._is_false(s)}))
        due, missed = self._missed()
        out["close_passes"], out["missed"] = float(due), float(missed)
        first = {}
        for s in self.said:
            if s.call.echo is not None and s.call.urgency >= URGENT:
                first.setdefault(s.call.echo, s)
        out["young_calls"] = float(sum(s.turns_told < 2 for s in first.values()))
        return out

    def _orders(self) -> list[tuple[float, str, int | None]]:
        """Return (since, order, whom it is about) of each order, in turn; what is only to be looked at is none."""
        told = [(t, _order_of(r), None if r.instruction is None else r.instruction.echo) for t, r in self.turns]
        return [next(group) for _, group in itertools.groupby((one for one in told if one[1]), key=lambda one: one[1:])]

    def _contradictions(self) -> int:
        spoken, since, wrong = "", -math.inf, 0
        for (t, reading), standing in zip(self.turns, self.heads, strict=True):
            order, offer = _order_of(reading), reading.manoeuvres
            for call in reading.calls:
                spoken = _order_in(call.say) or spoken
            if spoken == order or not order:
                since = t
            offers_other = offer is not None and (
                (order == "hold" and (offer.turn is not None or offer.slow is not None))
                or (offer.turn is not None and order == ("turn port" if offer.turn.turn_deg > 0 else "turn starboard"))
            )
            # Beside an order of the turn the screens show no call of what is met or ahead.
            shown = [s.call for s in standing if not order or (s.call.echo is None and not _OF_WAY.match(s.call.key))]
            says_other = any(_order_in(call.say) not in ("", order) for call in shown)
            wrong += offers_other or says_other or (spoken != "" and t - since > HEARD_S)
        return wrong

    def _role_changes(self) -> int:
        last: dict[str, tuple[str, float, float | None]] = {}
        changes = 0
        for (t, reading), whose in zip(self.turns, self.whose, strict=True):
            course = reading.own.cog_deg
            for echo, role in _roles(reading):
                name = whose.get(echo)
                if name is None:
                    continue
                before = last.get(name)
                if before is not None and before[0] != role and not _differ(before[2], course):
                    _, when = self.things[name].least_after(before[1] - 1.0, t + SOON_S)
                    changes += t <= when + PAST_S
                last[name] = (role, t, course)
        return changes

    def _headline_wrong(self) -> int:
        wrong = 0
        for (t, _), head in zip(self.turns, self.heads, strict=True):
            if not head or head[0].thing is None or head[0].range_m is None:
                continue
            true = self.things[head[0].thing].at(t)
            if true is not None and abs(true - head[0].range_m) > max(0.25 * true, 0.5 * CABLE_M):
                wrong += 1
        return wrong

    def _is_false(self, s: _Said) -> bool:
        if s.call.urgency < URGENT or s.call.echo is None:
            return False
        if s.thing is None:
            kind = next((e.kind for _, r in self.turns for e in r.echoes if e.id == s.call.echo), None)
            return kind == "vessel"
        least, _ = self.things[s.thing].least_after(s.t, s.t + SOON_S)
        return self.things[s.thing].is_vessel and least > self.keep_off_m

    def _missed(self) -> tuple[int, int]:
        due = missed = 0
        start = self.turns[0][0]
        for thing in self.things.values():
            least, when = thing.least_after(start, math.inf)
            before = [able for s, _, able in thing.far if when - AHEAD_S - 10.0 <= s <= when - AHEAD_S]
            if least > CLOSE_M or when - start < AHEAD_S + 30.0 or not before or not all(before):
                continue
            due += 1
            missed += not any(s.thing == thing.name and s.t <= when - AHEAD_S for s in self.said)
        return due, missed


_OF_WAY = re.compile(r"danger |speed|opening ")


def _order_of(reading: Reading) -> str:
    """Return the verb of the order that stands, and its side; "" for none, and for what is only to be looked at."""
    order = reading.instruction
    return "" if order is None or order.do == "look" else _order_in(order.say)


def _order_in(say: str) -> str:
    """Return the order that a sentence gives, by verb and side; "" where it gives none."""
    found = re.match(r"(turn (?:starboard|port)|slow|stop|hold)\b", say.lower())
    return found.group(1) if found else ""


def _roles(reading: Reading) -> Iterator[tuple[int, str]]:
    """Yield (echo, role) as told in a turn: the rule's number, and one name for all stages of standing on."""
    order = reading.instruction
    if order is not None and order.echo is not None and (found := re.search(r"Rule (\S+):", order.because)):
        yield order.echo, "she gives way" if found.group(1).startswith("17") else found.group(1)
    for call in reading.calls:
        if call.echo is not None and "gives way" in call.say:
            yield call.echo, "she gives way"


def _differ(first_deg: float | None, second_deg: float | None) -> bool:
    return first_deg is None or second_deg is None or abs(wrap_180(second_deg - first_deg)) > HELD_DEG


def listen(path: Path, route: Path | None = None) -> Words:
    """Play a scene through the chain, along a route where one is given, and keep what it says."""
    from moonless.watch.pipeline.chain import Chain

    player = ScenePlayer(load_scene(path))
    scene = player.scene
    from moonless.chart.library import Chart

    chain = Chain(scene.boat, Chart.open(scene.waters.paths) if scene.waters.paths else None, None)
    words = Words(scene.boat.skipper.keep_off_m)
    way = None if route is None else read_gpx(route)
    follower = None if way is None else Follower(way)
    waiting: SceneTurn | None = None
    for turn in player.turns():
        events = [(time_ns, 0, data) for time_ns, data in turn.radar]
        events += [(line.time_ns, 1, line.tagged()) for line in turn.nmea]
        events.sort(key=lambda event: (event[0], event[1]))
        told = []
        for time_ns, which, data in events:
            told += chain.feed_nmea(data, time_ns) if which else chain.feed_radar(data, time_ns)
        told += chain.tick(turn.truth.end_ns)
        for one in told:
            about = waiting if waiting is not None and one.reading.time_ns < turn.truth.start_ns + 50_000_000 else turn
            words.take(about, one.reading, scene.frame.to_plane)
            if way is not None and follower is not None:
                chain.given.way = _way_left(way, follower, one.reading)
        waiting = turn
    return words


def _way_left(way: Route, follower: Follower, reading: Reading) -> tuple[tuple[float, float], ...]:
    """Return the turns of the route still ahead, as the helm gives them to its chain."""
    own = reading.own
    if own.lat is None or own.lon is None:
        return ()
    sog = None if own.sog_kn is None else kn_to_mps(own.sog_kn)
    here = follower.at(own.lat, own.lon, sog, reading.time_ns / 1e9)
    return () if here is None else tuple((w.lat_deg, w.lon_deg) for w in way.waypoints[here.leg :])


def run(names: Sequence[str], rest: Sequence[str] = ()) -> Iterator[Result]:
    """Yield each scene's figures."""
    story, way = demo_folder() / "story.toml", demo_folder() / "route.gpx"
    for asked in rest or (*STORIES, *SCENES):
        path = story if asked in STORIES else scene_files([asked])[0]
        for name, value in listen(path, way if asked == "story-route" else None).figures().items():
            yield Result(f"helm_words.{asked}.{name}", value, "1")
