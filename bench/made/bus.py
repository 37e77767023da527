"""Made bus traffic: messages encoded by another library (n2k 0.5), so that nothing of ours checks itself."""

from __future__ import annotations

import math
from datetime import UTC, datetime

from n2k import messages as m
from n2k import types as t
from n2k.message import Message

from moonless.units import NS_PER_S
from moonless.wire.ais import AisReport
from moonless.wire.n2k.assemble import split_fast
from moonless.wire.n2k.decoder import FAST_GROUPS
from moonless.wire.n2k.frames import candump_line, join_identifier
from moonless.wire.nmea import NmeaDecoder
from moonless.wire.nmea_events import AisSaid, DepthSaid, NoFixSaid, PoseSaid, Said, WindSaid


def lines_of(message: Message, source: int, time_ns: int, sequence: int = 0) -> list[bytes]:
    """Return the frames of a message as candump's log writes them."""
    data = bytes(message.data)
    frames = split_fast(data, sequence) if message.pgn in FAST_GROUPS else [data]
    identifier = join_identifier(message.pgn, source, 255, message.priority)
    return [candump_line(identifier, frame, time_ns, "can0") for frame in frames]


def gnss(time_ns: int, lat: float, lon: float, *, method: int = 1) -> Message:
    """Return 129029."""
    moment = datetime.fromtimestamp(time_ns // NS_PER_S, UTC)
    midnight = moment.replace(hour=0, minute=0, second=0, microsecond=0)
    return m.create_n2k_gnss_data_message(
        m.GNSSPositionData(
            days_since_1970=(moment - datetime(1970, 1, 1, tzinfo=UTC)).days,
            seconds_since_midnight=(time_ns - int(midnight.timestamp()) * NS_PER_S) / NS_PER_S,
            latitude=lat,
            longitude=lon,
            altitude=0.0,
            gnss_type=t.N2kGNSSType.GPS,
            gnss_method=t.N2kGNSSMethod(method),
            n_satellites=9,
            hdop=0.9,
            pdop=1.4,
            geoidal_separation=0.0,
            n_reference_stations=0,
            reference_station_type=None,
            reference_station_id=None,
            age_of_correction=None,
        )
    )


def motion(cog_rad: float | None, sog: float | None, *, is_magnetic: bool = False) -> Message:
    """Return 129026."""
    reference = t.N2kHeadingReference.magnetic if is_magnetic else t.N2kHeadingReference.true
    return m.create_n2k_cog_sog_rapid_message(m.CogSogRapid(heading_reference=reference, cog=cog_rad, sog=sog))


def heading(heading_rad: float | None, *, is_magnetic: bool = False, variation: float | None = None) -> Message:
    """Return 127250."""
    reference = t.N2kHeadingReference.magnetic if is_magnetic else t.N2kHeadingReference.true
    return m.create_n2k_heading_message(
        m.Heading(heading=heading_rad, deviation=None, variation=variation, ref=reference)
    )


def depth(metres: float | None, offset: float | None) -> Message:
    """Return 128267."""
    return m.create_n2k_water_depth_message(m.WaterDepth(depth_below_transducer=metres, offset=offset, max_range=None))


def wind(speed: float, angle_rad: float, reference: int = 2) -> Message:
    """Return 130306."""
    return m.create_n2k_wind_speed_message(
        m.WindSpeed(wind_speed=speed, wind_angle=angle_rad % math.tau, wind_reference=t.N2kWindReference(reference))
    )


def bus_lines(said: Said, now_ns: int, sequence: int = 0) -> list[bytes]:
    """Return what a bus would carry where NMEA 0183 said this; devices: 1 GNSS, 2 compass, 3 wind, 4 depth, 5 AIS."""
    out: list[tuple[Message, int]] = []
    if isinstance(said, PoseSaid):
        pose = said.pose
        if pose.lat_deg is not None and pose.lon_deg is not None:
            out.append((gnss(said.time_ns, pose.lat_deg, pose.lon_deg), 1))
        if pose.sog is not None:
            out.append((motion(pose.cog_rad, pose.sog), 1))
        if pose.heading_true_rad is not None:
            out.append((heading(pose.heading_true_rad), 2))
        if pose.turn_rate is not None:
            out.append((m.create_n2k_rate_of_turn_message(m.RateOfTurn(rate_of_turn=pose.turn_rate)), 2))
    elif isinstance(said, NoFixSaid):
        lost = gnss(now_ns, 0.0, 0.0, method=0)
        out.append((lost, 1))
    elif isinstance(said, WindSaid):
        out.append((wind(said.speed, said.from_rad, 2 if said.is_apparent else 3), 3))
    elif isinstance(said, DepthSaid):
        out.append((depth(said.below_transducer_m, said.offset_m), 4))
    elif isinstance(said, AisSaid):
        out += [(message, 5) for message in _ais(said.report)]
    return [line for message, source in out for line in lines_of(message, source, now_ns, sequence % 8)]


def _ais(r: AisReport) -> list[Message]:
    info = t.N2kAISTransceiverInformation(2 if r.is_own else 0)
    if r.says == "position" and r.message_type in (1, 2, 3):
        report = m.AISClassAPositionReport(
            message_id=t.N2kAISMessageID(r.message_type), repeat=t.N2kAISRepeat(0), user_id=r.mmsi, latitude=r.lat_deg,
            longitude=r.lon_deg, accuracy=True, raim=False, seconds=60 if r.second is None else r.second, cog=r.cog_rad,
            sog=r.sog, ais_transceiver_information=info, heading=r.heading_rad, rot=r.turn_rate,
            nav_status=t.N2kAISNavStatus(15 if r.nav_status is None else r.nav_status), sid=None,
        )  # fmt: skip
        return [m.create_n2k_ais_class_a_position_message(report)]
    if r.says == "position" and r.message_type == 18:
        class_b = m.AISClassBPositionReport(
            message_id=t.N2kAISMessageID(18), repeat=t.N2kAISRepeat(0), user_id=r.mmsi, latitude=r.lat_deg,
            longitude=r.lon_deg, accuracy=True, raim=False, seconds=60 if r.second is None else r.second, cog=r.cog_rad,
            sog=r.sog, ais_transceiver_information=info, heading=r.heading_rad, unit=t.N2kAISUnit(1), display=False,
            dsc=False, band=True, msg22=False, mode=t.N2kAISMode(0), state=False,
        )  # fmt: skip
        return [m.create_n2k_ais_class_b_position_message(class_b)]
    if r.says == "static" and r.message_type == 5:
        static = m.AISClassAStaticData(
            message_id=t.N2kAISMessageID(5), repeat=t.N2kAISRepeat(0), user_id=r.mmsi, imo_number=None,
            callsign=r.call_sign or "", name=r.name or "", vessel_type=r.ship_type, length=r.length_m, beam=r.beam_m,
            pos_ref_stbd=r.to_starboard_m, pos_ref_bow=r.to_bow_m, eta_date=None, eta_time=None, draught=r.draught_m,
            destination="", ais_version=t.N2kAISVersion(0), gnss_type=t.N2kGNSSType(1), dte=t.N2kAISDTE(0),
            ais_info=info,
        )  # fmt: skip
        return [m.create_n2k_ais_class_a_static_data_message(static)]
    if r.says == "static" and r.message_type == 24:
        out = []
        if r.name is not None:
            part_a = m.AISClassBStaticDataPartA(
                message_id=t.N2kAISMessageID(24), repeat=t.N2kAISRepeat(0), user_id=r.mmsi, name=r.name, ais_info=info
            )
            out.append(m.create_n2k_ais_class_b_static_data_part_a_message(part_a))
        if r.length_m is not None or r.call_sign is not None:
            part_b = m.AISClassBStaticDataPartB(
                message_id=t.N2kAISMessageID(24), repeat=t.N2kAISRepeat(0), user_id=r.mmsi, vessel_type=r.ship_type,
                vendor="", callsign=r.call_sign or "", length=r.length_m, beam=r.beam_m, pos_ref_stbd=r.to_starboard_m,
                pos_ref_bow=r.to_bow_m, mothership_id=None, ais_info=info,
            )  # fmt: skip
            out.append(m.create_n2k_ais_class_b_static_data_part_b_message(part_b))
        return out
    return []


class ToBus:
    """Turns the NMEA 0183 of a made run into the frames of a bus."""

    def __init__(self) -> None:
        self._decoder = NmeaDecoder()
        self._sequence = 0

    def feed(self, data: bytes, now_ns: int) -> bytes:
        """Return the frames of what some sentences say."""
        out = b""
        for said in self._decoder.feed(data, now_ns):
            out += b"".join(bus_lines(said, now_ns, self._sequence))
            self._sequence += 1
        return out
