"""What is said at the helm, held against what was there: ``python -m bench helm_words [SCENE...]``.

Without a scene: the demo's story and seven scenes of dense and of calm traffic, all of the project's own radar model.
Each is played through the whole chain, and what its readings say is held against the truth of the scene afterwards,
when it is known how near everything came:

- ``sentences_per_minute``, ``words_per_minute``: what would be spoken.
- ``headline_share_3``, ``_4``: turns over which a sentence of that urgency or more stands on the sheet.
- ``contradictions``: turns in which what stands on the sheet forbids what else stands there: a course to keep beside a
  turn or a speed offered, turns to both sides, two rules' roles for one vessel.
- ``role_changes``: a vessel's role told anew and differently before she is past and clear.
- ``headline_wrong_share``: turns in which the headline's distance is out by a quarter and half a cable.
- ``false_calls``: urgent sentences about a vessel where none is, or about one that never comes inside her keep-off.
- ``missed``: passes nearer than a hundred metres that could be seen a minute before and were not called by then.
- ``young_calls``: vessels called before they had been told for two turns.

Limits and their reasons stand in docs/helm.md.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from bench.result import Result
from bench.scenes.built_in import scene_files
from moonless.reading.types import Call, Reading
from moonless.scene.file import demo_folder, load_scene
from moonless.scene.player import ScenePlayer, SceneTurn

NAMES = ("helm_words",)
TAKES_REST = True
SCENES = (
    "crossing-traffic", "dense-anchorage", "overtaking-in-shadow", "hidden-launch", "river", "quiet", "bridge",
)  # fmt: skip
# Screens let a sentence stand for so long.
STANDS_S = 25.0
URGENT = 3
# An echo is of a thing this near: two beams' worth at the range of a close call, and the boat's own doubt.
SAME_M, SAME_SHARE = 40.0, 0.05
CABLE_M = 185.2
CLOSE_M, AHEAD_S = 100.0, 60.0
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
        self.turns.append((t, reading))
        self.whose.append(whose)

    def standing(self, t: float) -> list[_Said]:
        """Return what stands on the sheet at a time, the newest of each matter, most urgent first."""
        newest: dict[object, _Said] = {}
        for one in self.said:
            if one.t <= t < one.t + STANDS_S:
                newest[_matter(one.call)] = one
        return sorted(newest.values(), key=lambda s: (-s.call.urgency, -s.t))

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
        heads = [self.standing(t) for t, _ in self.turns]
        for urgency in (3, 4):
            out[f"headline_share_{urgency}"] = sum(bool(h) and h[0].call.urgency >= urgency for h in heads) / n
        out["contradictions"] = float(sum(_contradict(h, r) for h, (_, r) in zip(heads, self.turns, strict=True)))
        out["role_changes"] = float(self._role_changes())
        out["headline_wrong_share"] = self._headline_wrong(heads) / n
        out["false_calls"] = float(len({(s.call.echo, s.thing) for s in self.said if self._is_false(s)}))
        due, missed = self._missed()
        out["close_passes"], out["missed"] = float(due), float(missed)
        first = {}
        for s in self.said:
            if s.call.echo is not None and s.call.urgency >= URGENT:
                first.setdefault(s.call.echo, s)
        out["young_calls"] = float(sum(s.turns_told < 2 for s in first.values()))
        return out

    def _role_changes(self) -> int:
        last: dict[str, tuple[str, float]] = {}
        changes = 0
        for s in self.said:
            role = _role(s.call.say)
            if s.thing is None or role is None:
                continue
            before = last.get(s.thing)
            if before is not None and before[0] != role:
                _, when = self.things[s.thing].least_after(before[1] - 1.0, s.t + SOON_S)
                if s.t <= when + PAST_S:
                    changes += 1
            last[s.thing] = (role, s.t)
        return changes

    def _headline_wrong(self, heads: list[list[_Said]]) -> int:
        wrong = 0
        for (t, _), head in zip(self.turns, heads, strict=True):
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


def _matter(call: Call) -> object:
    return getattr(call, "key", None) or (call.echo, re.sub(r"[\d.,]+", "#", call.say))


def _role(say: str) -> str | None:
    found = re.findall(r"Rules? (\d+)", say)
    return " ".join(found) if found else None


_KEEP = re.compile(r"keep course|^hold\b", re.IGNORECASE)


def _contradict(standing: list[_Said], reading: Reading) -> bool:
    words = [s.call.say for s in standing]
    keeps = any(_KEEP.search(w) for w in words)
    offer = reading.manoeuvres
    if keeps and offer is not None and (offer.turn is not None or offer.slow is not None):
        return True
    sides = {
        side
        for w in words
        for side in ("starboard", "port")
        if re.search(rf"(?:alter|turn)\w* (?:course )?to {side}", w, re.I)
    }
    roles: dict[int, set[str]] = {}
    for s in standing:
        if s.call.echo is not None:
            roles.setdefault(s.call.echo, set()).update(re.findall(r"Rule (\d+)", s.call.say))
    return len(sides) == 2 or any(len({"13", "14", "15"} & r) > 0 and "19" in r for r in roles.values())


def listen(path: Path) -> Words:
    """Play a scene through the chain and keep what it says."""
    from moonless.watch.pipeline.chain import Chain

    player = ScenePlayer(load_scene(path))
    scene = player.scene
    from moonless.chart.library import Chart

    chain = Chain(scene.boat, Chart.open(scene.waters.paths) if scene.waters.paths else None, None)
    words = Words(scene.boat.skipper.keep_off_m)
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
        waiting = turn
    return words


def run(names: Sequence[str], rest: Sequence[str] = ()) -> Iterator[Result]:
    """Yield each scene's figures."""
    paths = scene_files(rest) if rest else [demo_folder() / "story.toml", *scene_files(SCENES)]
    for path in paths:
        for name, value in listen(path).figures().items():
            yield Result(f"helm_words.{path.stem}.{name}", value, "1")
