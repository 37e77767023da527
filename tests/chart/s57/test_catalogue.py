"""A cell whose bytes are not those that its exchange set's catalogue was made for is refused."""

from __future__ import annotations

from pathlib import Path

import pytest

from moonless.chart.s57.catalogue import check_against_catalogue
from moonless.errors import ChartError

# The CRC-32 of these nine figures: the check value under which the polynomial of ANSI/IEEE 802.3 is known.
FIGURES, CHECK = b"123456789", "CBF43926"


def entry(name: str, crc: str) -> bytes:
    """Return one record as S-57, part 3, 7.4.1 lays it out.

    RCNM RCID FILE LFIL VOLM IMPL SLAT WLON NLAT ELON CRCS COMT, the texts and numbers each with its end.
    """
    text = f"CD0000000001{name}\x1flong name\x1fV01X01\x1fBIN42.0\x1f-71.2\x1f42.4\x1f-70.9\x1f{crc}\x1f\x1f"
    catd = text.encode()
    fields = b"00001\x1e" + catd + b"\x1e"
    directory = b"0001" + b"006" + b"0000" + b"CATD" + b"%03d" % (len(catd) + 1) + b"0006" + b"\x1e"
    base = 24 + len(directory)
    leader = b"%05d D     %05d   3404" % (base + len(fields), base)
    assert len(leader) == 24
    return leader + directory + fields


def exchange_set(folder: Path, *entries: bytes) -> Path:
    """Return a cell's path in an exchange set of its own."""
    cell = folder / "ENC_ROOT" / "XX5AAAAA" / "XX5AAAAA.000"
    cell.parent.mkdir(parents=True)
    cell.write_bytes(FIGURES)
    (folder / "ENC_ROOT" / "CATALOG.031").write_bytes(entry("CATALOG.031", "") + b"".join(entries))
    return cell


def test_the_sum_of_the_catalogue_is_held_against_the_cell(tmp_path: Path) -> None:
    cell = exchange_set(tmp_path, entry("XX5AAAAA\\XX5AAAAA.000", CHECK))
    check_against_catalogue(cell, FIGURES)
    for k in range(8 * len(FIGURES)):
        flipped = bytearray(FIGURES)
        flipped[k // 8] ^= 1 << k % 8
        with pytest.raises(ChartError, match=r"not the file its catalogue names.*CBF43926.*copy the whole exchange"):
            check_against_catalogue(cell, bytes(flipped))


@pytest.mark.parametrize(
    "entries",
    [
        (),
        (entry("XX5AAAAA\\XX5AAAAA.000", ""),),  # a sum may be left out
        (entry("YY5BBBBB\\YY5BBBBB.000", "00000000"),),
        (entry("XX5AAAAA\\XX5AAAAA.000", "nothing"),),
        (b"no record at all" * 10,),
        (entry("XX5AAAAA\\XX5AAAAA.000", CHECK)[:60],),
    ],
)
def test_what_no_sum_is_known_of_passes(tmp_path: Path, entries: tuple[bytes, ...]) -> None:
    check_against_catalogue(exchange_set(tmp_path, *entries), b"anything")


def test_without_a_catalogue_nothing_is_held_against_it(tmp_path: Path) -> None:
    check_against_catalogue(tmp_path / "XX5AAAAA.000", b"anything")
