"""A run played again for its scans alone: the first two stages of the watch, without echoes, tracks and readings."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from moonless.boat.types import Boat
from moonless.scan.types import Scan
from moonless.watch.instruments.faults import FaultWatch
from moonless.watch.instruments.intake import Intake
from moonless.watch.instruments.timebase import TimeBase
from moonless.watch.pipeline.assembly import assembler_for, scan_errors
from moonless.watch.pipeline.decode import InstrumentDecoding, RadarDecoding
from moonless.watch.pipeline.replay import Replay


def scans_of_replay(replay: Replay, boat: Boat) -> Iterator[Scan]:
    """Yield the scans of a run as the watch assembles them.

    What a fault would withdraw in a watch is not withdrawn here: a scan is what came in, with the pose that was said.
    Raises as `Replay.feeds` does.
    """
    times, faults = TimeBase(), FaultWatch()
    instruments = InstrumentDecoding(Intake(boat, times, faults))
    radar, assembler, intake = RadarDecoding(times, faults), assembler_for(boat), instruments.intake
    for fed in replay.feeds():
        times.received(fed.time_ns)
        faults.begin(times.utc(fed.time_ns))
        if fed.kind == "nmea":
            if instruments.decode(fed.data, fed.time_ns, fed.link, is_datagram=fed.is_datagram) == "jumped":
                assembler.flush(intake.poses)
                intake.forget()
            continue
        for spoke in radar.decode(fed.data, fed.time_ns, is_datagram=fed.is_datagram).spokes:
            scan = assembler.add(spoke, intake.poses)
            if scan is not None:
                yield replace(scan, errors=scan_errors(boat, scan))
    scan = assembler.flush(intake.poses)
    if scan is not None and scan.received_fraction >= 0.5:
        yield replace(scan, errors=scan_errors(boat, scan))
