"""Made bus traffic: messages encoded by another library (n2k 0.5), so that nothing of ours checks itself."""

from __future__ import annotations

import math
from datetime import UTC, datetime

from n2k import messages as m
from n2k import types as t
from n2k.message import Message

from moonless.units import NS_PER_S
from moonless.wire.n2k.assemble import split_fast
from moonless.wire.n2k.decoder import FAST_GROUPS
from moonless.wire.n2k.frames import candump_line, join_identifier


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
