"""The very first start: the detector's and the tracker's kernels compiled in a process of their own.

Compiled kernels are kept on disk, so this happens once.  That once, the watch's process has the radar model to compile
already; on a second processor a child reads a few made turns without a chart, which compiles and keeps the kernels of
everything from bytes to tracks.  Kernels of the radar model and of hidden water are left to the watch.  The one small
kernel that both need is compiled twice; Numba puts each file in its place whole, so neither reads a half-written one.

``python -m moonless.watch.runtime.precompile`` is the child.
"""

from __future__ import annotations

import subprocess
import sys
from operator import attrgetter
from types import TracebackType
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from moonless.boat.types import Boat
    from moonless.chart.library import Chart

N_SPOKE, N_CELL, CELL_M, TURNS, PERIOD_S = 256, 256, 12.0, 4, 2.5


class PrecompileProcess:
    """A child that compiles, if one is needed; over when it has ended, well or not."""

    def __init__(self) -> None:
        self._child: subprocess.Popen[bytes] | None = None
        if not is_compiled() and sys.executable:
            quiet = subprocess.DEVNULL
            self._child = subprocess.Popen(
                [sys.executable, "-m", "moonless.watch.runtime.precompile"], stdin=quiet, stdout=quiet, stderr=quiet
            )

    @property
    def is_running(self) -> bool:
        """True while kernels are still being compiled."""
        return self._child is not None and self._child.poll() is None

    def end(self) -> None:
        """Wait for no more; nothing is left running."""
        if self._child is not None and self._child.poll() is None:
            self._child.terminate()
            self._child.wait()
        self._child = None

    def __enter__(self) -> PrecompileProcess:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, problem: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.end()


def is_compiled() -> bool:
    """Return whether the kernels are kept on disk, as they are now; where that cannot be told they are taken to be.

    Asked of two: one of the detector's, and the last of the tracker's that a second turn compiles.
    """
    from moonless.echo.kernels.video_kernels import spread_kernel
    from moonless.track.kernels.plot_kernels import update_kernel

    return all(_is_kept(kernel) for kernel in (spread_kernel, update_kernel))


def _is_kept(kernel: object) -> bool:
    try:
        # Numba's own index of a function's kept versions; empty when its source has changed since.
        return bool(attrgetter("_cache._cache_file")(kernel)._load_index())
    except (AttributeError, OSError):
        return True


def read_made_turns(boat: Boat | None = None, chart: Chart | None = None) -> None:
    """Read a few made turns: noise, a handful of echoes, a steady boat, in the middle of the first cell of a chart.

    Every kernel that a watch needs is loaded then, and compiled where none was kept.
    """
    import numpy as np

    from moonless.boat.file import default_boat
    from moonless.constants import TAU
    from moonless.units import NS_PER_S
    from moonless.watch.pipeline.chain import Chain
    from moonless.wire import nmea_write as write
    from moonless.wire.cat240 import encode_video

    chain = Chain(boat or default_boat(), chart)
    first_lat, lon = 10.0, -30.0
    if chart is not None and chart.cells:
        middle = chart.cells[0].coverage_lonlat.representative_point()
        first_lat, lon = middle.y, middle.x
    rng = np.random.default_rng(1)
    start_ns = 1_800_000_000 * NS_PER_S
    half = 0.5 * TAU / N_SPOKE
    for number in range(TURNS * N_SPOKE + 2):
        now = start_ns + round(number * PERIOD_S / N_SPOKE * NS_PER_S)
        if number % 16 == 0:
            # She goes north: a position that stands still would be taken for a frozen one.
            lat = first_lat + number * 4e-7
            for line in (write.write_hdt(0.002 * (number % 3)), write.write_rmc(now, lat, lon, 0.0, 4.0)):
                chain.feed_nmea((line + "\r\n").encode(), now)
        row = number % N_SPOKE
        cells = rng.integers(20, 60, N_CELL).astype(np.uint8)
        for middle in (30, 90, 200):
            if abs(row - middle) <= 3:
                cells[middle : middle + 3] = 220
        azimuth = row * TAU / N_SPOKE
        data = encode_video(
            cells, azimuth_start_rad=azimuth - half, azimuth_end_rad=azimuth + half, cell_m=CELL_M, start_cell=1,
            sequence=number, time_ns=now,
        )  # fmt: skip
        chain.feed_radar(data, now, is_datagram=True)


if __name__ == "__main__":
    read_made_turns()
