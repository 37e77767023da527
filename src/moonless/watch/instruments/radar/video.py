"""Whether the radar's video can be believed: silence, damage, an antenna or a picture that stands still, no video."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from moonless.constants import TAU
from moonless.echo.types import EchoPicture
from moonless.reading.types import Fault
from moonless.scan.types import Scan
from moonless.units import NS_PER_S
from moonless.watch.instruments.fault_memory import FaultMemory
from moonless.watch.instruments.radar.deaf_sectors import DeafSectors
from moonless.watch.instruments.radar.hearing import RadarHearing
from moonless.watch.instruments.radar.spoke_order import SpokeOrder

# Two turns of the antenna without a spoke, held between these.  The limit leaves room for the line that tells of it.
RADAR_SILENT_MOST_S = 2.5
RADAR_SILENT_LEAST_S = 1.0
# When more blocks than not could not be used over this long, what is left is no picture.
DAMAGE_WINDOW_S = 1.0
# Spokes that come while the antenna angle stands still.
AZIMUTH_STILL_S = 1.0
AZIMUTH_STILL_RAD = TAU / 16384
# Two turns of noisy video never agree in a whole row.
FROZEN_ROWS = 0.9
FROZEN_MIN_ROWS = 32


class RadarWatch:
    """Takes word of blocks, spokes and scans."""

    def __init__(self, memory: FaultMemory) -> None:
        self._memory = memory
        self._period_s: float | None = None
        self._frozen_ns: int | None = None
        self._empty_ns: int | None = None
        self._blocks: tuple[int, int, int] | None = None  # since when, blocks used, blocks not
        self._last_scan: Scan | None = None
        self._hearing = RadarHearing()
        self._order = SpokeOrder()
        self._sectors = DeafSectors()
        self._azimuth: tuple[int, float] | None = None  # when and where the antenna last moved

    def begin_again(self) -> None:
        """After a jump of the clock."""
        self._azimuth = self._last_scan = None
        self._frozen_ns = self._empty_ns = None
        self._hearing = RadarHearing()
        self._order = SpokeOrder()
        self._sectors = DeafSectors()

    def spokes(self, now_ns: int, azimuth_rad: Sequence[float]) -> None:
        """Take note of where the antenna looked, spoke after spoke."""
        since_ns = self._order.take(now_ns, azimuth_rad)
        if since_ns is not None:
            # Two antennas on one link under one name, of which neither's picture can be told from the other's; or a
            # picture turned over.
            self._memory.hold("radar", "damaged", now_ns, since_ns=since_ns)

    def picture(self, scan: Scan, picture: EchoPicture) -> None:
        """Take note of what a turn shows: does the radar hear?"""
        self._hearing.picture(scan, picture)
        self._sectors.take(scan, picture)

    def as_heard(self, scan: Scan, picture: EchoPicture) -> tuple[Scan, EchoPicture]:
        """Return the newest turn and its picture with the bearings on which the radar does not hear as not received."""
        return self._sectors.as_heard(scan, picture)

    def measured_anew(self) -> None:
        """Take note that the set's metres are put right from here on."""
        self._hearing.measured_anew()
        self._sectors = DeafSectors()

    @property
    def is_hearing_shown(self) -> bool:
        """Whether the radar has shown that it hears."""
        return self._hearing.is_shown

    def spoke(self, now_ns: int, azimuth_rad: float) -> None:
        """Take note of the newest spoke of those that came in together."""
        self._memory.heard("radar", now_ns)
        if self._azimuth is not None:
            moved = abs(math.remainder(azimuth_rad - self._azimuth[1], TAU))
            if moved < AZIMUTH_STILL_RAD:
                return
        self._azimuth = (now_ns, azimuth_rad)

    def blocks(self, now_ns: int, n_good: int, n_bad: int) -> None:
        """Take note of how many blocks of what came in could be used, and how many not."""
        began_ns, good, bad = self._blocks if self._blocks is not None else (now_ns, 0, 0)
        good, bad = good + n_good, bad + n_bad
        if now_ns - began_ns < DAMAGE_WINDOW_S * NS_PER_S:
            self._blocks = (began_ns, good, bad)
            return
        if bad > good:
            self._memory.begin(now_ns)
            self._memory.hold("radar", "damaged", now_ns, since_ns=began_ns)
        self._blocks = None

    def scan(self, scan: Scan, period_s: float | None) -> None:
        """Take note of a turn: is there video at all, and is it the last one's again?"""
        self._period_s = period_s
        n_received = int(np.count_nonzero(scan.is_received))
        # A receiver has noise, and round a sending one is the nearest water: a turn without a single count is no calm
        # sea but a set on stand-by, or a broken one.
        if scan.echo.any() or n_received < FROZEN_MIN_ROWS:
            self._empty_ns = None
        elif self._empty_ns is None:
            self._empty_ns = scan.end_ns
        last, self._last_scan = self._last_scan, scan
        if last is None or last.echo.shape != scan.echo.shape:
            self._frozen_ns = None
            return
        both = scan.is_received & last.is_received & scan.echo.any(axis=1)
        n = int(np.count_nonzero(both))
        if n < FROZEN_MIN_ROWS:
            self._frozen_ns = None
            return
        same = np.all(scan.echo[both] == last.echo[both], axis=1)
        if float(np.mean(same)) < FROZEN_ROWS:
            self._frozen_ns = None
        elif self._frozen_ns is None:
            self._frozen_ns = last.end_ns

    @property
    def limit_s(self) -> float:
        """Seconds without a spoke after which the radar is silent."""
        turns = 2.0 * self._period_s if self._period_s is not None else RADAR_SILENT_MOST_S
        return min(RADAR_SILENT_MOST_S, max(RADAR_SILENT_LEAST_S, turns))

    def fault(self, now_ns: int) -> Fault | None:
        """Return what is wrong with the radar at a time."""
        held = self._memory.held("radar", now_ns)
        if held is not None and held.state == "damaged":
            # Bytes come and cannot be used: more than silence, and worth another look at the radar's settings.
            return held
        silent = self._memory.silent("radar", now_ns, self.limit_s)
        if silent is not None:
            return silent
        if self._azimuth is not None and now_ns - self._azimuth[0] > AZIMUTH_STILL_S * NS_PER_S:
            return Fault("radar", "frozen", self._azimuth[0])
        if self._empty_ns is not None:
            return Fault("radar", "silent", self._empty_ns)
        if self._frozen_ns is not None:
            return Fault("radar", "frozen", self._frozen_ns)
        if self._hearing.deaf_since_ns is not None and held is None:
            return Fault("radar", "deaf", self._hearing.deaf_since_ns)
        return held
