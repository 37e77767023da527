"""What the boat's instruments say on a made run: NMEA 0183 lines, each with its time.

Every line is preceded by a tag block with its Unix time in milliseconds (``\\c:1866345000250*hh\\``), so that a file of
them can be replayed in step.  Faults of `Sensors` are put in here and nowhere else.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime

import numpy as np
from numpy.typing import NDArray
from pyais import encode_dict

from moonless.frames import LocalFrame, wrap_360
from moonless.scene.motion import MotionAt, ScriptedMotion
from moonless.scene.types import Ais, Scene, SceneObject, Span
from moonless.units import NS_PER_S, mps_to_kn, ns_to_utc

Floats = NDArray[np.float64]

# A GNSS receiver's error wanders; this is the time in which it forgets.  Own choice.
POSITION_MEMORY_S = 40.0
# Reporting intervals of ITU-R M.1371-5 table 1: class A under way 10 s up to 14 kn, 6 s to 23 kn, 2 s above; at anchor
# 180 s; class B ("CS") 30 s above 2 kn, else 180 s.  Static data every 6 minutes.
STATIC_EVERY_S = 360.0


@dataclass(frozen=True, slots=True)
class Line:
    """One sentence as it leaves the wire."""

    time_ns: int
    sentence: str  # without tag block and line end

    def tagged(self) -> bytes:
        """Return the line as it stands in a file: tag block, sentence, line end."""
        tag = f"c:{self.time_ns // 1_000_000}"
        return f"\\{tag}*{_checksum(tag):02X}\\{self.sentence}\r\n".encode("ascii")


def _checksum(text: str) -> int:
    value = 0
    for character in text:
        value ^= ord(character)
    return value


def sentence(body: str) -> str:
    """Return a sentence with its start and checksum for a body such as ``HEHDT,123.4,T``."""
    return f"${body}*{_checksum(body):02X}"


def _angle(value_deg: float, width: int, positive: str, negative: str) -> str:
    """Return degrees and minutes to five decimals of a minute, and the hemisphere."""
    whole, minutes = divmod(round(abs(value_deg) * 60.0 * 1e5), 60 * 100_000)
    return f"{whole:0{width}d}{minutes / 1e5:08.5f},{positive if value_deg >= 0 else negative}"


def within(time_s: float, spans: tuple[Span, ...]) -> bool:
    """Return whether a time lies in one of the spans."""
    return any(start <= time_s < stop for start, stop in spans)


DepthAt = Callable[[float, float], float | None]
"""Charted depth at a place (east, north), metres below datum; None where nothing is known."""

Fields = dict[str, str | int | float | bytes | bool]


class Instruments:
    """All lines of a run, made second by second; the same whatever is asked first."""

    def __init__(
        self, scene: Scene, own: ScriptedMotion, movers: tuple[ScriptedMotion, ...], depth_at: DepthAt
    ) -> None:
        self._scene, self._own, self._movers, self._depth_at = scene, own, movers, depth_at
        seconds = int(own.end_s) + 2
        rng = np.random.default_rng([scene.seed, 1])
        keep = math.exp(-1.0 / POSITION_MEMORY_S)
        kick = scene.sensors.position_noise_m * math.sqrt(1.0 - keep * keep)
        wander = np.zeros((seconds, 2))
        wander[0] = scene.sensors.position_noise_m * rng.standard_normal(2)
        for k in range(1, seconds):
            wander[k] = keep * wander[k - 1] + kick * rng.standard_normal(2)
        self._wander = wander
        self._heading_seed = [scene.seed, 2]

    def between(self, start_s: float, stop_s: float) -> list[Line]:
        """Return the lines with start <= time < stop, in order of time."""
        out: list[Line] = []
        for second in range(math.floor(start_s), math.ceil(stop_s) + 1):
            if second >= 0:
                out.extend(self._second(second))
        first, last = self._ns(start_s), self._ns(stop_s)
        return [line for line in out if first <= line.time_ns < last]

    def _ns(self, time_s: float) -> int:
        return self._scene.start_ns + round(time_s * NS_PER_S)

    def _second(self, second: int) -> list[Line]:
        out = self._headings(second)
        now = self._ns(float(second))
        state = self._own.at(float(second))
        if not within(second, self._scene.sensors.gnss_out_s):
            out += [Line(now, text) for text in self._position(second, ns_to_utc(now), state)]
        skies = self._scene.skies
        heading_deg = math.degrees(float(state.heading_rad[0]))
        # MWV,T: wind direction from the bow, speed true.
        wind_deg = wrap_360(math.degrees(skies.wind_from_rad) - heading_deg)
        out.append(Line(now + 300_000_000, sentence(f"WIMWV,{wind_deg:.1f},T,{mps_to_kn(skies.wind_speed):.1f},N,A")))
        depth = self._depth_at(float(state.east_m[0]), float(state.north_m[0]))
        if depth is not None:
            # The transducer sits half a metre down; DPT gives depth below it and the offset to the surface.
            below = max(0.0, depth + self._scene.tide_m - 0.5)
            out.append(Line(now + 400_000_000, sentence(f"SDDPT,{below:.1f},0.5")))
            out.append(
                Line(now + 410_000_000, sentence(f"SDDBT,{below / 0.3048:.1f},f,{below:.1f},M,{below / 1.8288:.1f},F"))
            )
        for index, (thing, mover) in enumerate(zip(self._scene.objects, self._movers, strict=True)):
            if thing.ais is not None and thing.shown_s[0] <= second < thing.shown_s[1]:
                out += self._ais(second, index, thing, thing.ais, mover)
        return sorted(out, key=lambda line: line.time_ns)

    def _headings(self, second: int) -> list[Line]:
        sensors = self._scene.sensors
        count = max(1, round(sensors.heading_hz)) if sensors.heading_hz >= 1.0 else 1
        if sensors.heading_hz < 1.0 and second % round(1.0 / sensors.heading_hz):
            return []
        noise = np.random.default_rng([*self._heading_seed, second]).standard_normal(count) * sensors.heading_noise_rad
        out = []
        for k in range(count):
            at_s = second + k / count
            if within(at_s, sensors.heading_out_s):
                continue
            state = self._own.at(at_s)
            heading = math.degrees(float(state.heading_rad[0]) + sensors.heading_bias_rad + float(noise[k]))
            out.append(Line(self._ns(at_s), sentence(f"HEHDT,{_bearing(heading)},T")))
            if k == 0:
                turn = math.degrees(float(state.turn_rate[0])) * 60.0
                out.append(Line(self._ns(at_s), sentence(f"HEROT,{turn:.1f},A")))
        return out

    def _position(self, second: int, moment: datetime, state: MotionAt) -> list[str]:
        offset = self._scene.sensors.position_offset_m
        wander = self._wander[min(second, len(self._wander) - 1)]
        frame: LocalFrame = self._scene.frame
        lat, lon = frame.to_geographic(
            float(state.east_m[0]) + offset[0] + float(wander[0]),
            float(state.north_m[0]) + offset[1] + float(wander[1]),
        )
        where = f"{_angle(lat, 2, 'N', 'S')},{_angle(lon, 3, 'E', 'W')}"
        sog = mps_to_kn(math.hypot(float(state.velocity_east[0]), float(state.velocity_north[0])))
        cog = wrap_360(math.degrees(math.atan2(float(state.velocity_east[0]), float(state.velocity_north[0]))))
        if sog < 0.05:
            # A receiver at rest says nothing of its course.
            course, track = "", ""
        else:
            course = track = _bearing(cog)
        clock = f"{moment:%H%M%S}.{moment.microsecond // 10_000:02d}"
        return [
            sentence(f"GPRMC,{clock},A,{where},{sog:.2f},{course},{moment:%d%m%y},,,A"),
            sentence(f"GPGGA,{clock},{where},1,10,0.9,2.0,M,0.0,M,,"),
            sentence(f"GPVTG,{track},T,,M,{sog:.2f},N,{sog * 1.852:.2f},K,A"),
        ]

    def _ais(self, second: int, index: int, thing: SceneObject, ais: Ais, mover: ScriptedMotion) -> list[Line]:
        state = mover.at(float(second))
        speed = math.hypot(float(state.velocity_east[0]), float(state.velocity_north[0]))
        every = _report_every_s(ais, mps_to_kn(speed))
        since = second - math.floor(thing.shown_s[0])
        out: list[Line] = []
        # Ships do not speak in step.
        first = 1 + (7 * index) % 5
        at = self._ns(float(second)) + (index * 137 % 900) * 1_000_000
        if since >= first and (since - first) % every == 0:
            out += [Line(at, text) for text in self._report(second, thing, ais, state, speed)]
        if since >= first + 2 and (since - first - 2) % int(STATIC_EVERY_S) == 0:
            out += [Line(at + 20_000_000, text) for text in _static(thing, ais)]
        return out

    def _report(self, second: int, thing: SceneObject, ais: Ais, state: MotionAt, speed: float) -> list[str]:
        lat, lon = self._scene.frame.to_geographic(float(state.east_m[0]), float(state.north_m[0]))
        moving = speed > 0.2
        course = wrap_360(math.degrees(math.atan2(float(state.velocity_east[0]), float(state.velocity_north[0]))))
        fields: Fields = {
            "type": 1 if ais.carriage == "A" else 18,
            "mmsi": ais.mmsi,
            "lat": lat,
            "lon": lon,
            "speed": round(mps_to_kn(speed), 1),
            "course": round(course, 1) if moving else 360.0,
            "heading": round(math.degrees(float(state.heading_rad[0]))) % 360 if ais.carriage == "A" else 511,
            "second": int(ns_to_utc(self._ns(float(second))).second),
        }
        if ais.carriage == "A":
            fields["status"] = 0 if moving else 1
        return list(encode_dict(fields, talker_id="AI", sentence_type="VDM", radio_channel="A"))


def _bearing(value_deg: float) -> str:
    return f"{wrap_360(round(wrap_360(value_deg), 1)):.1f}"


def _report_every_s(ais: Ais, speed_kn: float) -> int:
    if speed_kn < (0.4 if ais.carriage == "A" else 2.0):
        return 180
    if ais.carriage == "B":
        return 30
    return 10 if speed_kn <= 14.0 else 6 if speed_kn <= 23.0 else 2


def _static(thing: SceneObject, ais: Ais) -> list[str]:
    half_length, half_beam = round(thing.length_m / 2.0), round(thing.beam_m / 2.0)
    size: Fields = {
        "to_bow": half_length,
        "to_stern": max(0, round(thing.length_m) - half_length),
        "to_port": half_beam,
        "to_starboard": max(0, round(thing.beam_m) - half_beam),
    }
    name = ais.name.upper()[:20]
    if ais.carriage == "A":
        fields: Fields = {"type": 5, "mmsi": ais.mmsi, "shipname": name, "ship_type": ais.ship_type, **size}
        return list(
            encode_dict(fields, talker_id="AI", sentence_type="VDM", radio_channel="B", seq_id=ais.mmsi % 9 + 1)
        )
    first: Fields = {"type": 24, "partno": 0, "mmsi": ais.mmsi, "shipname": name}
    second: Fields = {"type": 24, "partno": 1, "mmsi": ais.mmsi, "ship_type": ais.ship_type, **size}
    return [
        text
        for part in (first, second)
        for text in encode_dict(part, talker_id="AI", sentence_type="VDM", radio_channel="B")
    ]
