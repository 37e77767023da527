"""When a line without a scan is due: one each second while the radar cannot be believed, or sends nothing."""

from __future__ import annotations

from moonless.units import NS_PER_S
from moonless.watch.instruments.faults import FaultWatch
from moonless.watch.instruments.timebase import TimeBase

LINE_NS = NS_PER_S
# Datagrams come a thousand a second; whether a line is due is looked at this often.
LOOK_NS = NS_PER_S // 20
# A gap longer than this is not filled with a line each second: the recording, or the computer, stood still.
FILL_NS = 600 * NS_PER_S
# Between scans of a slow antenna no line is due; past this the radar sends, and makes no picture.
NO_PICTURE_S = 6.0


class LineTimes:
    """Keeps when the watch last spoke; all times are Unix ns of the watch's time line."""

    def __init__(self, times: TimeBase, faults: FaultWatch) -> None:
        self.times = times
        self.now_ns: int | None = None
        self.last_ns: int | None = None  # of the last reading, with a scan or without
        self._faults = faults
        self._scan_ns: int | None = None
        self._looked_ns = 0

    def pass_to(self, now_ns: int) -> bool:
        """Let time pass; return True for the first moment of the watch."""
        is_first, self.now_ns = self.now_ns is None, now_ns
        if is_first:
            self.last_ns = now_ns
        return is_first

    def begin_again(self, now_ns: int) -> None:
        """The time line has moved."""
        self._scan_ns, self.last_ns = None, now_ns

    def scanned(self, time_ns: int) -> None:
        """A reading of a scan was made."""
        self._scan_ns = self.last_ns = time_ns

    @property
    def pictured_ns(self) -> int | None:
        """When a reading was last made of a scan; None: never since the time line began."""
        return self._scan_ns

    def has_no_picture(self, now_ns: int) -> bool:
        """Return whether no reading of a scan was made for longer than a slow antenna takes for a turn."""
        return self._scan_ns is not None and now_ns - self._scan_ns > NO_PICTURE_S * NS_PER_S

    def next_due(self, now_ns: int) -> int | None:
        """Return when the next line without a scan falls due, if by now it does."""
        if self.last_ns is None or now_ns - self.last_ns > FILL_NS:
            self.last_ns = now_ns - LINE_NS
        due_ns = self.last_ns + LINE_NS
        if due_ns > now_ns or 0 <= now_ns - self._looked_ns < LOOK_NS:
            return None
        line_ns = self._due(due_ns, self.last_ns, now_ns)
        if line_ns is None:
            self._looked_ns = now_ns
        return line_ns

    def _due(self, due_ns: int, last_ns: int, now_ns: int) -> int | None:
        # The radar was believed until its limit was up: the first line without a scan tells of the fault.
        for fault in self._faults.faults(now_ns):
            if fault.what == "radar" and fault.state in ("silent", "frozen", "damaged", "late", "deaf"):
                first_ns = fault.since_ns + round(self._faults.radar_limit_s * NS_PER_S) + 1
                if fault.state in ("silent", "frozen") and self._scan_ns is not None:
                    first_ns = max(first_ns, self._scan_ns + LINE_NS)
                due_ns = max(due_ns, first_ns)
                return due_ns if due_ns <= now_ns else None
        picture_ns = self._scan_ns if self._scan_ns is not None else last_ns
        return due_ns if now_ns - picture_ns > NO_PICTURE_S * NS_PER_S else None
