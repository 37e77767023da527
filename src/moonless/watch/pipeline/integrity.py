"""Integrity: what cannot be believed at a moment, and what that takes away from all that comes after."""

from __future__ import annotations

import shapely

from moonless.chart.library import Chart
from moonless.reading.types import Fault
from moonless.watch.instruments.faults import FaultWatch
from moonless.watch.instruments.intake import Intake


class Integrity:
    """The faults of the moment: of the sources, by the fault watch, and of a chart that has ended."""

    def __init__(self, faults: FaultWatch, intake: Intake, chart: Chart | None) -> None:
        self.watch = faults
        self._intake = intake
        self._chart = chart
        self._chart_since_ns: int | None = None
        self._was_off = False

    def faults(self, now_ns: int) -> tuple[Fault, ...]:
        """Return all faults at a time."""
        faults = self.watch.faults(now_ns)
        gone = {fault.what for fault in faults}
        # Sources that disagree are told where nothing worse is.
        faults += tuple(fault for fault in self._intake.agreement.faults(now_ns) if fault.what not in gone)
        chart = self._chart_fault(now_ns)
        return faults if chart is None else (*faults, chart)

    def has_come_back(self, faults: tuple[Fault, ...]) -> bool:
        """Return True once after a jump or drift of position or heading is over: what was tracked by it is not where it
        seems."""
        had, self._was_off = self._was_off, any(
            fault.what in ("position", "heading") and fault.state in ("jumped", "damaged") for fault in faults
        )
        return had and not self._was_off

    def _chart_fault(self, now_ns: int) -> Fault | None:
        """The chart has ended: no cell covers the boat."""
        if self._chart is None:
            return None
        at = self._intake.poses.at(now_ns)
        lat, lon = float(at.lat_deg[0]), float(at.lon_deg[0])
        if lat != lat:  # not known
            return None
        if any(shapely.intersects_xy(cell.coverage_lonlat, lon, lat) for cell in self._chart.cells):
            self._chart_since_ns = None
            return None
        if self._chart_since_ns is None:
            self._chart_since_ns = now_ns
        return Fault("chart", "silent", self._chart_since_ns)


def withdrawn(faults: tuple[Fault, ...]) -> frozenset[str]:
    """Return the things that faults take away; what only disagrees stays, and is told."""
    return frozenset(fault.what for fault in faults if fault.state != "disagrees")
