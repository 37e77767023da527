"""One turn of the antenna, and the boat's own pose while it turned.

Stands below `wire` and `radar`, which both make scans and need not know each other.
"""

from moonless.scan.pose import PoseSample, PosesAt, PoseSeries
from moonless.scan.types import Scan, ScanErrors, Spoke

__all__ = ["PoseSample", "PoseSeries", "PosesAt", "Scan", "ScanErrors", "Spoke"]
