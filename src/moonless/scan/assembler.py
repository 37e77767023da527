"""Spokes in, whole turns of the antenna out.

Rules of this file:
- A turn begins where the first spoke looked, and the next one a full circle later: the first turn is whole too.
- How many spokes make a turn is learnt from their spacing; the rows of a scan are regular whatever the radar sends.
- A row is received when a spoke covers it, or looked to within three quarters of a row of it.  A lost spoke leaves
  a row that is not received: zero, and said to be unknown.
- A turn is handed on when its last row is in, or when the antenna is a little past its end: spokes that come in the
  wrong order are waited for that long and no longer.
- The antenna may turn either way, stop, or sweep a sector to and fro.  A sector is a scan that is not whole.
- A change of cell size, first range or counts ends the turn: echoes of two range scales do not mix.

    u, the unwrapped antenna angle in the direction of turning:

        u_start                     u_start + 2 pi
        |---- this turn ------------|- window -|      -> handed on when u passes the window
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace

import numpy as np

from moonless.constants import TAU
from moonless.scan.pose import PoseSeries
from moonless.scan.scan_rows import antenna_place, grid_phase, lay_cells, nearest_spokes, row_times
from moonless.scan.spoke_grid import MIN_SPOKES, SpokeGrid
from moonless.scan.types import AntennaAngle, Scan, ScanErrors, Spoke
from moonless.units import NS_PER_S

# Rows past the end of a turn to wait for spokes in the wrong order.  Common practice on a local network, no source.
LATE_ROWS = 8
# With no spoke for this long (or two turns, if that is longer) the turn is not going on.
PAUSE_S = 1.0
MAX_PERIOD_S = 10.0
# A spoke this much older than the last is not late: the clock, or a file, began again.
BACKWARDS_S = 1.0
# A heading this old is asked for again while a true-referenced turn comes in; only the turn's end depends on it.
HEADING_EVERY_NS = 50_000_000
# A spoke that claims to be wider than this says nothing useful about its own middle.
WIDEST_SPOKE_RAD = math.radians(15.0)


@dataclass(slots=True)
class AssemblerCounts:
    """What the assembler has met so far."""

    scans: int = 0
    late: int = 0  # spokes of a turn already handed on
    no_heading: int = 0  # true-referenced spokes that came before any heading
    too_few: int = 0  # spokes of turns too thin to hand on
    restarts: int = 0  # turns broken off: pause, clock, range change or reversal


@dataclass(slots=True)
class _Sighting:
    """One spoke with its place in the turn; further stretches of the same spoke hang on it."""

    u: float  # antenna angle from the bow, unwrapped, signed
    centre_rad: float  # antenna angle as sent
    spoke: Spoke
    more: list[Spoke] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class _Mounting:
    """How the antenna stands on the boat, and what its angle is counted from."""

    angle_from: AntennaAngle
    bow_offset_rad: float
    range_offset_m: float
    forward_m: float
    starboard_m: float


class _HeadingNow:
    """The heading, asked for again only when it is older than `HEADING_EVERY_NS`."""

    def __init__(self) -> None:
        self._rad = math.nan
        self._ns: int | None = None

    def at(self, time_ns: int, poses: PoseSeries) -> float | None:
        """Return the true heading, radians; None while it is not known."""
        if self._ns is None or abs(time_ns - self._ns) > HEADING_EVERY_NS:
            self._rad = float(poses.at(time_ns).heading_true_rad[0])
            self._ns = time_ns if math.isfinite(self._rad) else None
        return None if self._ns is None else self._rad


class ScanAssembler:
    """Builds scans from spokes; see the rules of this file.

    Parameters
    ----------
    errors : how exactly this radar knows where a cell is; handed on with every scan
    angle_from : what the antenna angle is counted from
    bow_offset_rad : added to every angle
    range_offset_m : added to every range
    antenna_forward_m, antenna_starboard_m : of the radar's antenna from the position antenna; the scan's positions
        are the radar antenna's
    """

    def __init__(
        self,
        errors: ScanErrors,
        *,
        angle_from: AntennaAngle = "bow",
        bow_offset_rad: float = 0.0,
        range_offset_m: float = 0.0,
        antenna_forward_m: float = 0.0,
        antenna_starboard_m: float = 0.0,
    ) -> None:
        self.counts = AssemblerCounts()
        self._errors = errors
        self._mounting = _Mounting(
            angle_from, bow_offset_rad, range_offset_m, antenna_forward_m, antenna_starboard_m
        )
        self._grid = SpokeGrid()
        self._heading = _HeadingNow()
        self._turn: list[_Sighting] = []
        self._direction = 0  # +1 clockwise, -1 the other way, 0 not known
        self._u_start = 0.0
        self._u_last = 0.0
        self._placed_last = 0.0
        self._lead = 0  # index in the turn of the spoke furthest on
        self._last: Spoke | None = None
        self._has_stretches = False

    def set_bow_offset(self, bow_offset_rad: float) -> None:
        """Add another offset to the angles from now on; the turn that is coming in is laid by it as a whole."""
        self._mounting = replace(self._mounting, bow_offset_rad=bow_offset_rad)

    @property
    def n_spoke(self) -> int | None:
        """Spokes in a turn, as learnt; None before the first scan."""
        return self._grid.n_spoke

    @property
    def period_s(self) -> float | None:
        """Seconds a turn takes, as learnt; None while not known."""
        return self._grid.period_s

    def add(self, spoke: Spoke, poses: PoseSeries) -> Scan | None:
        """Take in one spoke; return the scan it completes."""
        last = self._last
        broken = self.flush(poses) if last is not None and self._breaks_off(last, spoke) else None
        if last is not None and self._turn and _continues(last, spoke):
            self._turn[-1].more.append(spoke)
            self._has_stretches = True
            self._last = spoke
            return broken
        centre = _centre(spoke)
        placed: float | None = centre
        if self._mounting.angle_from == "true":
            heading = self._heading.at(spoke.time_ns, poses)
            placed = None if heading is None else centre - heading
        if placed is None:
            self.counts.no_heading += 1
            return broken
        if self._last is None:
            self._u_last = self._u_start = self._placed_last = placed
        u = self._unwrap(placed, spoke.time_ns)
        self._last, self._u_last, self._placed_last = spoke, u, placed
        done = self._take(_Sighting(u, centre, spoke), poses)
        return done if done is not None else broken

    def flush(self, poses: PoseSeries) -> Scan | None:
        """Hand on what there is of the turn going on, and begin afresh."""
        scan = self._build(self._turn, poses)
        self.counts.restarts += bool(self._turn)
        self._turn = []
        self._direction = 0
        self._last = None
        self._begin()
        return scan

    def tick(self, now_ns: int, poses: PoseSeries) -> Scan | None:
        """Hand on a turn that has stopped coming in; call it now and then with the time of the spokes' clock."""
        if self._last is not None and now_ns - self._last.time_ns > self._pause_ns():
            return self.flush(poses)
        return None

    def _begin(self) -> None:
        self._lead = 0
        self._grid.begin()

    def _pause_ns(self) -> int:
        turns_s = 2.0 * (self.period_s or 0.0)
        return int(min(max(PAUSE_S, turns_s), 2.0 * MAX_PERIOD_S) * NS_PER_S)

    def _breaks_off(self, last: Spoke, spoke: Spoke) -> bool:
        if not -BACKWARDS_S * NS_PER_S < spoke.time_ns - last.time_ns < self._pause_ns():
            return True
        if spoke.full_scale != last.full_scale or abs(spoke.cell_m - last.cell_m) > 1e-6 * last.cell_m:
            return True
        first = self._turn[0].spoke if self._turn else last
        return abs(spoke.first_cell_m - first.first_cell_m) > 0.5 * spoke.cell_m and not _continues(last, spoke)

    def _unwrap(self, placed_rad: float, time_ns: int) -> float:
        """Return u of an antenna angle: the short way from the last, unless a gap says it went further round."""
        step = (placed_rad - self._placed_last + math.pi) % TAU - math.pi
        if self._grid.rate > 0.0 and self._direction and self._last is not None:
            due = self._direction * self._grid.rate * (time_ns - self._last.time_ns) / NS_PER_S
            if abs(due) > 0.5 * math.pi:
                step += round((due - step) / TAU) * TAU
        return self._u_last + step

    def _spacing(self) -> float:
        if self._grid.n_spoke is not None:
            return TAU / self._grid.n_spoke
        if not self._turn:
            return 0.0
        return abs(self._turn[self._lead].u - self._u_start) / max(len(self._turn) - 1, 1)

    def _take(self, sighting: _Sighting, poses: PoseSeries) -> Scan | None:
        turn = self._turn
        if self._direction == 0:
            turn.append(sighting)
            self._grid.see(sighting.centre_rad)
            if len(turn) > LATE_ROWS:
                self._settle_direction()
            return None
        row_rad = self._spacing()
        along = (sighting.u - self._u_start) * self._direction
        if along < -0.5 * row_rad and (not turn or along > -LATE_ROWS * row_rad):
            self.counts.late += 1
            return None
        turn.append(sighting)
        ahead = (sighting.u - turn[self._lead].u) * self._direction
        if ahead >= 0.0:
            self._lead = len(turn) - 1
            if along > TAU + LATE_ROWS * row_rad:
                return self._hand_on(row_rad, poses)
        elif ahead < -(LATE_ROWS + 0.5) * row_rad:
            return self._turn_back(poses)
        # Half a row of slack: the next turn's first spoke looks where this one's did, to within noise.
        if along < TAU - 0.5 * row_rad:
            self._grid.see(sighting.centre_rad)
            # Where spokes come in stretches, the last row's own may still be on their way.
            if self._grid.is_full and not self._has_stretches:
                return self._hand_on(row_rad, poses)
        return None

    def _settle_direction(self) -> None:
        us = [s.u for s in self._turn]
        self._direction = 1 if us[-1] >= us[0] else -1
        signed = [u * self._direction for u in us]
        self._u_start = min(signed) * self._direction
        self._lead = signed.index(max(signed))

    def _hand_on(self, row_rad: float, poses: PoseSeries) -> Scan | None:
        """Hand on the turn that is complete; what is past its end begins the next."""
        end = TAU - 0.5 * row_rad
        here = [s for s in self._turn if (s.u - self._u_start) * self._direction < end]
        rest = [s for s in self._turn if (s.u - self._u_start) * self._direction >= end]
        scan = self._build(here, poses)
        self._u_start += TAU * self._direction
        self._turn = rest
        self._begin()
        for position, sighting in enumerate(rest):
            self._grid.see(sighting.centre_rad)
            if (sighting.u - rest[self._lead].u) * self._direction >= 0.0:
                self._lead = position
        return scan

    def _turn_back(self, poses: PoseSeries) -> Scan | None:
        """The antenna is further back than any disorder explains: a sector's end.  The rest begins anew."""
        scan = self._build(self._turn[: self._lead + 1], poses)
        self.counts.restarts += 1
        self._turn = self._turn[self._lead + 1 :]
        self._direction = 0
        self._begin()
        for sighting in self._turn:
            self._grid.see(sighting.centre_rad)
        if len(self._turn) > LATE_ROWS:
            self._settle_direction()
        else:
            self._u_start = self._turn[0].u
        return scan

    def _build(self, sightings: list[_Sighting], poses: PoseSeries) -> Scan | None:
        """Lay a turn's spokes into regular rows."""
        if not sightings:
            return None
        if len(sightings) < MIN_SPOKES:
            self.counts.too_few += len(sightings)
            return None
        sightings = sorted(sightings, key=lambda s: s.u)
        u = np.array([s.u for s in sightings])
        time_ns = np.array([s.spoke.time_ns for s in sightings], dtype=np.int64)
        sent = np.array([s.centre_rad for s in sightings])
        mounting, grid = self._mounting, self._grid
        azimuth = sent + mounting.bow_offset_rad
        if mounting.angle_from == "true":
            azimuth = azimuth - poses.at(time_ns).heading_true_rad
            known = np.isfinite(azimuth)
            if np.count_nonzero(known) < MIN_SPOKES:
                self.counts.no_heading += len(sightings)
                return None
            sightings = [s for s, ok in zip(sightings, known, strict=True) if ok]
            u, time_ns, azimuth, sent = u[known], time_ns[known], azimuth[known], sent[known]
        grid.learn(u, time_ns, (sent, azimuth))
        n = grid.n_spoke
        if n is None:
            self.counts.too_few += len(sightings)
            return None
        phase = grid_phase(azimuth, n)
        # As the next turn's spokes are counted, before the bow offset and whatever the heading does.
        grid.phase_rad = phase - mounting.bow_offset_rad if mounting.angle_from == "bow" else 0.0
        source = nearest_spokes(azimuth, time_ns, n, phase)
        row_ns = row_times(u, azimuth, time_ns, n, phase, self._u_start, self._direction or 1)
        at = poses.at(row_ns)
        lat, lon = antenna_place(at, mounting.forward_m, mounting.starboard_m)
        first = sightings[0]
        echo, covered = lay_cells([(s.spoke, *s.more) for s in sightings], source)
        scan = Scan(
            echo,
            source >= 0,
            row_ns,
            lat,
            lon,
            at.heading_true_rad,
            np.maximum(at.position_age, at.heading_age),
            min(part.first_cell_m for part in (first.spoke, *first.more)) + mounting.range_offset_m,
            first.spoke.cell_m,
            first.spoke.full_scale,
            self._errors,
            self.counts.scans,
            phase,
            covered,
        )
        self.counts.scans += 1
        return scan


def _continues(last: Spoke, spoke: Spoke) -> bool:
    """Say whether a spoke is the next stretch, further out, of the one before: long spokes come in several messages.

    What lies between two stretches was left out: a screen shows nothing of what is under its writing.
    """
    if spoke.azimuth_start_rad != last.azimuth_start_rad or spoke.azimuth_end_rad != last.azimuth_end_rad:
        return False
    end_m = last.first_cell_m + last.echo.shape[0] * last.cell_m
    return bool(spoke.first_cell_m - end_m > -0.5 * spoke.cell_m) and last.echo.shape[0] > 0


def _centre(spoke: Spoke) -> float:
    """Return the middle of a spoke, radians; its start, where its width cannot be meant."""
    width = (spoke.azimuth_end_rad - spoke.azimuth_start_rad + math.pi) % TAU - math.pi
    return spoke.azimuth_start_rad + (0.5 * width if abs(width) <= WIDEST_SPOKE_RAD else 0.0)
