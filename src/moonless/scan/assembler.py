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
from collections import deque
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from moonless.constants import TAU
from moonless.frames import destination
from moonless.scan.pose import PosesAt, PoseSeries
from moonless.scan.types import AntennaAngle, Scan, ScanErrors, Spoke
from moonless.units import NS_PER_S

# Fewer spokes than this are no picture of anything; they are dropped and counted.
MIN_SPOKES = 8
# Rows past the end of a turn to wait for spokes in the wrong order.  Common practice on a local network, no source.
LATE_ROWS = 8
# A row counts as received when a spoke's centre is this close to its own, in rows.  A lost spoke leaves its
# neighbours a whole row away; an antenna that turns unevenly moves them by up to about a quarter.
NEAR_ROWS = 0.75
# The rows of a scan follow another number of spokes a turn at once when it is so much off, and a smaller lasting change
# when the median of the last turns shows it: antennas driven by the wind give two or three in a hundred more or fewer
# from turn to turn (seen in real video: 808 to 830), and what is learnt of the picture must outlive that.
OTHER_COUNT, DRIFTED_COUNT, COUNT_TURNS = 0.1, 0.02, 5
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
        self._angle_from = angle_from
        self._bow_offset_rad = bow_offset_rad
        self._range_offset_m = range_offset_m
        self._antenna = (antenna_forward_m, antenna_starboard_m)
        self._turn: list[_Sighting] = []
        self._direction = 0  # +1 clockwise, -1 the other way, 0 not known
        self._u_start = 0.0
        self._u_last = 0.0
        self._placed_last = 0.0
        self._lead = 0  # index in the turn of the spoke furthest on
        self._last: Spoke | None = None
        self._n_spoke: int | None = None
        self._counts_off: deque[float] = deque(maxlen=COUNT_TURNS)  # spokes a turn, as the last turns showed them
        self._phase_rad = 0.0
        self._rate = 0.0  # rad/s, not signed; 0: not known
        self._seen = bytearray()
        self._n_seen = 0
        self._has_stretches = False
        self._heading_rad = math.nan
        self._heading_ns: int | None = None

    def set_bow_offset(self, bow_offset_rad: float) -> None:
        """Add another offset to the angles from now on; the turn that is coming in is laid by it as a whole."""
        self._bow_offset_rad = bow_offset_rad

    @property
    def n_spoke(self) -> int | None:
        """Spokes in a turn, as learnt; None before the first scan."""
        return self._n_spoke

    @property
    def period_s(self) -> float | None:
        """Seconds a turn takes, as learnt; None while not known."""
        return TAU / self._rate if self._rate > 0.0 else None

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
        placed = self._relative(centre, spoke.time_ns, poses)
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
        self._seen = bytearray(self._n_spoke or 0)
        self._n_seen = 0

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

    def _relative(self, azimuth_rad: float, time_ns: int, poses: PoseSeries) -> float | None:
        if self._angle_from == "bow":
            return azimuth_rad
        if self._heading_ns is None or abs(time_ns - self._heading_ns) > HEADING_EVERY_NS:
            self._heading_rad = float(poses.at(time_ns).heading_true_rad[0])
            self._heading_ns = time_ns if math.isfinite(self._heading_rad) else None
        return None if self._heading_ns is None else azimuth_rad - self._heading_rad

    def _unwrap(self, placed_rad: float, time_ns: int) -> float:
        """Return u of an antenna angle: the short way from the last, unless a gap says it went further round."""
        step = (placed_rad - self._placed_last + math.pi) % TAU - math.pi
        if self._rate > 0.0 and self._direction and self._last is not None:
            due = self._direction * self._rate * (time_ns - self._last.time_ns) / NS_PER_S
            if abs(due) > 0.5 * math.pi:
                step += round((due - step) / TAU) * TAU
        return self._u_last + step

    def _spacing(self) -> float:
        if self._n_spoke is not None:
            return TAU / self._n_spoke
        if not self._turn:
            return 0.0
        return abs(self._turn[self._lead].u - self._u_start) / max(len(self._turn) - 1, 1)

    def _take(self, sighting: _Sighting, poses: PoseSeries) -> Scan | None:
        turn = self._turn
        if self._direction == 0:
            turn.append(sighting)
            self._see(sighting)
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
            self._see(sighting)
            # Where spokes come in stretches, the last row's own may still be on their way.
            if self._n_spoke is not None and self._n_seen >= self._n_spoke and not self._has_stretches:
                return self._hand_on(row_rad, poses)
        return None

    def _settle_direction(self) -> None:
        us = [s.u for s in self._turn]
        self._direction = 1 if us[-1] >= us[0] else -1
        signed = [u * self._direction for u in us]
        self._u_start = min(signed) * self._direction
        self._lead = signed.index(max(signed))

    def _see(self, sighting: _Sighting) -> None:
        n = self._n_spoke
        if n is not None:
            row = round((sighting.centre_rad - self._phase_rad) * n / TAU) % n
            if not self._seen[row]:
                self._seen[row] = 1
                self._n_seen += 1

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
            self._see(sighting)
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
            self._see(sighting)
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
        azimuth = sent + self._bow_offset_rad
        if self._angle_from == "true":
            azimuth = azimuth - poses.at(time_ns).heading_true_rad
            known = np.isfinite(azimuth)
            if np.count_nonzero(known) < MIN_SPOKES:
                self.counts.no_heading += len(sightings)
                return None
            sightings = [s for s, ok in zip(sightings, known, strict=True) if ok]
            u, time_ns, azimuth, sent = u[known], time_ns[known], azimuth[known], sent[known]
        self._learn(u, time_ns, (sent, azimuth))
        n = self._n_spoke
        if n is None:
            self.counts.too_few += len(sightings)
            return None
        phase = _phase(azimuth, n)
        # As the next turn's spokes are counted, before the bow offset and whatever the heading does.
        self._phase_rad = phase - self._bow_offset_rad if self._angle_from == "bow" else 0.0
        source = _rows(azimuth, time_ns, n, phase)
        is_received = source >= 0
        row_ns = self._row_times(u, azimuth, time_ns, n, phase)
        echo = _lay(sightings, source)
        at = poses.at(row_ns)
        lat, lon = _antenna_place(at, *self._antenna)
        first = min(part.first_cell_m for part in (sightings[0].spoke, *sightings[0].more))
        scan = Scan(
            echo,
            is_received,
            row_ns,
            lat,
            lon,
            at.heading_true_rad,
            np.maximum(at.position_age, at.heading_age),
            first + self._range_offset_m,
            sightings[0].spoke.cell_m,
            sightings[0].spoke.full_scale,
            self._errors,
            self.counts.scans,
            phase,
        )
        self.counts.scans += 1
        return scan

    def _learn(
        self, u: NDArray[np.float64], time_ns: NDArray[np.int64], angles: tuple[NDArray[np.float64], ...]
    ) -> None:
        """Learn spokes a turn from their spacing, and the rate of turning from time.

        ``angles``: as sent, and from the bow.  A set that counts from north steps evenly in one of the two while the
        boat turns, by whether it corrects the angle of each spoke or turns a whole picture: the evener one is asked.
        """
        n = min((_count_by_steps(angle) for angle in angles), key=lambda found: found[1])[0]
        if n >= MIN_SPOKES:
            self._settle_count(n)
        span_s = float(time_ns.max() - time_ns.min()) / NS_PER_S
        turned = float(u[-1] - u[0])
        if span_s > 0.05 and turned > 0.5:
            self._rate = turned / span_s

    def _settle_count(self, n: float) -> None:
        """Take or leave the number of spokes that one turn showed."""
        held = self._n_spoke
        if held is None or abs(n - held) > OTHER_COUNT * held:
            self._n_spoke = round(n)
            self._counts_off.clear()
            return
        self._counts_off.append(n)
        middle = float(np.median(self._counts_off))
        if len(self._counts_off) == COUNT_TURNS and abs(middle - held) > max(0.8, DRIFTED_COUNT * held):
            self._n_spoke = round(middle)
            self._counts_off.clear()

    def _row_times(
        self, u: NDArray[np.float64], azimuth: NDArray[np.float64], time_ns: NDArray[np.int64], n: int, phase: float
    ) -> NDArray[np.int64]:
        """Return when the antenna looked along each row: of its spokes, and between them where some were lost.

        Counted in the sense of turning from where the turn began, so that the seam falls there; a hair of slack keeps
        the first spoke on its own side of the seam.  Rows past the ends of a sector take the time of the end.
        """
        sense = self._direction or 1
        slack = 0.5 * TAU / n
        first = 0 if sense > 0 else -1
        began = azimuth[first] - (u[first] - self._u_start)
        along = np.mod((azimuth - began) * sense + slack, TAU)
        order = np.argsort(along, kind="stable")
        base = int(time_ns[0])
        row = np.mod((np.arange(n) * (TAU / n) + phase - began) * sense + slack, TAU)
        at = np.interp(row, along[order], (time_ns[order] - base).astype(np.float64))
        times: NDArray[np.int64] = base + np.round(at).astype(np.int64)
        return times


def _count_by_steps(azimuth: NDArray[np.float64]) -> tuple[float, float]:
    """Return (spokes a turn by the spacing of one turn's spokes, how uneven it is); (0, inf) where none shows."""
    steps = np.abs(np.mod(np.diff(azimuth) + math.pi, TAU) - math.pi)
    steps = steps[steps > 1e-5]  # a tenth of a step of the 16-bit angle: the rest are duplicates
    if not steps.size:
        return 0.0, math.inf
    # Lost spokes leave steps of two or three; the mean of the single ones is exact over a whole turn, where a median
    # would be bound to the angle's own steps.
    middle = float(np.median(steps))
    single = steps[(steps > 0.5 * middle) & (steps < 1.5 * middle)]
    return (TAU / float(np.mean(single)), float(np.std(single)) / middle) if single.size else (0.0, math.inf)


def _antenna_place(
    at: PosesAt, forward_m: float, starboard_m: float
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return (lat, lon) of the radar's antenna; where the heading is unknown, the position antenna's."""
    if (forward_m == 0.0 and starboard_m == 0.0) or not np.isfinite(at.lat_deg).any():
        return at.lat_deg, at.lon_deg
    away = math.hypot(forward_m, starboard_m)
    bearing = np.degrees(at.heading_true_rad + math.atan2(starboard_m, forward_m))
    known = np.isfinite(bearing) & np.isfinite(at.lat_deg)
    lat, lon = at.lat_deg.copy(), at.lon_deg.copy()
    # Without a heading the echoes have no place anyhow.
    lat[known], lon[known] = destination(lat[known], lon[known], bearing[known], np.full(int(known.sum()), away))
    return lat, lon


def _continues(last: Spoke, spoke: Spoke) -> bool:
    """Say whether a spoke is the next stretch, further out, of the one before: long spokes come in several messages."""
    if spoke.azimuth_start_rad != last.azimuth_start_rad or spoke.azimuth_end_rad != last.azimuth_end_rad:
        return False
    end_m = last.first_cell_m + last.echo.shape[0] * last.cell_m
    return bool(abs(spoke.first_cell_m - end_m) < 0.5 * spoke.cell_m) and last.echo.shape[0] > 0


def _centre(spoke: Spoke) -> float:
    """Return the middle of a spoke, radians; its start, where its width cannot be meant."""
    width = (spoke.azimuth_end_rad - spoke.azimuth_start_rad + math.pi) % TAU - math.pi
    return spoke.azimuth_start_rad + (0.5 * width if abs(width) <= WIDEST_SPOKE_RAD else 0.0)


def _phase(azimuth: NDArray[np.float64], n: int) -> float:
    """Return the offset of the spokes' grid from ``i * 2 pi / n``, within half a row; 0 where there is no grid."""
    turned = np.exp(1j * azimuth * n)
    mean = complex(np.mean(turned))
    # Below this the spokes fall anywhere between the rows and an offset would be noise.
    return math.atan2(mean.imag, mean.real) / n if abs(mean) > 0.3 else 0.0


def _rows(azimuth: NDArray[np.float64], time_ns: NDArray[np.int64], n: int, phase: float) -> NDArray[np.intp]:
    """Return, (n,), which spoke each row shows; -1 where none is near.  Of two equally near, the newer."""
    place = (azimuth - phase) * (n / TAU)  # in rows
    nearest = np.rint(place).astype(np.int64)
    row = np.concatenate([nearest, nearest - 1, nearest + 1])
    spoke = np.tile(np.arange(azimuth.size), 3)
    away = np.abs(row - np.tile(place, 3))
    near = away <= NEAR_ROWS
    row, spoke, away = np.mod(row[near], n), spoke[near], away[near]
    # Written in this order, the nearest comes last, and of equally near ones (to a hundredth of a row) the newest.
    order = np.lexsort((time_ns[spoke], -np.round(away, 2)))
    source = np.full(n, -1, dtype=np.intp)
    source[row[order]] = spoke[order]
    return source


def _lay(sightings: list[_Sighting], source: NDArray[np.intp]) -> NDArray[np.uint8] | NDArray[np.uint16]:
    """Copy each row's cells; stretches of one spoke go side by side, shorter spokes end in zeros."""
    spoke = sightings[0].spoke
    length = max(sum(part.echo.shape[0] for part in (s.spoke, *s.more)) for s in sightings)
    dtype = np.uint8 if spoke.full_scale <= 0xFF else np.uint16
    echo = np.zeros((source.size, length), dtype=dtype)
    for row, chosen in enumerate(source.tolist()):
        if chosen < 0:
            continue
        sighting = sightings[chosen]
        at = sighting.spoke.echo.shape[0]
        echo[row, :at] = sighting.spoke.echo
        for part in sighting.more:
            echo[row, at : at + part.echo.shape[0]] = part.echo
            at += part.echo.shape[0]
    return echo
