"""What comes over links and from screens, as functions of bytes.  Each begins with fresh state."""

from __future__ import annotations

import asyncio
import contextlib
import json
import struct
import tempfile
from collections.abc import Mapping
from functools import reduce
from operator import xor
from pathlib import Path
from typing import Any

import numpy as np

from moonless.errors import MoonlessError
from moonless.helm.door.pairing import Pairings, clean_name
from moonless.helm.setup.service import SetupService
from moonless.helm.setup.settings import HelmSettings
from moonless.helm.web.controls import read_control
from moonless.helm.web.protocol import CONTROL, decode_head, decode_json, encode_ack, encode_json, read_object
from moonless.scan.assembler import ScanAssembler
from moonless.scan.pose import PoseSample, PoseSeries
from moonless.scan.types import ScanErrors, Spoke
from moonless.units import NS_PER_S
from moonless.watch.instruments.ais_table import AisTable
from moonless.wire.cat240 import Cat240Decoder, Video, encode_summary, encode_video
from moonless.wire.instruments import InstrumentDecoder
from moonless.wire.n2k.frames import frame_of
from moonless.wire.nmea_events import AisSaid

T0 = 1_930_000_000 * NS_PER_S
ERRORS = ScanErrors(beam_rad=0.07, pulse_m=12.0, azimuth_sigma_rad=0.002, range_sigma_m=2.0)


def _framed(body: bytes) -> bytes:
    return b"\xf0" + min(len(body) + 3, 0xFFFF).to_bytes(2, "big") + body[: 0xFFFF - 3]


def cat240(data: bytes) -> None:
    """A stream cut anywhere, and datagrams; as they come, and with a right head put before."""
    at = data[0] if data else 0
    for whole in (data, _framed(data)):
        decoder = Cat240Decoder()
        events = decoder.feed(whole[:at]) + decoder.feed(whole[at:]) + decoder.datagram(whole)
        decoder.finish()
        for event in events:
            if isinstance(event, Video):
                event.to_spoke(T0)


def _sum(body: bytes) -> bytes:
    return b"*%02X" % reduce(xor, body, 0)


def _lines(*lines: bytes) -> None:
    decoder, table = InstrumentDecoder(), AisTable()
    for number, line in enumerate(lines):
        for event in decoder.feed(line + b"\r\n", T0 + number * NS_PER_S) + decoder.datagram(line, T0):
            if isinstance(event, AisSaid):
                table.add(event.report, T0)
    decoder.finish(T0)
    table.targets(T0)
    decoder.troubles()


def nmea(data: bytes) -> None:
    """Lines as they come, and each of them with a right checksum."""
    lines = data.split(b"\n")
    _lines(*lines, *(b"$" + line.strip(b"$!\r") + _sum(line.strip(b"$!\r")) for line in lines))


def tag_blocks(data: bytes) -> None:
    """A tag block with a right checksum before a sentence that is sound."""
    body = data.replace(b"\r", b"").replace(b"\n", b"").replace(b"\\", b"")
    _lines(b"\\" + body + _sum(body) + b"\\$GPHDT,274.07,T*03", b"\\" + data + b"\\$GPHDT,274.07,T*03")


def ais(data: bytes) -> None:
    """Bits packed as AIS packs them, whole and in two parts."""
    bits = "".join(f"{octet:08b}" for octet in data[:110])
    values = [int(bits[i : i + 6].ljust(6, "0"), 2) for i in range(0, len(bits), 6)]
    packed = bytes(v + 48 if v < 40 else v + 56 for v in values)
    half = len(packed) // 2
    bodies = (
        b"AIVDM,1,1,,A," + packed[:60] + b",0",
        b"AIVDM,2,1,3,B," + packed[:half] + b",0",
        b"AIVDM,2,2,3,B," + packed[half:] + b",0",
        b"AIVDO,1,1,,A," + packed[:28] + b",%d" % (len(data) % 6),
    )
    _lines(*(b"!" + body + _sum(body) for body in bodies))


def n2k(data: bytes) -> None:
    """Frames as a logger writes them, of identifiers and octets; and lines as they come."""
    lines = list(data.split(b"\n"))
    for at in range(0, len(data) - 4, 12):
        identifier = int.from_bytes(data[at : at + 4], "big") & 0x1FFFFFFF
        lines.append(b"(1930000000.0) can0 %08X#" % identifier + data[at + 4 : at + 12].hex().upper().encode())
    for line in lines:
        frame_of(line)
    _lines(*lines)


def signalk(data: bytes) -> None:
    """Messages as they come, and values of a delta that is sound."""
    hello = json.dumps({"version": "1.0.4", "self": "vessels.self", "roles": ["main"]}).encode()
    value = data.decode("utf-8", "replace")
    with contextlib.suppress(ValueError, RecursionError):
        value = json.loads(data)
    paths = ("position", "speedOverGround", "headingTrue", "courseOverGroundTrue", "magneticVariation", "datetime")
    said = [{"path": f"navigation.{path}", "value": value} for path in paths]
    said += [
        {"path": path, "value": value} for path in ("environment.depth.belowKeel", "design.length", "name", "mmsi")
    ]
    wrapped = json.dumps({"context": "vessels.self", "updates": [{"timestamp": value, "values": said}]}).encode()
    other = json.dumps({"context": f"vessels.{value}"[:200], "updates": [{"values": said}]}).encode()
    _lines(b"{" + data.replace(b"\n", b" "), hello, wrapped, other)


def websocket(data: bytes) -> None:
    """Frames of a screen as they come, and with a right head."""
    for frame in (data, encode_json(CONTROL, 1, {})[:8] + data):
        try:
            decode_head(frame)
            encode_json(CONTROL, 1, {"asked": repr(read_control(decode_json(frame)))})
        except MoonlessError as problem:
            encode_json(CONTROL, 1, {"answer": str(problem)})


def setup_answers(data: bytes) -> None:
    """What a screen asks of the set-up, by name and as it comes."""
    try:
        value: Any = json.loads(data)
    except (ValueError, RecursionError):
        value = data.decode("utf-8", "surrogateescape")
    asked: list[Mapping[str, Any]] = [value] if isinstance(value, dict) else []
    if isinstance(value, dict) and value.get("do") == "picture":
        return  # reads a camera, which is no matter of bytes
    keys = ("boat.length_m", "boat.name", "light", "boat.stopping", "screen.length_unit", "radar.set", str(value)[:60])
    asked += [{"do": "answer", "key": keys[len(data) % len(keys)], "value": value}]
    asked += [{"do": "links", "radar": value, "nmea": value, "prefer": value}, {"do": "charts", "folders": value}]
    asked += [
        {"do": "links", "radar": None, "nmea": [value], "prefer": {"heading": value}},
        {"do": "folder", "path": value},
    ]
    with tempfile.TemporaryDirectory() as folder:
        service = SetupService(Path(folder) / "helm.toml", HelmSettings())
        service.read_coverage = lambda: None  # type: ignore[method-assign]  # it begins a process
        for request in asked:
            if request.get("do") == "start":
                continue
            with contextlib.suppress(MoonlessError):
                # As the door reads it.
                read = read_object(json.dumps(request).encode("utf-8", "surrogatepass"))
                asyncio.run(service.do(read, None))  # type: ignore[arg-type]


def pairing(data: bytes) -> None:
    """The file of paired screens as it comes; cookies, codes and names."""
    text = data.decode("utf-8", "surrogateescape")
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "screens.json"
        file.write_bytes(data)
        pairings = Pairings(file)
        pairings.screen_of(text)
        assert not pairings.screens or data.count(b"key_hash") >= len(pairings.screens)
        with contextlib.suppress(MoonlessError):
            assert pairings.accept("x" + text, text) is None
        clean_name(text).encode()


def assembler(data: bytes) -> None:
    """Spokes of any angle, time, width and scale."""
    poses = PoseSeries()
    poses.add(PoseSample(T0, lat_deg=10.0, lon_deg=-30.0, heading_true_rad=1.0, sog=3.0, cog_rad=1.0))
    turning = ScanAssembler(ERRORS, angle_from="true" if len(data) % 2 else "bow")
    time_ns = T0
    for at in range(0, len(data) - 9, 10):
        step, start, width, cell, first, count = struct.unpack_from("<hHhHBB", data, at)
        time_ns += step * (1_000_000 if step > 0 else 100_000)
        begin = start / 65536.0 * 2.0 * np.pi
        echo = np.full(1 + count % 32, count, dtype=np.uint8)
        spoke = Spoke(time_ns, begin, begin + width / 8192.0, float(first), 0.01 + cell / 16.0, echo, 255, at)
        scan = turning.add(spoke, poses)
        if scan is not None:
            assert scan.echo.shape[0] == scan.time_ns.shape[0] == scan.is_received.shape[0]
    turning.flush(poses)


def _json(body: object) -> bytes:
    return json.dumps(body).encode()


VIDEO = encode_video(np.arange(64, dtype=np.uint8), azimuth_start_rad=1.0, azimuth_end_rad=1.1, cell_m=5.0)
SEEDS: dict[str, list[bytes]] = {
    "cat240": [VIDEO, VIDEO * 3, encode_summary("a radar"), VIDEO[3:]],
    "nmea": [
        b"GPRMC,120000.00,A,1000.00,N,03000.00,W,5.0,45.0,010130,1.0,E",
        b"HEHDT,274.07,T\nGPGGA,120000,1000.0,N,03000.0,W,1,8,1.0,2.0,M,,M,,\nSDDPT,4.1,0.3\nGPZDA,120000,1,2,2031,,",
        b"RATTM,01,1.2,45,T,6.0,90,T,0.5,3,N,name,T,,120000,A\nWIMWV,45,R,10,N,A\nHCHDG,90,1,E,2,W\nGPVTG,45,T,,M,5,N,,K",
    ],
    "tag_blocks": [b"g:1-2-73874,n:157036,s:r003669945,c:1930000000", b"c:1930000000000", b"s:gps,c:99999999999"],
    "ais": [bytes([4, 43, 90, 77, 1, 2, 3] + [17] * 14), bytes([20] + [85] * 52), bytes([96] + [33] * 20)],
    "n2k": [
        bytes.fromhex("09F8010236729A16021AB80D0DF1127F00FFFFFF00000000"),
        b"$PCDIN,01F119,00000000,0F,2AAF00D1067414FF*59",
    ],
    "signalk": [b'{"latitude": 10, "longitude": -30}', b"1.5", b'"2031-03-02T19:04:00Z"', b'"updates":[]}'],
    "websocket": [
        encode_json(CONTROL, 1, {"do": "trial", "value": {"course_deg": 1.0, "speed_kn": None, "delay_s": 0}}),
        encode_json(CONTROL, 2, {"do": "route", "value": {"what": "check", "token": 1, "points": [[1, 2], [3, 4]]}}),
        encode_json(CONTROL, 3, {"do": "i see it", "echo": 3, "value": "boat"}), encode_ack(3),
    ],
    "setup_answers": [
        b"9.2", b'{"do": "add", "text": "8600"}', b'{"link": "udp://0.0.0.0:1", "talker": "GP"}', b"[[5, 10]]", b'"udp://a:1"',
        b'"serial:/dev/x"',
    ],
    "pairing": [
        _json({"format": 1, "screens": [], "invitation": None, "address": ""}),
        _json({"format": 1, "screens": [dict.fromkeys(("id", "name", "key_hash", "paired"), "a") | {"role": "act"}],
               "invitation": None, "address": ""}),
    ],
    "assembler": [b"".join(struct.pack("<hHhHBB", 4, 512 * i % 65536, 64, 80, 3, 30) for i in range(300))],
}  # fmt: skip
TARGETS = {
    one.__name__: one
    for one in (cat240, nmea, tag_blocks, ais, n2k, signalk, websocket, setup_answers, pairing, assembler)
}
