"""NMEA 2000 held against others: canboat's published decodes, and a second library over real logs."""

from __future__ import annotations

import json
import math
import re
from collections import Counter
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

from n2k import messages as peer
from n2k.message import Message

from moonless.units import NS_PER_S
from moonless.wire.n2k.addresses import CLAIM_GROUP
from moonless.wire.n2k.assemble import FastPackets
from moonless.wire.n2k.decoder import FAST_GROUPS, USED_GROUPS
from moonless.wire.n2k.fields import decoder_of
from moonless.wire.n2k.frames import frame_of

LOGS = (
    "candump-a.txt",
    "candump-b.txt",
    "candump-c.log",
    "moored-boat-can.log",
    "motor-yacht.plain.txt",
    "sailing-boat.plain.txt",
)


def decoded_pairs(folder: Path) -> Iterator[tuple[bytes, dict[str, Any]]]:
    answers = [json.loads(line) for line in (folder / "pgn-test-json.out").read_text().splitlines() if line[:1] == "{"]
    lines = [line for line in (folder / "pgn-test.in").read_bytes().splitlines() if line[:1].isdigit()]
    for answer in answers:
        digits = re.sub(r"\D", "", answer["timestamp"])
        for line in lines:
            parts = line.split(b",")
            same = re.sub(rb"\D", b"", parts[0]).decode() == digits or digits.startswith(
                re.sub(rb"\D", b"", parts[0]).decode()
            )
            if same and int(parts[2]) == answer["pgn"] and int(parts[3]) == answer["src"]:
                yield line, answer
                break


def is_same(field: Any, said: Any) -> bool:
    """Return whether the library's field is what the published decode says, in the units that it says it in."""
    value, raw = field.value, field.raw_value
    if isinstance(said, str):
        number = said.replace(".", "").replace(":", "")
        if hasattr(value, "isoformat") and number.isdigit():
            if ":" in said:
                h, m, s = said.split(":")
                return abs(raw - (int(h) * 3600 + int(m) * 60 + float(s))) < 1e-4
            return bool(value.isoformat().replace("-", ".") == said)
        if isinstance(value, bytes):
            return bytes.fromhex(said) == value[::-1].ljust(3, b"\0")
        return str(value) == said or str(raw) == said
    in_degrees = math.degrees(raw) if field.unit_of_measurement in ("rad", "rad/s") else raw
    # Printed to so many places: half a unit in the last one, and a hair.
    places = len(repr(said).partition(".")[2])
    return abs(in_degrees - said) <= 0.501 * 10.0**-places


AIS_NAMES = {
    "user_id": "userId", "message_id": "messageId", "latitude": "latitude", "longitude": "longitude",
}  # fmt: skip
MOVING = {**AIS_NAMES, "cog": "cog", "sog": "sog", "heading": "heading", "seconds": "timeStamp"}
PEERS: dict[int, tuple[Callable[[Message], Any], dict[str, str]]] = {
    126992: (peer.parse_n2k_system_time, {"system_time": "time", "time_source": "source"}),
    127250: (
        peer.parse_n2k_heading,
        {"heading": "heading", "deviation": "deviation", "variation": "variation", "ref": "reference"},
    ),
    127251: (peer.parse_n2k_rate_of_turn, {"rate_of_turn": "rate"}),
    127257: (peer.parse_n2k_attitude, {"yaw": "yaw", "pitch": "pitch", "roll": "roll"}),
    127258: (peer.parse_n2k_magnetic_variation, {"variation": "variation"}),
    128259: (peer.parse_n2k_boat_speed, {"water_referenced": "speedWaterReferenced"}),
    128267: (peer.parse_n2k_water_depth, {"depth_below_transducer": "depth", "offset": "offset"}),
    129025: (peer.parse_n2k_lat_long_rapid, {"latitude": "latitude", "longitude": "longitude"}),
    129026: (peer.parse_n2k_cog_sog_rapid, {"heading_reference": "cogReference", "cog": "cog", "sog": "sog"}),
    129029: (
        peer.parse_n2k_gnss_data,
        {
            "seconds_since_midnight": "time",
            "latitude": "latitude",
            "longitude": "longitude",
            "altitude": "altitude",
            "gnss_method": "method",
            "n_satellites": "numberOfSvs",
        },
    ),
    129038: (peer.parse_n2k_ais_class_a_position, {**MOVING, "rot": "rateOfTurn", "nav_status": "navStatus"}),
    129039: (peer.parse_n2k_ais_class_b_position, MOVING),
    129794: (
        peer.parse_n2k_ais_class_a_static_data,
        {
            "user_id": "userId",
            "vessel_type": "typeOfShip",
            "length": "length",
            "beam": "beam",
            "pos_ref_stbd": "positionReferenceFromStarboard",
            "pos_ref_bow": "positionReferenceFromBow",
            "draught": "draft",
        },
    ),
    129809: (peer.parse_n2k_ais_class_b_static_data_part_a, {"user_id": "userId"}),
    129810: (
        peer.parse_n2k_ais_class_b_static_data_part_b,
        {"user_id": "userId", "vessel_type": "typeOfShip", "length": "length", "beam": "beam"},
    ),
    130306: (
        peer.parse_n2k_wind_speed,
        {"wind_speed": "windSpeed", "wind_angle": "windAngle", "wind_reference": "reference"},
    ),
}


def messages(path: Path) -> Iterator[tuple[int, bytes]]:
    packets, now = FastPackets(), 1_900_000_000 * NS_PER_S
    for line in path.read_bytes().splitlines():
        frame = frame_of(line)
        if frame is None or frame.group not in PEERS:
            continue
        now = frame.time_ns or now + 500_000
        data: bytes | None = frame.data
        if frame.group in FAST_GROUPS and not frame.is_whole:
            data = packets.add(frame.group, frame.source, frame.destination, frame.data, now)
        if data is not None:
            yield frame.group, data


def library_fields(group: int, data: bytes) -> list[Any]:
    """Return the fields of a message as the library that is used decodes them."""
    decode = decoder_of(group)
    assert decode is not None
    message: Any = decode(int.from_bytes(data, "little"), len(data) * 8)
    return list(message.fields)


def compare_published(folder: Path) -> Iterator[tuple[int, str, bool]]:
    """Yield (group, field, whether it is as published) of every published field of the groups that are read."""
    for line, answer in decoded_pairs(folder):
        group = answer["pgn"]
        if group not in USED_GROUPS | {CLAIM_GROUP}:
            continue
        frame = frame_of(line)
        assert frame is not None and (frame.group, frame.source) == (group, answer["src"])
        by_name = {f.name.lower(): f for f in library_fields(group, frame.data)}
        for name, said in answer["fields"].items():
            yield group, name, is_same(by_name[name.lower()], said)


def compare_logs(path: Path) -> Iterator[tuple[int, str, bool]]:
    """Yield (group, field, whether both libraries say the same) of every message of a log."""
    for group, data in messages(path):
        parse, names = PEERS[group]
        try:
            theirs = parse(Message(pgn=group, data=bytearray(data)))
        except ValueError:
            continue  # a code that its enumerations do not carry
        ours = {f.id: f.raw_value for f in library_fields(group, data)}
        for their_name, our_name in names.items():
            a, b = getattr(theirs, their_name), ours[our_name]
            alike = (
                a is None
                if b is None
                else a is not None and math.isclose(float(a), float(b), rel_tol=1e-9, abs_tol=1e-9)
            )
            yield group, our_name, alike


def published_alike(folder: Path) -> float:
    """Return the share of published fields that come out equal."""
    found = [alike for *_, alike in compare_published(folder)]
    return sum(found) / len(found)


def fields_alike(folder: Path) -> float:
    """Return the share of the real logs' fields that both libraries read alike."""
    count = Counter(alike for name in LOGS for *_, alike in compare_logs(folder / name))
    return count[True] / count.total()
