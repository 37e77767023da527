"""The catalogue of an exchange set says what each of its files must sum to; a damaged cell is known by that.

``CATALOG.031`` lies in the root of an exchange set, cells in it or in folders below.  Of each entry (field CATD of an
ISO 8211 record) the file's name and its CRC-32 are read here: S-57 edition 3.1, part 3, 7.4.1 and appendix B.1 (CRC-32
of ANSI/IEEE 802.3, written in hexadecimal), from memory.  A cell without a catalogue has no sum to be held against.
"""

from __future__ import annotations

import zlib
from pathlib import Path, PureWindowsPath

from moonless.errors import ChartError

NAME = "CATALOG.031"
# Folders above the cell that are looked into: an exchange set keeps cells as PRODUCER/CELL/EDITION/UPDATE/CELL.000.
MOST_ABOVE = 5
MOST_BYTES = 64 * 1024 * 1024
_LEADER, _UNIT, _FIELD = 24, b"\x1f", b"\x1e"
# Before FILE stand RCNM (2 letters) and RCID (10 figures); between VOLM and SLAT stands IMPL (3 letters).
_BEFORE_FILE, _N_PARTS, _CRC = 12, 9, 7


def check_against_catalogue(path: Path, data: bytes) -> None:
    """Refuse a file whose bytes are not those that the catalogue of its exchange set was made for.

    Raises ChartError.  A file that no catalogue names, or names without a sum, passes.
    """
    for folder in list(path.absolute().parents)[:MOST_ABOVE]:
        catalogue = folder / NAME
        if not catalogue.is_file():
            continue
        expected = _sums(catalogue).get(_key(path.absolute().relative_to(folder).as_posix()))
        if expected is not None and expected != zlib.crc32(data):
            raise ChartError(
                f"{path}: is not the file its catalogue names ({catalogue}: CRC-32 {expected:08X}, the file's is "
                f"{zlib.crc32(data):08X}): damaged, or of another date; copy the whole exchange set again"
            )
        return


def _sums(catalogue: Path) -> dict[str, int]:
    """Return the sums by file, its path below the catalogue; {} of a catalogue that cannot be read."""
    try:
        if catalogue.stat().st_size > MOST_BYTES:
            return {}
        data = catalogue.read_bytes()
    except OSError:
        return {}
    found, at = {}, 0
    while at + _LEADER <= len(data):
        leader = data[at : at + _LEADER]
        if not leader[:5].isdigit() or int(leader[:5]) < _LEADER:
            break
        record = data[at : at + int(leader[:5])]
        at += len(record)
        if leader[6:7] != b"D" or not leader[12:17].isdigit():
            continue
        for one in record[int(leader[12:17]) :].split(_FIELD):
            parts = one.split(_UNIT)
            if one[:2] != b"CD" or len(parts) < _N_PARTS:
                continue
            name, crc = parts[0][_BEFORE_FILE:].decode("latin-1"), parts[_CRC].decode("latin-1").strip()
            try:
                found[_key(name)] = int(crc, 16)
            except ValueError:
                continue  # no sum is given: it may be left out
    return found


def _key(name: str) -> str:
    """Return a path as it is looked up: catalogues write it with backslashes, and in either case."""
    return PureWindowsPath(name).as_posix().lower()
