"""Frames of an NMEA 2000 bus as lines of text: what loggers write and gateways send.

    (1410714882.622188) can0 09F80102#36729A16021AB80D              candump's log
      can0  09F8017F   [8]  7E 18 B3 22 84 1D 59 0D                 candump on the screen, with or without a time
    <0x09f80100> [8] 04 7e 54 19 24 33 55 d5                        an older candump
    2016-04-09T16:41:09.078Z,2,129025,0,255,8,bf,e0,52,...          plain: time, priority, group, from, to, octets
    16:29:27.082 R 09F8017F 50 C3 B8 13 47 D8 2B C6                 gateways: time of day, direction, identifier
    09F8017F 50 C3 B8 13 47 D8 2B C6                                the same without time
    A173321.107 23FF7 1F513 012F3070002F30709F                      whole messages: from, to, priority; group
    $PCDIN,01F119,00000000,0F,2AAF00D1067414FF*59                   whole messages inside NMEA 0183
    $MXPGN,01F801,2801,C1308AC40C5DE343*19                          the same, last octet first
    T09F801028367 29A16021AB80D                                     serial-line CAN (slcan), without the blank

Rules of this file:
- A line is a frame only if the whole of it is: what is cut, too long, or says another length than it has, is none.
- Frames with 11-bit identifiers, remote and error frames, and those of a gateway's own (group above 0x3FFFF) are none.
- Sentences need their checksum.

Source of the identifier's parts: ISO 11783-3 / SAE J1939-21 (29 bits: priority 3, data page 2, PDU format 8,
PDU specific 8, source 8; below PDU format 240 the PDU specific is the destination).  The dialects: can-utils, and
as the open decoders canboat and nmea2000 read them.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import reduce

from moonless.units import utc_to_ns

EVERYONE = 255  # the destination address of what is for all
MOST_OCTETS = 223  # of a fast packet: 6 + 31 x 7
MAX_GROUP = 0x3FFFF  # eighteen bits of a 29-bit identifier
# The plain text of a fast packet, the longest line of any kind.
MAX_LINE = 1024


@dataclass(frozen=True, slots=True)
class Frame:
    """One line: a frame of up to eight octets, or a message that its writer has put together (``is_whole``)."""

    group: int  # the parameter group number
    source: int  # address
    destination: int  # address; 255: everyone
    data: bytes
    is_whole: bool
    time_ns: int | None = None  # Unix time, where the line says it with its date


def split_identifier(identifier: int) -> tuple[int, int, int]:
    """Return (group, source, destination) of a 29-bit identifier."""
    group, source = identifier >> 8 & MAX_GROUP, identifier & 0xFF
    if group >> 8 & 0xFF < 240:
        return group & 0x3FF00, source, group & 0xFF
    return group, source, EVERYONE


def join_identifier(group: int, source: int, destination: int = EVERYONE, priority: int = 6) -> int:
    """Return the 29-bit identifier."""
    specific = destination if group >> 8 & 0xFF < 240 else 0
    return priority << 26 | (group | specific) << 8 | source


def candump_line(identifier: int, data: bytes, time_ns: int, interface: str) -> bytes:
    """Return a frame as candump's log writes it, with its line end."""
    seconds, rest = divmod(time_ns, 1_000_000_000)
    return f"({seconds}.{rest // 1000:06d}) {interface} {identifier:08X}#{data.hex().upper()}\n".encode()


_HEX = rb"[0-9A-Fa-f]"
_OCTETS = rb"((?:\s+" + _HEX + rb"{2}){0,8})"
_LOG = re.compile(rb"\((\d{1,11}\.\d{1,9})\)\s+\S{1,16}\s+(" + _HEX + rb"{8})#((?:" + _HEX + rb"{2}){0,8})(?:\s+[RT])?")
_SCREEN = re.compile(
    rb"(?:\((\d{1,11}\.\d{1,9})\)\s+)?[A-Za-z]\S{0,15}\s+(?:[RT]X\s+[-BE ]*\s+)?("
    + _HEX + rb"{8})\s+\[(\d)\]" + _OCTETS
)  # fmt: skip
_OLD = re.compile(rb"()<0x(" + _HEX + rb"{8})>\s+\[(\d)\]" + _OCTETS)
_PLAIN = re.compile(
    rb"(\d{4}-\d\d-\d\d)[T-](\d\d:\d\d:\d\d(?:[.,]\d{1,9})?)Z?,([0-7]),(\d{1,6}),(\d{1,3}),(\d{1,3}),(\d{1,3})"
    rb"((?:," + _HEX + rb"{2})*)"
)
_GATEWAY = re.compile(rb"(?:\d\d:\d\d:\d\d\.\d{1,6}\s+[RT]\s+)?(" + _HEX + rb"{8})" + _OCTETS)
_MESSAGE = re.compile(
    rb"(?:A\d{6}\.\d{1,6}\s+)?(" + _HEX + rb"{5})\s+(" + _HEX + rb"{5,6})\s+((?:" + _HEX + rb"{2}){1,223})"
)
_SLCAN = re.compile(rb"T(" + _HEX + rb"{8})([0-8])((?:" + _HEX + rb"{2}){0,8})(?:" + _HEX + rb"{4})?")
_PCDIN = re.compile(
    rb"\$(PCDIN,(" + _HEX + rb"{6}),\w{0,8},(" + _HEX + rb"{2}),((?:" + _HEX + rb"{2}){1,223}))\*(" + _HEX + rb"{2})"
)
_MXPGN = re.compile(
    rb"\$(MXPGN,(" + _HEX + rb"{6}),(" + _HEX + rb"{4}),((?:" + _HEX + rb"{2}){1,8}))\*(" + _HEX + rb"{2})"
)


def frame_of(line: bytes) -> Frame | None:
    """Return what a line holds; None if it is no frame of the bus.  ``line``: without its end."""
    line = line.strip()
    if not line or len(line) > MAX_LINE:
        return None
    read = _BY_FIRST.get(line[0])
    if read is not None:
        return read(line)
    for reader in _READERS:
        frame = reader(line)
        if frame is not None:
            return frame
    return None


def _frame(identifier: bytes, data: bytes, time_ns: int | None = None) -> Frame | None:
    number = int(identifier, 16)
    # A remote or error frame carries these flags above the 29 bits.
    if number >> 29:
        return None
    return Frame(*split_identifier(number), data, False, time_ns)


def _octets(text: bytes) -> bytes:
    return bytes.fromhex(text.decode("ascii").replace(",", " "))


def _log(line: bytes) -> Frame | None:
    match = _LOG.fullmatch(line)
    if match is None:
        return _screen(line)
    return _frame(match[2], bytes.fromhex(match[3].decode("ascii")), _unix(match[1]))


def _screen(line: bytes) -> Frame | None:
    match = _SCREEN.fullmatch(line)
    if match is None:
        return None
    data = _octets(match[4])
    return _frame(match[2], data, _unix(match[1])) if len(data) == int(match[3]) else None


def _old(line: bytes) -> Frame | None:
    match = _OLD.fullmatch(line)
    if match is None:
        return None
    data = _octets(match[4])
    return _frame(match[2], data) if len(data) == int(match[3]) else None


def _plain(line: bytes) -> Frame | None:
    match = _PLAIN.fullmatch(line)
    if match is None:
        return None
    data = _octets(match[8])
    group, source, destination, length = (int(match[i]) for i in (4, 5, 6, 7))
    if len(data) != length or length > MOST_OCTETS or group > MAX_GROUP or max(source, destination) > 255:
        return None
    try:
        day = datetime.fromisoformat(f"{match[1].decode()}T{match[2].decode()[:8]}").replace(tzinfo=UTC)
    except ValueError:
        return None
    fraction = (match[2][9:].decode() or "0").ljust(9, "0")
    # Some loggers write a fast packet frame by frame and some put it together: eight octets may be either.
    return Frame(group, source, destination, data, length > 8, utc_to_ns(day) + int(fraction))


def _gateway(line: bytes) -> Frame | None:
    match = _GATEWAY.fullmatch(line)
    return None if match is None else _frame(match[1], _octets(match[2]))


def _message(line: bytes) -> Frame | None:
    match = _MESSAGE.fullmatch(line)
    if match is None:
        return None
    ends, group = int(match[1], 16), int(match[2], 16)
    if group > MAX_GROUP:
        return None
    return Frame(group, ends >> 12 & 0xFF, ends >> 4 & 0xFF, bytes.fromhex(match[3].decode("ascii")), True)


def _slcan(line: bytes) -> Frame | None:
    match = _SLCAN.fullmatch(line)
    if match is None or len(match[3]) != 2 * int(match[2]):
        return None
    return _frame(match[1], bytes.fromhex(match[3].decode("ascii")))


def _sentence(line: bytes) -> Frame | None:
    for pattern, reverse in ((_PCDIN, False), (_MXPGN, True)):
        match = pattern.fullmatch(line)
        if match is None or reduce(int.__xor__, match[1], 0) != int(match[5], 16):
            continue
        group, data = int(match[2], 16), bytes.fromhex(match[4].decode("ascii"))
        if group > MAX_GROUP:
            return None
        if reverse:
            # The first bit: sent by the gateway itself, not heard.
            attribute = int(match[3], 16)
            return None if attribute >> 15 else Frame(group, attribute & 0xFF, EVERYONE, data[::-1], len(data) > 8)
        return Frame(group, int(match[3], 16), EVERYONE, data, True)
    return None


def _unix(text: bytes | None) -> int | None:
    if not text:
        return None
    seconds, _, fraction = text.decode("ascii").partition(".")
    return int(seconds) * 1_000_000_000 + int(fraction.ljust(9, "0"))


_READERS = (_plain, _gateway, _screen, _slcan, _message)
_BY_FIRST = {ord("("): _log, ord("<"): _old, ord("$"): _sentence}
