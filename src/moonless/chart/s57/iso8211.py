"""Is an S-57 file whole?  Only its records and fields, as ISO/IEC 8211 bounds them, are read here; GDAL reads the rest.

GDAL gives what it can of a file cut short and says nothing, so a chart with its second half missing would look like
open water.  Each record begins with its length as five digits (ISO/IEC 8211:1994, record leader; from memory, and so
in every cell at hand), a directory of its fields, and each field ends with a mark.  The second field of an S-57 record
begins with what the record is and its number (S-57 edition 3.1, part 3, chapter 7; from memory, as above).
"""

from __future__ import annotations

from collections import Counter
from pathlib import Path

from moonless.errors import ChartError

_LEADER = 24  # octets of a record's leader
_FIELD_ENDS = 0x1E
# Record names (RCNM) of S-57 part 3, 7.1.
FEATURE, ISOLATED_NODE, CONNECTED_NODE, EDGE, FACE = 100, 110, 120, 130, 140
_NAME_OCTETS = 5  # RCNM and RCID, which nothing else in a file may have


def records_of(data: bytes, path: Path, *, is_update: bool = False) -> Counter[int]:
    """Return how many records of each name a whole file holds; the one that describes the others is not counted.

    ``is_update``: it may change one record twice, which a base file holds once.

    Raises ChartError if the bytes are not ISO 8211 records, end inside one, or a record is not what its directory says.
    """
    offset = 0
    count = 0
    seen: set[bytes] = set()
    kinds: Counter[int] = Counter()
    size = len(data)
    while offset < size:
        digits = data[offset : offset + 5]
        if not digits.isdigit() or (count == 0 and data[offset + 6 : offset + 7] not in (b"L", b"D")):
            what = "is not an S-57 file" if count == 0 else f"is damaged at byte {offset}"
            raise ChartError(f"{path}: {what}: no record leader there")
        length = int(digits)
        if length < _LEADER:
            raise ChartError(f"{path}: is damaged at byte {offset}: a record cannot be {length} bytes long")
        if offset + length > size:
            raise ChartError(
                f"{path}: is cut short: the record at byte {offset} needs {length} bytes and the file holds "
                f"{size - offset} more; copy the cell again"
            )
        if count:
            name = _name_of(data, offset, length)
            if name is None or (name in seen and not is_update):
                words = "a record's fields are not where it says" if name is None else "a record comes twice"
                raise ChartError(f"{path}: is damaged at byte {offset}: {words}; copy the cell again")
            seen.add(name)
            kinds[name[0]] += 1
        offset += length
        count += 1
    if count == 0:
        raise ChartError(f"{path}: is empty")
    return kinds


def _name_of(data: bytes, offset: int, length: int) -> bytes | None:
    """Return what names a record, of its second field; None where its fields are not what its directory says."""
    leader = data[offset : offset + _LEADER]
    sizes, base = leader[20:24], leader[12:17]  # octets of a field's length, its place and its tag; where fields begin
    if not (sizes.isdigit() and base.isdigit()):
        return None
    n_length, n_place, n_tag = sizes[0] - 48, sizes[1] - 48, sizes[3] - 48
    first, at, expected, name = offset + int(base), offset + _LEADER, 0, None
    n_entry = n_length + n_place + n_tag
    while n_entry and at + n_entry < first:
        digits = data[at + n_tag : at + n_entry]
        if not digits.isdigit():
            return None
        n_octet, place = int(digits[:n_length]), int(digits[n_length:])
        end = first + place + n_octet
        # One after the other, each with its mark, to the record's own end.
        if place != expected or not n_octet or end > offset + length or data[end - 1] != _FIELD_ENDS:
            return None
        if at == offset + _LEADER + n_entry:
            name = data[first + place : first + place + _NAME_OCTETS]
        expected, at = place + n_octet, at + n_entry
    is_whole = first + expected == offset + length and data[first - 1 : first] == bytes([_FIELD_ENDS])
    return name if is_whole and name is not None and len(name) == _NAME_OCTETS else None
