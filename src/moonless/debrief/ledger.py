"""A run as columns, one row a turn: what the rest of this room is worked out from."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import TypedDict

import numpy as np
from numpy.typing import NDArray

from moonless.errors import SourceError
from moonless.frames import LocalFrame
from moonless.reading.line import (
    CallLine,
    FaultLine,
    InstructionLine,
    ManoeuvresLine,
    MissingLine,
    ReadingLine,
    SpeedLine,
)
from moonless.units import NS_PER_S
from moonless.watch.afterwards.told import ToldTurn

Floats = NDArray[np.float64]

# A turn stands for the time to the next one, but for no longer than this: where nothing was told nothing is counted.
LONGEST_STEP_S = 5.0
# Hidden water counts where it lies in the way: so far to either hand of the course.
AHEAD_RAD = math.radians(67.5)
HIDDEN_BY = ("land", "vessel")


class LineKept(TypedDict):
    """What a line said beside its figures."""

    calls: Sequence[CallLine]
    instruction: InstructionLine | None
    missing: Sequence[MissingLine]
    faults: Sequence[FaultLine]
    speed: SpeedLine
    manoeuvres: ManoeuvresLine | None


@dataclass(frozen=True, slots=True)
class VesselTold:
    """One turn's word of a vessel; metres in the run's frame."""

    row: int
    east_m: float
    north_m: float
    range_m: float
    sog_kn: float
    cog_deg: float | None
    cpa_m: float | None
    tcpa_s: float | None
    mmsi: int | None
    name: str | None


@dataclass(slots=True, eq=False)
class Ledger:
    """The run, turn by turn; NaN where a figure was not known.  All arrays (n,), by time."""

    frame: LocalFrame
    time_ns: NDArray[np.int64]
    step_s: Floats
    lat: Floats
    lon: Floats
    east_m: Floats
    north_m: Floats
    cog_deg: Floats
    sog_kn: Floats
    heading_deg: Floats
    advised_kn: Floats
    stopping_m: Floats
    seeing_m: Floats  # of the middle of the three sizes told
    hidden_m: Floats  # to the nearest hidden water in the way; inf: none
    bias_deg: Floats
    offset_east_m: Floats
    offset_north_m: Floats
    agrees: Floats  # 1, 0
    performance_db: Floats
    depth_m: Floats
    keep_off_m: Floats  # as told with a manoeuvre
    lines: list[LineKept]  # calls, instruction, missing, faults, because
    vessels: dict[int, list[VesselTold]] = field(default_factory=dict)
    told: dict[int, int] = field(default_factory=dict)  # turns in which each track was told as anything

    @property
    def time_s(self) -> Floats:
        """Seconds from the beginning of the run."""
        return np.asarray((self.time_ns - self.time_ns[0]) / NS_PER_S, dtype=np.float64)

    def seconds(self, where: NDArray[np.bool_]) -> float:
        """Return for how long something held."""
        return float(self.step_s[where].sum())


def ledger_of(turns: Iterable[ToldTurn]) -> Ledger:
    """Return a run as columns.  Raises SourceError if the boat's position was never known on it."""
    rows: list[dict[str, float]] = []
    times: list[int] = []
    lines: list[LineKept] = []
    vessels: dict[int, list[VesselTold]] = {}
    told: dict[int, int] = {}
    frame: LocalFrame | None = None
    for turn in turns:
        line = turn.line
        own = line["own"]
        if frame is None:
            if own["lat"] is None or own["lon"] is None:
                continue
            frame = LocalFrame(own["lat"], own["lon"])
        rows.append(_row(line, turn.depth_m, frame))
        times.append(turn.time_ns)
        lines.append(
            {
                "calls": line.get("calls", ()), "instruction": line.get("instruction"), "missing": line["missing"],
                "faults": line.get("faults", ()), "speed": line["speed"], "manoeuvres": line.get("manoeuvres"),
            }
        )  # fmt: skip
        _add_vessels(vessels, line, len(rows) - 1, frame)
        for echo in line["echoes"]:
            told[echo["id"]] = told.get(echo["id"], 0) + 1
    if frame is None or len(rows) < 2:
        raise SourceError("own position was never known on this run: there is nothing to tell of it")
    time_ns = np.array(times, dtype=np.int64)
    step = np.minimum(np.diff(time_ns) / NS_PER_S, LONGEST_STEP_S)
    columns = {name: np.array([row[name] for row in rows]) for name in rows[0]}
    return Ledger(frame, time_ns, np.append(step, 0.0), lines=lines, vessels=vessels, told=told, **columns)


def _row(line: ReadingLine, depth_m: float | None, frame: LocalFrame) -> dict[str, float]:
    own, registration, seeing = line["own"], line["registration"], line.get("seeing") or []
    lat, lon = _figure(own["lat"]), _figure(own["lon"])
    east, north = (math.nan, math.nan) if math.isnan(lat) else frame.to_plane(lat, lon)
    agrees, manoeuvres = registration.get("agrees"), line.get("manoeuvres")
    return {
        "lat": lat,
        "lon": lon,
        "east_m": float(east),
        "north_m": float(north),
        "cog_deg": _figure(own["cog_deg"]),
        "sog_kn": _figure(own["sog_kn"]),
        "heading_deg": _figure(own["heading_deg"]),
        "advised_kn": _figure(line["speed"]["advised_kn"]),
        "stopping_m": _figure(line["stopping_m"]),
        "seeing_m": _figure(seeing[len(seeing) // 2]["range_m"]) if seeing else math.nan,
        "hidden_m": _hidden_m(line, lat, lon),
        "bias_deg": _figure(registration.get("heading_bias_deg")),
        "offset_east_m": _figure(registration.get("east_m")),
        "offset_north_m": _figure(registration.get("north_m")),
        "agrees": math.nan if agrees is None else float(agrees),
        "performance_db": _figure(line.get("performance_db")),
        "depth_m": _figure(depth_m),
        "keep_off_m": math.nan if manoeuvres is None else float(manoeuvres["keep_off_m"]),
    }


def _hidden_m(line: ReadingLine, lat: float, lon: float) -> float:
    """Return metres to the nearest corner of hidden water in the way; NaN where it is not known what is hidden."""
    hidden, course = line.get("hidden"), line["own"]["cog_deg"]
    if hidden is None or math.isnan(lat) or course is None:
        return math.nan
    rings = [f["geometry"]["coordinates"][0] for f in hidden["features"] if f["properties"]["by"] in HIDDEN_BY]
    if not rings:
        return math.inf
    at = np.concatenate([np.asarray(ring, dtype=np.float64) for ring in rings])
    # A plane is exact to a centimetre over the few hundred metres that matter here.
    north = (at[:, 1] - lat) * 111_132.9
    east = (at[:, 0] - lon) * 111_319.5 * math.cos(math.radians(lat))
    off = np.arctan2(east, north) - math.radians(course)
    ahead = np.abs((off + math.pi) % math.tau - math.pi) <= AHEAD_RAD
    return float(np.min(np.hypot(east[ahead], north[ahead]), initial=math.inf))


def _add_vessels(vessels: dict[int, list[VesselTold]], line: ReadingLine, row: int, frame: LocalFrame) -> None:
    for echo in line["echoes"]:
        if echo["is"] != "vessel":
            continue
        east, north = frame.to_plane(echo["lat"], echo["lon"])
        ais = echo["ais"]
        vessels.setdefault(echo["id"], []).append(
            VesselTold(
                row, float(east), float(north), float(echo["range_m"]), float(echo["sog_kn"]), echo["cog_deg"],
                echo["cpa_m"], echo["tcpa_s"], None if ais is None else ais["mmsi"],
                None if ais is None else ais["name"],
            )
        )  # fmt: skip


def _figure(value: float | None) -> float:
    return math.nan if value is None else float(value)
