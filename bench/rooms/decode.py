"""CAT240 decode of a scan of 2048 spokes by 1024 cells, one message a spoke, against pycatzao in the same run.

Ours includes the conversion to spokes, which the peer has no counterpart for.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence

import numpy as np

from bench.result import Result
from moonless.clock import steady_s
from moonless.constants import TAU
from moonless.wire.cat240 import Cat240Decoder, Video, encode_video

NAMES = ("decode",)

N_SPOKE, N_CELL, N_RUN = 2048, 1024, 15


def run(names: Sequence[str]) -> Iterator[Result]:
    """Yield the one figure: the best of several runs, ours and the peer's taken in turn."""
    import pycatzao

    rng = np.random.default_rng(240)
    # Made video: noise with every tenth cell strong.
    stream = b"".join(
        encode_video(
            (rng.integers(0, 60, N_CELL) + 150 * (rng.random(N_CELL) < 0.1)).astype(np.uint8),
            azimuth_start_rad=i * TAU / N_SPOKE,
            azimuth_end_rad=(i + 1) * TAU / N_SPOKE,
            cell_m=7.5,
            sequence=i,
            time_ns=i * 1_200_000,
        )
        for i in range(N_SPOKE)
    )

    def ours() -> int:
        videos = Cat240Decoder().feed(stream)
        return len([v.to_spoke(0) for v in videos if isinstance(v, Video)])

    def peers() -> int:
        return len(pycatzao.decode(stream)[0])

    assert ours() == peers() == N_SPOKE
    mine, theirs = [], []
    for _ in range(N_RUN):
        mine.append(_timed(ours))
        theirs.append(_timed(peers))
    yield Result("decode", min(mine) * 1e3, "ms", "pycatzao", min(theirs) * 1e3, min(theirs) / min(mine))


def _timed(work: Callable[[], int]) -> float:
    begin = steady_s()
    work()
    return steady_s() - begin
