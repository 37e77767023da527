"""What each link says, in plain lines: for `moonless doctor`."""

from __future__ import annotations

import asyncio
import math
from collections import Counter
from collections.abc import Mapping, Sequence

from moonless.errors import InputError
from moonless.scan.assembler import ScanAssembler
from moonless.scan.pose import PoseSample, PoseSeries
from moonless.scan.types import AntennaAngle, Scan, ScanErrors
from moonless.units import NS_PER_S, m_to_nm
from moonless.watch.instruments.source_priority import What, whats_of
from moonless.watch.screen.pictured import read_any_link
from moonless.wire.cat240 import Cat240Decoder, Video
from moonless.wire.instruments import InstrumentDecoder
from moonless.wire.links import LinkSpec, LinkState, ReceiptClock
from moonless.wire.nmea_events import ClockSaid, NoFixSaid, PoseSaid, Said

# Older than this at the end of listening, a sentence is stale.
STALE_S = 3.0
# A clock this far off is worth a line.
CLOCK_OFF_S = 1.0

# What the watch needs or uses, and the sentences and groups that bring it; a Signal K server brings any of them.
NEEDED: Mapping[What, tuple[str, str]] = {
    "position": ("position", "RMC or GGA or GLL; group 129029 or 129025"),
    "motion": ("course and speed over ground", "RMC or VTG; group 129026"),
    "heading": ("heading", "HDT or THS or HDG or HDM; group 127250"),
}
USED: Mapping[What, tuple[str, str]] = {
    "date": ("date", "RMC or ZDA; group 129029 or 126992"),
    "turn": ("rate of turn", "ROT; group 127251"),
    "depth": ("depth", "DPT or DBT; group 128267"),
    "wind": ("wind", "MWV; group 130306"),
    "ais": ("AIS", "VDM; groups 129038 to 129810"),
}


class RadarCheck:
    """The radar video of one link as it was found."""

    def __init__(self, is_file: bool) -> None:
        self.decoder = Cat240Decoder()
        self.clock_off_s: float | None = None  # said minus received
        self._is_file = is_file
        self._scans: list[Scan] = []
        self._assembler = ScanAssembler(ScanErrors(0.07, 30.0, 0.005, 5.0))
        self._poses = PoseSeries()
        self._bits = 0
        self._has_time = False

    def put(self, data: bytes, received_ns: int, is_datagram: bool) -> None:
        """Take in what came."""
        events = self.decoder.datagram(data) if is_datagram else self.decoder.feed(data)
        for event in events:
            if isinstance(event, Video):
                self._take_video(event, received_ns)

    def use_angles_from(self, angle_from: AntennaAngle) -> None:
        """Say what the radar counts its antenna angle from; headings are not needed to look at the video."""
        if angle_from == "true":
            self._poses.add(PoseSample(0, heading_true_rad=0.0))
        self._assembler = ScanAssembler(ScanErrors(0.07, 30.0, 0.005, 5.0), angle_from=angle_from)

    def _take_video(self, video: Video, received_ns: int) -> None:
        self._bits = video.bits
        self._has_time = video.time_of_day_s is not None
        spoke = video.to_spoke(received_ns)
        if self._has_time and not self._is_file:
            self.clock_off_s = (spoke.time_ns - received_ns) / NS_PER_S
        scan = self._assembler.add(spoke, self._poses)
        if scan is not None:
            self._scans = [*self._scans[-3:], scan]

    def lines(self) -> list[str]:
        """Return what there is to say, most telling first."""
        counts = self.decoder.counts
        out = []
        if not counts.videos:
            out.append(f"no radar video in it ({counts.blocks} category 240 blocks)")
        else:
            out.append(
                f"{counts.videos} spokes, {self._bits}-bit, {'with' if self._has_time else 'without'} time of day"
            )
        if self._scans:
            scan, period = self._scans[-1], self._assembler.period_s
            turning = "" if period is None else f", {60.0 / period:.1f} turns a minute"
            out.append(
                f"{scan.n_spoke} spokes a turn of {scan.n_cell} cells of {scan.cell_m:.2f} m to "
                f"{m_to_nm(scan.max_range_m):.2f} NM{turning}; {scan.received_fraction:.1%} of the last turn received"
            )
        elif counts.videos:
            out.append("no whole turn heard yet")
        if counts.damaged or counts.unknown_compression:
            out.append(f"{counts.damaged} damaged, {counts.unknown_compression} compressed in a way that is not known")
        if counts.other_categories:
            out.append("other categories passed over: " + ", ".join(str(c) for c in sorted(counts.other_categories)))
        return out + _clock_line(self.clock_off_s)


class InstrumentCheck:
    """What instruments say on one link, as it was found."""

    def __init__(self, is_file: bool) -> None:
        self.whats: set[What] = set()
        self.has_true_heading = False
        self.clock_off_s: float | None = None  # said minus received
        self._is_file = is_file
        self._decoder = InstrumentDecoder()
        self._kinds: Counter[str] = Counter()
        self._newest_ns: dict[str, int] = {}
        self._n_no_fix = 0

    def put(self, data: bytes, received_ns: int, is_datagram: bool) -> None:
        """Take in what came."""
        decoder = self._decoder
        self._take_said(decoder.datagram(data, received_ns) if is_datagram else decoder.feed(data, received_ns))

    def _take_said(self, events: Sequence[Said]) -> None:
        for event in events:
            self._newest_ns[event.kind] = event.received_ns
            self._kinds[event.kind] += not isinstance(event, ClockSaid) or event.kind in ("ZDA", "126992")
            self.whats |= whats_of(event)
            self.has_true_heading |= (
                isinstance(event, PoseSaid) and event.pose.heading_true_rad is not None and not event.is_magnetic
            )
            self._n_no_fix += isinstance(event, NoFixSaid)
            if isinstance(event, ClockSaid) and not self._is_file:
                self.clock_off_s = (event.time_ns - event.received_ns) / NS_PER_S

    def lines(self, now_ns: int) -> list[str]:
        """Return what there is to say, most telling first."""
        decoder = self._decoder
        nmea, bus, signalk = decoder.nmea, decoder.bus, decoder.signalk
        lines = nmea.reader.counts
        if not (lines.sentences or bus.counts.frames or signalk.counts.messages):
            return [f"no sentence with a right checksum ({lines.bad_checksum} wrong, {lines.no_checksum} without)"]
        out = ["heard: " + ", ".join(f"{kind} {n}" for kind, n in sorted(self._kinds.items()))] if self._kinds else []
        if bus.counts.frames:
            out.append(f"{bus.counts.frames} frames of NMEA 2000")
        if signalk.counts.messages:
            old = f", {signalk.counts.old} values too old to use" if signalk.counts.old else ""
            out.append(f"{signalk.counts.messages} deltas of Signal K{old}")
        unused = {**nmea.counts.unused, **{str(group): n for group, n in bus.counts.unused.items()}}
        if unused:
            out.append("not used: " + ", ".join(f"{k} {n}" for k, n in sorted(unused.items())))
        if lines.bad_checksum or lines.no_checksum:
            out.append(f"{lines.bad_checksum} sentences with a wrong checksum, {lines.no_checksum} without one")
        if nmea.counts.bad_fields:
            refused = ", ".join(f"{k} {n}" for k, n in sorted(nmea.counts.bad_fields.items()))
            out.append(f"fields that cannot be: {refused}")
        out += decoder.troubles()
        if self._n_no_fix:
            out.append(f"the position receiver said {self._n_no_fix} times that it has no fix")
        if nmea.counts.no_variation:
            out.append(f"{nmea.counts.no_variation} compass headings could not be made true: no position yet")
        if not self._is_file:
            stale = [
                k for k, t in self._newest_ns.items() if now_ns - t > STALE_S * NS_PER_S and k not in ("VDM", "VDO")
            ]
            if stale:
                out.append("stale: " + ", ".join(sorted(stale)))
        return out + _clock_line(self.clock_off_s)


class LinkCheck:
    """One link as it was found."""

    def __init__(self, spec: LinkSpec, is_radar: bool) -> None:
        self.spec = spec
        self.is_radar = is_radar
        self.state: LinkState = "opening"
        self.text = ""
        self.n_byte = 0
        self.radar = RadarCheck(spec.kind == "file")
        self.instruments = InstrumentCheck(spec.kind == "file")

    def put(self, data: bytes, received_ns: int, is_datagram: bool) -> None:
        """Take in what came."""
        self.n_byte += len(data)
        (self.radar if self.is_radar else self.instruments).put(data, received_ns, is_datagram)

    def lines(self, now_ns: int) -> list[str]:
        """Return what there is to say, most telling first."""
        head = f"{'radar' if self.is_radar else 'nmea '} {self.spec.text}: {self._state()}"
        if self.n_byte == 0:
            return [head]
        lines = self.radar.lines() if self.is_radar else self.instruments.lines(now_ns)
        return [head, *(f"    {line}" for line in lines)]

    def _state(self) -> str:
        told = self.text.removeprefix(self.spec.text).removeprefix(":").strip()
        if self.n_byte:
            return f"{told or self.state}, {self.n_byte} bytes"
        return f"{told or self.state}; nothing heard" if self.state in ("open", "ended") else told or "not open"


def _clock_line(off_s: float | None) -> list[str]:
    if off_s is None or not math.isfinite(off_s) or abs(off_s) < CLOCK_OFF_S:
        return []
    return [f"its clock is {abs(off_s):.1f} s {'ahead of' if off_s > 0 else 'behind'} this computer's"]


async def listen(checks: Sequence[LinkCheck], seconds: float, clock: ReceiptClock) -> None:
    """Open the links and listen for so long; files are read whole, however long that takes."""

    async def one(check: LinkCheck) -> None:
        def say(state: LinkState, text: str) -> None:
            # What a link said when it was lost is worth more than that it is being tried again.
            check.state, check.text = state, text

        await read_any_link(check.spec, check.put, say, clock)

    if not checks:
        raise InputError("no link to listen to")
    tasks = [asyncio.create_task(one(check)) for check in checks]
    files = [t for t, c in zip(tasks, checks, strict=True) if c.spec.kind == "file"]
    if len(files) < len(tasks):
        await asyncio.sleep(seconds)
    await asyncio.gather(*files)
    for task in tasks:
        task.cancel()
    await asyncio.gather(*tasks, return_exceptions=True)


def missing(checks: Sequence[LinkCheck]) -> list[str]:
    """Return what the watch would have to do without, in plain lines."""
    heard: set[What] = set().union(*(check.instruments.whats for check in checks))
    has_magnetic_only = "heading" in heard and not any(check.instruments.has_true_heading for check in checks)
    out = []
    if not any(c.is_radar for c in checks):
        out.append("no radar link is named")
    elif not any(c.radar.decoder.counts.videos for c in checks if c.is_radar):
        out.append("no radar video: no echoes, no seeing line")
    out += [
        f"no {words} ({kinds}): readings that need it will be withdrawn"
        for what, (words, kinds) in NEEDED.items()
        if what not in heard
    ]
    out += [
        f"no {words} ({kinds}): the watch goes on without it"
        for what, (words, kinds) in USED.items()
        if what not in heard
    ]
    if has_magnetic_only:
        out.append("heading from a compass only: it is corrected by the magnetic model, not for its deviation card")
    return out
