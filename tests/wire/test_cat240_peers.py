"""Category 240 against other people's decoders: each reads what the other writes."""

from __future__ import annotations

import math
import sysconfig
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from test_wire_cat240 import CONSTRUCTED, NOON_NS, made_spoke, one_video

from moonless.wire.cat240 import encode_video


@pytest.fixture(scope="module")
def asterix_decoder() -> Any:
    """asterix-decoder's C extension.  Imported by itself: two packages of the bench share the name `asterix`."""
    module = pytest.importorskip("_asterix")
    definition = Path(sysconfig.get_paths()["purelib"]) / "asterix" / "config" / "asterix_cat240_1_3.xml"
    module.init(str(definition))
    return module


@pytest.mark.parametrize("bits", [1, 2, 4, 8, 16, 32])
@pytest.mark.parametrize("block", [4, 64, 256])
@pytest.mark.parametrize("header", ["femto", "nano"])
def test_asterix_decoder_reads_what_we_write(asterix_decoder: Any, bits: int, block: int, header: str) -> None:
    dtype = np.uint8 if bits <= 8 else (np.uint16 if bits == 16 else np.uint32)
    cells = np.random.default_rng(bits).integers(0, 1 << bits, 100, dtype=np.uint64).astype(dtype)
    message = encode_video(
        cells,
        azimuth_start_rad=math.radians(123.75),
        azimuth_end_rad=math.radians(123.925_781_25),
        cell_m=15.0,
        start_cell=3,
        sequence=4_000_000_000,
        time_ns=NOON_NS,
        bits=bits,
        block=block,
        header=header,  # type: ignore[arg-type]
        sac=7,
        sic=9,
    )
    (record,) = asterix_decoder.parse(message, False)
    item = record["I041" if header == "femto" else "I040"]
    assert (record["I010"]["SAC"]["val"], record["I010"]["SIC"]["val"]) == (7, 9)
    assert record["I020"]["MSG_INDEX"]["val"] == 4_000_000_000
    assert item["START_AZ"]["val"] == 123.75
    assert item["START_RG"]["val"] == 3
    assert record["I048"]["RES"]["val"] == {1: 1, 2: 2, 4: 3, 8: 4, 16: 5, 32: 6}[bits]
    assert record["I049"]["NB_CELLS"]["val"] == 100
    assert record["I140"]["ToD"]["val"] == 43_200.0
    video = record[{4: "I050", 64: "I051", 256: "I052"}[block]]
    octets = b"".join(bytes.fromhex(part["VIDEO"]["val"]) for part in video)
    # The cells as one long binary number, most significant bit first.
    n_octet = -(-100 * bits // 8)
    as_number = int.from_bytes(octets[:n_octet], "big") >> (n_octet * 8 - 100 * bits)
    assert [(as_number >> (bits * (99 - i))) & ((1 << bits) - 1) for i in range(100)] == cells.tolist()


def test_asterix_decoder_reads_the_constructed_message(asterix_decoder: Any) -> None:
    (record,) = asterix_decoder.parse(CONSTRUCTED, False)
    assert record["I041"]["CELL_DUR"]["val"] == 50_034_614
    assert "".join(part["VIDEO"]["val"] for part in record["I050"]) == "000A142850A0FF80"


@pytest.mark.parametrize("compress", [False, True])
@pytest.mark.parametrize("dtype", [np.uint8, np.uint16, np.uint32])
@pytest.mark.parametrize("cell_m", [7.5, 600.0])
def test_we_read_what_pycatzao_writes(compress: bool, dtype: type, cell_m: float) -> None:
    pycatzao = pytest.importorskip("pycatzao")
    cells = np.random.default_rng(3).integers(0, 200, 300).astype(dtype)
    header = pycatzao.make_video_header(start_az=10.0, end_az=10.5, cell_offset=2 * cell_m, cell_width=cell_m)
    # It writes wide cells in the machine's byte order; the format is big-endian.
    swapped = cells.byteswap()
    payload = pycatzao.make_video_message(swapped, msg_index=5, header=header, compress=compress)
    message = pycatzao.encode(payload, sac=1, sic=2, tod=100.0)
    assert not message[3] & 0b0010_0000, "this encoder leaves out the bit of item 020"
    video = one_video(message)
    np.testing.assert_array_equal(video.cells, cells)
    assert (video.sequence, video.start_cell, video.time_of_day_s) == (5, 2, 100.0)
    # One nanosecond of duration is 0.15 m of cell.
    assert video.cell_m == pytest.approx(cell_m, abs=0.08 if cell_m > 500 else 1e-6)


@pytest.mark.parametrize("compress", [False, True])
def test_pycatzao_reads_what_we_write(compress: bool) -> None:
    pycatzao = pytest.importorskip("pycatzao")
    cells = np.random.default_rng(4).integers(1, 256, 1024).astype(np.uint8)
    message = encode_video(
        cells, azimuth_start_rad=0.5, azimuth_end_rad=0.51, cell_m=6.0, start_cell=1, sequence=9, compress=compress
    )
    (block,), rest = pycatzao.decode(message)
    assert rest == b""
    np.testing.assert_array_equal(block["amp"], cells)
    np.testing.assert_allclose(block["r"], 6.0 * (1 + np.arange(1024)), rtol=1e-6)
    assert block["idx"] == 9


def test_libasterix_reads_what_we_write() -> None:
    base = pytest.importorskip("asterix.base")
    generated = pytest.importorskip("asterix.generated")
    (block,) = base.RawDatablock.parse(base.Bits.from_bytes(made_spoke(16, sac=5, sic=6, block=64, time_ns=NOON_NS)))
    (record,) = generated.Cat_240_1_3.cv_uap.parse(block.get_raw_records())
    assert record.get_item("020").variation.as_uint() == 7
    assert record.get_item("140").variation.as_uint() == 43_200 * 128
    assert record.get_item("051").unparse().to_bytes()[1:17] == bytes(range(16))
