"""Is an S-57 file whole?  Only the record lengths of ISO/IEC 8211 are read here; GDAL reads the rest.

GDAL gives what it can of a file cut short and says nothing, so a chart with its second half missing would look like
open water.  Each record begins with its length as five digits (ISO/IEC 8211:1994, record leader; from memory, and so
in every cell at hand).
"""

from __future__ import annotations

from pathlib import Path

from moonless.errors import ChartError

_LEADER = 24  # octets of a record's leader


def record_count(data: bytes, path: Path) -> int:
    """Return how many records a whole file holds.

    Raises ChartError if the bytes are not ISO 8211 records, or end inside one.
    """
    offset = 0
    count = 0
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
        offset += length
        count += 1
    if count == 0:
        raise ChartError(f"{path}: is empty")
    return count
