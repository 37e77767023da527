"""What instruments said, said again in plain sentences: nothing of the bytes that came in is kept.

Position, course, speed, heading, rate of turn, depth, wind, speed through the water, targets of another radar and AIS
are taken from what was decoded and written anew as NMEA 0183.  What is not decoded is not shared.
"""

from __future__ import annotations

import math
import re

from moonless.share.aliases import Aliases
from moonless.share.moved import Moved
from moonless.units import NS_PER_S, mps_to_kn
from moonless.wire import nmea_write as write
from moonless.wire.ais import AisReport, encode_ais
from moonless.wire.instruments import InstrumentDecoder
from moonless.wire.nmea_events import (
    AisSaid,
    ClockSaid,
    DepthLostSaid,
    DepthSaid,
    NoFixSaid,
    PoseSaid,
    Said,
    TargetPlaceSaid,
    TargetSaid,
    TargetStatus,
    WaterSaid,
    WindSaid,
)

AisValues = dict[str, str | float]
"""Fields of a message by pyais's names."""

_TALKER = re.compile(r"[A-Z]{2}")
# Written as true headings a compass and a gyro would be one source that jumps: the compass waits for the other to stop.
_GYRO_NS = 10 * NS_PER_S
_STATUS: dict[str | None, TargetStatus] = {"L": "L", "Q": "Q", "T": "T"}


class SharedInstruments:
    """Takes in a run's lines in order and gives sentences for them."""

    def __init__(self, moved: Moved, aliases: Aliases, own_mmsi: int | None) -> None:
        self._moved = moved
        self._aliases = aliases
        self._own = own_mmsi
        self._decoders: dict[int, InstrumentDecoder] = {}
        self._heading_rad: float | None = None
        self._gyro_ns: int | None = None
        self._static: dict[tuple[int, int, bool], tuple[int, AisReport]] = {}
        self._sequence = 0

    def line(self, link: int, data: bytes, received_ns: int) -> list[str]:
        """Return the sentences, without line ends, that say anew what one recorded line said."""
        decoder = self._decoders.setdefault(link, InstrumentDecoder())
        out = []
        for event in decoder.feed(data, received_ns):
            out += self._said(event, link)
        return out

    def static(self) -> list[tuple[int, str]]:
        """Return (link, sentence) of what AIS had said of vessels so far that they say only every few minutes."""
        return [(link, s) for link, report in self._static.values() for s in self._report(report)]

    def _said(self, event: Said, link: int) -> list[str]:
        if isinstance(event, PoseSaid):
            return self._pose(event)
        if isinstance(event, AisSaid):
            return self._ais(event.report, link)
        talker = _talker(event)
        if isinstance(event, NoFixSaid):
            return [write.write_rmc(self._moved.time(event.time_ns), None, None, None, None, talker=talker or "GP")]
        if isinstance(event, ClockSaid):
            # RMC says it with its position.
            return [] if event.kind == "RMC" else [write.write_zda(self._time(event), talker=talker or "GP")]
        if isinstance(event, DepthSaid):
            return [write.write_dpt(event.below_transducer_m, event.offset_m or 0.0, talker=talker or "SD")]
        if isinstance(event, DepthLostSaid):
            return [write.write_dpt(None, talker=talker or "SD")]
        if isinstance(event, WaterSaid):
            return [write.write_vhw(event.speed, talker=talker or "VW")]
        if isinstance(event, WindSaid):
            return self._wind(event, talker or "WI")
        return self._target(event, talker or "RA")

    def _pose(self, event: PoseSaid) -> list[str]:
        pose, talker, out = event.pose, _talker(event), []
        if pose.lat_deg is not None and pose.lon_deg is not None:
            lat, lon = self._moved.place(pose.lat_deg, pose.lon_deg)
            if pose.sog is not None or event.kind == "RMC":
                out.append(write.write_rmc(self._time(event), lat, lon, pose.cog_rad, pose.sog, talker=talker or "GP"))
            else:
                out.append(write.write_gga(self._time(event), lat, lon, talker=talker or "GP"))
        elif pose.sog is not None:
            out.append(write.write_vtg(pose.cog_rad, pose.sog, talker=talker or "GP"))
        if pose.heading_true_rad is not None and self._is_followed(event):
            self._heading_rad = pose.heading_true_rad
            out.append(write.write_hdt(pose.heading_true_rad, talker=talker or "HE"))
        if pose.turn_rate is not None:
            out.append(write.write_rot(pose.turn_rate, talker=talker or "HE"))
        return out

    def _is_followed(self, event: PoseSaid) -> bool:
        if not event.is_magnetic:
            self._gyro_ns = event.received_ns
            return True
        return self._gyro_ns is None or event.received_ns - self._gyro_ns > _GYRO_NS

    def _time(self, event: Said) -> int:
        return self._moved.time(event.time_ns if event.is_timed else event.received_ns)

    def _wind(self, event: WindSaid, talker: str) -> list[str]:
        from_rad = event.from_rad
        if event.is_from_north:
            if self._heading_rad is None:
                return []
            from_rad -= self._heading_rad
        return [write.write_mwv(from_rad % math.tau, event.speed, is_apparent=event.is_apparent, talker=talker)]

    def _target(self, event: Said, talker: str) -> list[str]:
        if isinstance(event, TargetPlaceSaid):
            lat, lon = self._moved.place(event.lat_deg, event.lon_deg)
            return [write.write_tll(event.number, lat, lon, status=_STATUS.get(event.status, "T"), talker=talker)]
        if not isinstance(event, TargetSaid):
            return []
        bearing = event.bearing_rad
        if event.is_relative and bearing is not None:
            if self._heading_rad is None:
                return []
            bearing = (bearing + self._heading_rad) % math.tau
        return [
            write.write_ttm(
                event.number, range_m=event.range_m, bearing_rad=bearing, speed=event.speed,
                course_rad=event.course_rad, cpa_m=event.cpa_m, tcpa_s=event.tcpa_s,
                status=_STATUS.get(event.status, "T"), talker=talker,
            )
        ]  # fmt: skip

    # --- AIS ---------------------------------------------------------------------------------------------------------

    def _ais(self, report: AisReport, link: int) -> list[str]:
        if report.is_own:
            self._own = report.mmsi
        # The boat's own number would come back as a vessel on top of her.
        if report.mmsi == self._own:
            return []
        if report.says == "static":
            self._static[report.mmsi, report.message_type, report.name is None] = (link, report)
        return self._report(report)

    def _report(self, report: AisReport) -> list[str]:
        if report.says not in ("position", "static", "aid"):
            return []
        values: AisValues = {"mmsi": self._aliases.mmsi(report.mmsi)}
        name = self._aliases.name("vessel" if report.says != "aid" else "mark", report.name)
        said = [_position(report, self._moved)] if report.says == "position" else []
        if report.says == "static" or report.message_type == 19:
            said += _static(report, None if name is None else name.upper())
        elif report.says == "aid":
            said = [_aid(report, self._moved, (name or "").upper())]
        self._sequence = self._sequence % 9 + 1
        return [s for one in said for s in encode_ais(values | one, sequence=self._sequence)]


def _position(report: AisReport, moved: Moved) -> AisValues:
    assert report.lat_deg is not None and report.lon_deg is not None
    lat, lon = moved.place(report.lat_deg, report.lon_deg)
    is_class_a = report.message_type in (1, 2, 3)
    values: AisValues = {
        "type": 1 if is_class_a else 27 if report.message_type == 27 else 18,
        "lat": lat,
        "lon": lon,
        "speed": 102.3 if report.sog is None else round(mps_to_kn(report.sog), 1),
        "course": 360.0 if report.cog_rad is None else round(math.degrees(report.cog_rad), 1),
    }
    if report.message_type == 27:
        values["speed"] = 63 if report.sog is None else round(mps_to_kn(report.sog))
        values["course"] = 511 if report.cog_rad is None else round(math.degrees(report.cog_rad))
    else:
        values["heading"] = 511 if report.heading_rad is None else round(math.degrees(report.heading_rad)) % 360
        values["second"] = 60 if report.second is None else report.second
    if is_class_a:
        values["status"] = 15 if report.nav_status is None else report.nav_status
        values["turn"] = -128.0 if report.turn_rate is None else round(math.degrees(report.turn_rate) * 60.0, 1)
    return values


def _static(report: AisReport, name: str | None) -> list[AisValues]:
    more: AisValues = {"ship_type": report.ship_type or 0, **_size(report)}
    if report.message_type == 5:
        return [{"type": 5, "shipname": name or "", "draught": report.draught_m or 0.0, **more}]
    out: list[AisValues] = [] if name is None else [{"type": 24, "partno": 0, "shipname": name}]
    if report.length_m is not None or report.ship_type is not None:
        out.append({"type": 24, "partno": 1, **more})
    return out


def _aid(report: AisReport, moved: Moved, name: str) -> AisValues:
    values: AisValues = {
        "type": 21, "name": name, "second": 60 if report.second is None else report.second,
        "virtual_aid": report.is_virtual_aid, "off_position": report.is_off_position, **_size(report),
    }  # fmt: skip
    if report.lat_deg is not None and report.lon_deg is not None:
        lat, lon = moved.place(report.lat_deg, report.lon_deg)
        values |= {"lat": lat, "lon": lon}
    else:
        values |= {"lat": 91.0, "lon": 181.0}
    return values


def _size(report: AisReport) -> dict[str, int]:
    given = {
        "to_bow": report.to_bow_m, "to_stern": report.to_stern_m, "to_port": report.to_port_m,
        "to_starboard": report.to_starboard_m,
    }  # fmt: skip
    return {name: round(value or 0.0) for name, value in given.items()}


def _talker(event: Said) -> str:
    """Return the two letters of an NMEA 0183 talker; "" where the source has a name of another kind."""
    return event.talker if _TALKER.fullmatch(event.talker) else ""
