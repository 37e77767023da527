"""A wild scene drawn from its seed.

Ranges are wider than what the program's own physics holds; where a figure has no source, it is own choice, made to
cover what small-craft sets, installations and waters show.  What a scene
has in it that is wrong or hard is named among its ingredients.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import shapely

from moonless.boat.sets import GENERIC_SETS
from moonless.boat.types import Boat, Pulse, Skipper, StoppingTrial
from moonless.constants import NAUTICAL_MILE_M, SPEED_OF_LIGHT_MPS
from moonless.frames import LocalFrame
from moonless.scene.types import RadarUse, Scene, SceneObject, Script, Sensors, Skies
from moonless.scene.wild.fleet import Fleet, own_script
from moonless.scene.wild.types import (
    Antenna,
    Clutter,
    Curve,
    Ghosts,
    Other,
    Rain,
    Receiver,
    Sea,
    Wild,
)  # fmt: skip
from moonless.scene.wild.waters import FAMILIES, WildGround, chart_of, ground_of, land_of
from moonless.units import KNOT_MPS

START_NS = 2_013_500_400 * 1_000_000_000
ORIGIN = LocalFrame(-12.4, -118.3)
SCALES_NM = (0.5, 0.75, 1.0, 1.5, 2.0, 3.0, 4.0, 6.0, 12.0)
SCALE_WEIGHTS = (0.06, 0.14, 0.16, 0.22, 0.14, 0.14, 0.05, 0.07, 0.02)
MOST_TURNS = 75


def wild_of(seed: int) -> Wild:
    """Return the scene of a seed: the same seed gives the same scene."""
    rng = np.random.default_rng([seed, 7])
    marks: list[str] = []
    # Whatever was added later draws from numbers of its own, so that older seeds stay what they were.
    later = np.random.default_rng([seed, 8])
    family = str(rng.choice(FAMILIES, p=(0.2, 0.17, 0.13, 0.14, 0.12, 0.12, 0.12)))
    antenna = _antenna(family, rng, marks)
    receiver = _receiver(antenna, rng, marks)
    wind_from = float(rng.uniform(0.0, 2.0 * math.pi))
    wind_kn = float(rng.choice([rng.uniform(1.0, 8.0), rng.uniform(8.0, 18.0), rng.uniform(18.0, 32.0)]))
    sea = _sea(family, wind_from, wind_kn, antenna, rng, marks)
    rain = _rain(wind_from, antenna, rng, marks)
    ground = ground_of(family, antenna.range_m, rng)
    has_chart = family != "open sea" and rng.random() < 0.93
    duration = float(np.clip(45.0 * antenna.turn_s, 75.0, 120.0))
    duration = min(duration, MOST_TURNS * antenna.turn_s)
    own = own_script(ground, duration, rng, marks)
    fleet = Fleet(ground, antenna, own, duration, rng, marks)
    fleet.fill(family)
    if later.random() < 0.15:
        antenna = replace(antenna, is_true=True)
        marks.append("true angles")
    if family == "harbour":
        fleet.moor(later)
    shift, land = (0.0, 0.0), None
    if ground is not None:
        charted, uncharted, shift = _chart(ground, has_chart, rng, marks)
        land = land_of(ground, charted, uncharted, rng)
    charted_marks = fleet.marks(shift) if has_chart else ()
    ghosts, far = _ghosts(ground, antenna, fleet, rng, marks)
    sensors = _sensors(rng, marks)
    # Without a chart nothing tells of a bias, and against one that is bent little does: then they are small, so that
    # what is asked for can be known.
    known = 0.1 if not has_chart else 0.3 if "chart off" in marks else 1.0
    sensors = replace(sensors, heading_bias_rad=known * sensors.heading_bias_rad)
    antenna = replace(antenna, bearing_bias_rad=known * antenna.bearing_bias_rad)
    if known < 1.0:
        marks = [one for one in marks if one not in ("heading bias", "bearing bias")]
    things = fleet.things()
    boat = _boat(antenna, rng, marks)
    marks.append(family)
    scene = Scene(
        f"wild-{seed}", family, seed, START_NS, duration, ORIGIN, 0.5, boat, False,
        RadarUse(scale_nm=antenna.range_m / NAUTICAL_MILE_M, n_spoke=antenna.n_spoke, n_cell=antenna.n_cell), own,
        skies=Skies(wind_from, wind_kn * KNOT_MPS), sensors=sensors,
        objects=tuple(
            SceneObject(t.name, t.kind, t.script, t.rcs_m2, t.height_m, t.length_m, t.beam_m, 1, t.casts_shadow, t.ais)
            for t in things
            if t.ais is not None
        ),
    )  # fmt: skip
    others = _others(rng, antenna, marks)
    return Wild(
        seed, family, tuple(dict.fromkeys(marks)), scene, antenna, receiver, sea, rain, others, ghosts, things, land,
        charted_marks, has_chart, shift, far,
    )  # fmt: skip


def _antenna(family: str, rng: np.random.Generator, marks: list[str]) -> Antenna:
    scale = float(rng.choice(SCALES_NM, p=SCALE_WEIGHTS))
    if family in ("river", "harbour"):
        scale = min(scale, 1.5)
    if scale >= 4.0:
        marks.append("long scale")
    range_m = scale * NAUTICAL_MILE_M
    n_cell = int(rng.choice([256, 320, 384, 512]))
    beam_deg = float(np.exp(rng.uniform(math.log(0.8), math.log(6.0))))
    if beam_deg > 4.2:
        marks.append("wide beam")
    # As many spokes as sets of that beam send: at least three a beam.
    n_spoke = int(rng.choice([512, 720, 1024]))
    if beam_deg < 1.5:
        n_spoke = max(n_spoke, 720)
    rpm = float(rng.choice([12.0, 20.0, 22.0, 24.0, 24.0, 26.0, 30.0, 36.0, 48.0, 60.0]))
    if rpm <= 16.0:
        marks.append("slow antenna")
    cell = range_m / n_cell
    pulse = max(float(rng.uniform(6.0, 20.0)) if scale <= 0.75 else float(rng.uniform(15.0, 45.0)), 1.2 * cell)
    if scale >= 3.0:
        pulse = max(pulse, float(rng.uniform(40.0, 120.0)))
    vary, step, twice, missing = 0.0, 0.0, 0.0, 0.0
    if rng.random() < 0.35:
        marks.append("spoke jitter")
        vary = float(rng.uniform(0.002, 0.03))
        step = float(rng.choice([0.0, 2.0 * math.pi / 2048, 2.0 * math.pi / 4096]))
        twice = float(rng.choice([0.0, 0.01, 0.05]))
        missing = float(rng.choice([0.0, 0.01, 0.04]))
    blind: tuple[tuple[float, float], ...] = ()
    told = True
    if rng.random() < 0.2:
        marks.append("blind sector")
        middle, half = rng.uniform(math.radians(100.0), math.radians(260.0)), math.radians(rng.uniform(4.0, 25.0))
        blind = ((float(middle - half), float(middle + half)),)
        told = bool(rng.random() < 0.7)
        if not told:
            marks.append("blind sector untold")
    bias = 0.0
    if rng.random() < 0.25:
        bias = math.radians(float(rng.uniform(-2.0, 2.0)))
        marks.append("bearing bias")
    gain = float(rng.uniform(10.0, 28.0)) + 40.0 * math.log10(max(1.0, scale / 3.0))
    return Antenna(
        math.radians(beam_deg), float(rng.uniform(-30.0, -20.0)), float(rng.uniform(-36.0, -26.0)), pulse, range_m,
        n_spoke, n_cell, 60.0 / rpm, float(rng.uniform(3.0, 15.0)), gain, int(rng.choice([1, 2, 4, 8])),
        float(rng.uniform(600.0, 3_000.0)), math.radians(float(rng.choice([0.0, 0.0, rng.uniform(-10.0, 10.0)]))), bias,
        blind, told, vary, step, twice, missing, max(20.0, 1.2 * pulse),
    )  # fmt: skip


def _receiver(antenna: Antenna, rng: np.random.Generator, marks: list[str]) -> Receiver:
    curves: tuple[Curve, ...] = ("log", "log", "linear", "sqrt")
    curve = curves[int(rng.integers(len(curves)))]
    depth = str(rng.choice(["8", "8", "8", "4 wide", "4", "3 wide", "2 wide", "12"]))
    levels, full, bits = {
        "8": (256, 255, 8), "4 wide": (16, 240, 8), "4": (16, 15, 8), "3 wide": (8, 224, 8), "2 wide": (4, 192, 8),
        "12": (4096, 4095, 16),
    }[depth]  # fmt: skip
    if levels < 256:
        marks.append("few levels" if levels > 4 else "two bits")
    if depth == "12":
        marks.append("12 bit")
    if curve != "log":
        marks.append(curve + " receiver")
    zero = float(rng.uniform(-12.0, 3.0))
    span = float(rng.uniform(40.0, 75.0)) if curve == "log" else float(rng.uniform(22.0, 45.0))
    if rng.random() < 0.12:
        marks.append("gain too low")
        zero += float(rng.uniform(4.0, 9.0))
    elif rng.random() < 0.12:
        marks.append("gain too high")
        zero -= float(rng.uniform(4.0, 10.0))
        span = min(span, 40.0)
    threshold = None
    if rng.random() < 0.25:
        marks.append("set threshold")
        threshold = float(rng.uniform(4.0, 11.0))
    elif levels <= 16:
        # With few steps the set puts the first of them over the noise, or the picture would be full.
        zero = max(zero, float(rng.uniform(3.0, 8.0)) - (span / (levels - 1) if curve == "log" else 0.0))
    stc_db, reach = 0.0, 500.0
    if rng.random() < 0.4:
        marks.append("stc")
        stc_db, reach = float(rng.uniform(6.0, 35.0)), float(rng.uniform(300.0, 1_500.0))
    return Receiver(curve, zero, span, levels, full, bits, stc_db, min(reach, antenna.range_m), threshold)


def _sea(
    family: str, wind_from: float, wind_kn: float, antenna: Antenna, rng: np.random.Generator, marks: list[str]
) -> Sea:
    sheltered = family in ("river", "harbour", "anchorage")
    strength = wind_kn * (0.4 if sheltered else 1.0)
    kinds: tuple[Clutter, ...] = ("rayleigh", "k", "pareto", "weibull", "lognormal")
    kind = kinds[int(rng.integers(len(kinds)))]
    shape = {
        "rayleigh": 1.0, "k": float(np.exp(rng.uniform(math.log(0.3), math.log(8.0)))),
        "pareto": float(rng.uniform(2.2, 8.0)),
        "weibull": float(rng.uniform(0.45, 1.0)), "lognormal": float(rng.uniform(0.3, 1.2)),
    }[kind]  # fmt: skip
    cnr = -12.0 + 1.6 * strength + float(rng.normal(0.0, 6.0))
    cnr = min(cnr, 38.0)
    to = wind_from + math.pi + float(rng.normal(0.0, 0.3))
    run = KNOT_MPS * float(rng.uniform(2.0, 9.0))
    drift = (run * math.sin(to), run * math.cos(to))
    swell = swell_depth = crests = crest_rcs = 0.0
    crest_velocity = (0.0, 0.0)
    breeze = breeze_db = 0.0
    if cnr > 8.0:
        marks.append(f"{kind} clutter")
    if cnr > 0.0 and not sheltered and rng.random() < 0.35:
        marks.append("swell")
        swell, swell_depth = float(rng.uniform(40.0, 180.0)), float(rng.uniform(0.3, 0.95))
    if strength > 12.0 and rng.random() < 0.5:
        marks.append("breaking crests")
        crests, crest_rcs = float(rng.uniform(0.5, 8.0)), float(np.exp(rng.uniform(math.log(0.03), math.log(0.8))))
        fast = KNOT_MPS * float(rng.uniform(5.0, 10.0))
        crest_velocity = (fast * math.sin(to), fast * math.cos(to))
    if wind_kn < 10.0 and rng.random() < 0.45:
        marks.append("light breeze")
        breeze, breeze_db = float(rng.uniform(80.0, 350.0)), float(rng.uniform(5.0, 22.0))
    return Sea(
        kind, shape, cnr, float(rng.uniform(2.3, 3.6)), 120.0 * antenna.height_m * float(rng.uniform(0.5, 2.0)),
        wind_from,
        float(rng.uniform(2.0, 12.0)), float(np.exp(rng.uniform(math.log(8.0), math.log(60.0)))),
        float(np.exp(rng.uniform(math.log(0.5), math.log(15.0)))), drift, swell, swell_depth, crests, crest_rcs,
        crest_velocity, breeze, breeze_db,
    )  # fmt: skip


def _rain(wind_from: float, antenna: Antenna, rng: np.random.Generator, marks: list[str]) -> tuple[Rain, ...]:
    if rng.random() > 0.28:
        return ()
    squall = rng.random() < 0.35
    marks.append("squall" if squall else "rain cells")
    out = []
    to = wind_from + math.pi + float(rng.normal(0.0, 0.25))
    speed = KNOT_MPS * float(rng.uniform(13.0, 18.0))
    for _ in range(1 if squall else int(rng.integers(1, 5))):
        away, bearing = antenna.range_m * rng.uniform(0.15, 0.8), rng.uniform(0.0, 2.0 * math.pi)
        size = (
            float(rng.uniform(0.03, 0.14)) * antenna.range_m
            if not squall
            else float(rng.uniform(0.1, 0.25)) * antenna.range_m
        )
        size = max(size, 90.0)
        long = float(rng.uniform(1.0, 2.5)) if not squall else float(rng.uniform(2.0, 5.0))
        out.append(
            Rain(
                (float(away * math.sin(bearing)), float(away * math.cos(bearing))), size * long, size,
                to + math.pi / 2.0, (speed * math.sin(to), speed * math.cos(to)),
                float(rng.uniform(4.0, 24.0)), float(rng.uniform(0.2, 1.1)), float(rng.uniform(0.0, 2.5)),
            )
        )  # fmt: skip
    return tuple(out)


def _chart(
    ground: WildGround, has_chart: bool, rng: np.random.Generator, marks: list[str]
) -> tuple[shapely.Geometry, shapely.Geometry, tuple[float, float]]:
    nothing = shapely.Polygon()
    if not has_chart:
        marks.append("no chart")
        return nothing, nothing, (0.0, 0.0)
    off = 0.0
    if rng.random() < 0.4:
        off = float(np.exp(rng.uniform(math.log(5.0), math.log(200.0))))
        marks.append("chart off" if off > 25.0 else "chart slightly off")
    charted, _ = chart_of(ground, off, rng)
    shift = (0.0, 0.0)
    if off == 0.0 and rng.random() < 0.2:
        by, angle = float(np.exp(rng.uniform(math.log(5.0), math.log(120.0)))), rng.uniform(0.0, 2.0 * math.pi)
        shift = (float(by * math.sin(angle)), float(by * math.cos(angle)))
        charted = shapely.affinity.translate(charted, -shift[0], -shift[1])
        marks.append("chart datum off")
    uncharted = nothing
    if rng.random() < 0.12:
        # Only where there is room for it.
        for _ in range(20):
            away, bearing = rng.uniform(300.0, 1_500.0), rng.uniform(0.0, 2.0 * math.pi)
            islet = shapely.Point(away * math.sin(bearing), away * math.cos(bearing)).buffer(rng.uniform(15.0, 50.0))
            if shapely.distance(islet, shapely.union(ground.land, charted)) > 150.0:
                uncharted = islet
                marks.append("uncharted islet")
                break
    return charted, uncharted, shift


def _ghosts(
    ground: WildGround | None, antenna: Antenna, fleet: Fleet, rng: np.random.Generator, marks: list[str]
) -> tuple[Ghosts, tuple[tuple[float, float, float], ...]]:
    mast: tuple[float, ...] = ()
    hulls = walls = multiple = None
    second = False
    far: list[tuple[float, float, float]] = []
    if rng.random() < 0.2:
        marks.append("mast ghosts")
        mast = tuple(float(v) for v in rng.uniform(math.radians(90.0), math.radians(270.0), int(rng.integers(1, 3))))
    if fleet.has_ship and rng.random() < 0.45:
        marks.append("hull ghosts")
        hulls = float(rng.uniform(-38.0, -20.0))
    if fleet.has_ship and rng.random() < 0.4:
        marks.append("multiple echoes")
        multiple = float(rng.uniform(-35.0, -18.0))
    if ground is not None and (ground.walls or ground.bridges) and rng.random() < 0.6:
        marks.append("wall ghosts")
        walls = float(rng.uniform(-25.0, -8.0))
    if rng.random() < 0.12:
        marks.append("second trace")
        second = True
        interval = 0.5 * SPEED_OF_LIGHT_MPS / antenna.prf_hz
        for _ in range(int(rng.integers(1, 4))):
            # Ducted, or they would not be heard: cross-sections that stand for what reaches that far.
            reach, bearing = interval + rng.uniform(0.1, 0.9) * antenna.range_m, rng.uniform(0.0, 2.0 * math.pi)
            loud = 10.0 ** rng.uniform(1.2, 3.0)
            k = 10.0 ** (antenna.gain_db / 10.0) * NAUTICAL_MILE_M**4 / 10.0
            far.append(
                (float(reach * math.sin(bearing)), float(reach * math.cos(bearing)), float(loud * reach**4 / k / 6.0))
            )
    return Ghosts(mast, float(rng.uniform(-40.0, -22.0)), hulls, walls, multiple, second), tuple(far)


def _sensors(rng: np.random.Generator, marks: list[str]) -> Sensors:
    bias = 0.0
    if rng.random() < 0.3:
        bias = math.radians(float(rng.uniform(-3.0, 3.0)))
        marks.append("heading bias")
    offset = (0.0, 0.0)
    if rng.random() < 0.25:
        by, angle = float(rng.uniform(4.0, 25.0)), rng.uniform(0.0, 2.0 * math.pi)
        offset = (by * math.sin(angle), by * math.cos(angle))
        marks.append("position bias")
    return Sensors(
        bias, math.radians(float(rng.uniform(0.1, 0.8))), offset, float(rng.uniform(0.5, 3.0)),
        heading_hz=float(rng.choice([1.0, 5.0, 10.0, 10.0])),
    )  # fmt: skip


def _others(rng: np.random.Generator, antenna: Antenna, marks: list[str]) -> tuple[Other, ...]:
    if rng.random() > 0.2:
        return ()
    marks.append("interference")
    out = []
    for _ in range(int(rng.integers(1, 4))):
        half = math.pi if rng.random() < 0.3 else math.radians(float(rng.uniform(5.0, 60.0)))
        step = float(rng.uniform(-60.0, 60.0)) % (4 * antenna.n_cell)
        out.append(
            Other(
                float(rng.uniform(0.0, 2.0 * math.pi)),
                half,
                step,
                int(rng.integers(1, 4)),
                float(rng.uniform(10.0, 45.0)),
            )
        )
    return tuple(out)


def _boat(antenna: Antenna, rng: np.random.Generator, marks: list[str]) -> Boat:
    """The boat as her file has her: the set's class by its beam, with what the owner can read off the set."""
    base = min(GENERIC_SETS.values(), key=lambda s: abs(math.log(s.beam_horizontal_rad / antenna.beam_rad)))
    height = antenna.height_m
    if rng.random() < 0.2:
        height *= float(rng.uniform(0.7, 1.4))
        marks.append("height wrong in the file")
    pulse_s = 2.0 * antenna.pulse_m / SPEED_OF_LIGHT_MPS
    radar = replace(
        base,
        beam_horizontal_rad=antenna.beam_rad,
        rotation_hz=1.0 / antenna.turn_s,
        pulses=(Pulse(96.0, pulse_s, antenna.prf_hz, 1.2 / pulse_s),),
        height_m=height,
        bow_offset_rad=antenna.bow_offset_rad,
        blind_sectors_rad=antenna.blind_rad if antenna.blind_is_told else (),
        min_range_m=antenna.min_range_m,
        angle_from="true" if antenna.is_true else "bow",
    )
    return Boat(
        "Wild", 9.0, 3.0, 0.9, 4.0, 2.5, radar, stopping=(StoppingTrial(4.1, 25.0), StoppingTrial(10.3, 70.0)),
        skipper=Skipper(),
    )  # fmt: skip


def still(at: tuple[float, float], heading_rad: float = 0.0) -> Script:
    """Return the script of what does not move."""
    return Script(at, heading_rad, 0.0)
