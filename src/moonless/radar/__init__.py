"""The physical model: what this radar would show, here, in this weather."""

from __future__ import annotations

from moonless.radar.types import ExpectedScan, MarkExpectation, PointTarget, RadarPose, RainCell, ScanGrid, Weather

__all__ = ["ExpectedScan", "MarkExpectation", "PointTarget", "RadarPose", "RainCell", "ScanGrid", "Weather"]
