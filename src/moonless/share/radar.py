"""Radar video written anew: the same spokes, without the numbers and texts of the set they came from."""

from __future__ import annotations

import math

from moonless.share.moved import Moved
from moonless.watch.screen.transcribe import SAC, SIC, errors_in, summary_of
from moonless.wire.cat240 import Cat240Decoder, Summary, Video
from moonless.wire.cat240_encode import encode_video
from moonless.wire.cat240_records import AZIMUTH_LSB_RAD, FEMTO_S

# What does not fit in one message unpacked.
_MOST_BITS = 8 * 254 * 256
_MAX_FEMTO = 0xFFFF_FFFF * FEMTO_S


class SharedRadar:
    """Takes in a run's data blocks in order and gives blocks for them; counts the turns of the antenna."""

    def __init__(self, moved: Moved, keep_one_in: int = 1) -> None:
        self._moved = moved
        self._keep_one_in = keep_one_in
        self._decoder = Cat240Decoder()
        self._radars: dict[tuple[int, int], tuple[int, int]] = {}
        self._first: dict[tuple[int, int], int] = {}
        self._last_azimuth: int | None = None
        self.turns = 0

    def block(self, data: bytes, received_ns: int) -> list[bytes]:
        """Return the blocks that hold anew what one block held."""
        return [block for event in self._decoder.datagram(data) for block in self._event(event, received_ns)]

    def _event(self, event: Video | Summary, received_ns: int) -> list[bytes]:
        if isinstance(event, Summary):
            told = errors_in(event.text)
            # A text of anybody else's is not passed on.
            return [] if told is None else [summary_of(told, self._moved.time(received_ns))]
        source = (event.sac, event.sic)
        if source not in self._radars:
            # A picture of a screen is known by its own source.
            self._radars[source] = source if source == (SAC, SIC) else (0, len(self._radars) + 1)
        if next(iter(self._radars)) == source:
            self._count(event.azimuth_start_lsb)
        if self.turns % self._keep_one_in:
            return []
        sac, sic = self._radars[source]
        first = self._first.setdefault(source, event.sequence or 0)
        is_timed = event.time_of_day_s is not None
        return [
            encode_video(
                event.cells,
                azimuth_start_rad=event.azimuth_start_lsb * AZIMUTH_LSB_RAD,
                azimuth_end_rad=event.azimuth_end_lsb * AZIMUTH_LSB_RAD,
                cell_m=event.cell_m,
                start_cell=event.start_cell,
                sequence=((event.sequence or 0) - first) % 2**32,
                time_ns=self._moved.time(event.time_ns(received_ns)) if is_timed else None,
                bits=event.bits,
                compress=len(event.cells) * event.bits > _MOST_BITS,
                header=None if event.cell_duration_s <= _MAX_FEMTO else "nano",
                sac=sac,
                sic=sic,
            )
        ]

    def _count(self, azimuth_lsb: int) -> None:
        last, self._last_azimuth = self._last_azimuth, azimuth_lsb
        # Over north, not back over it by a jitter.
        if last is not None and last - azimuth_lsb > round(math.pi / AZIMUTH_LSB_RAD):
            self.turns += 1
