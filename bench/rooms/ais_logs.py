"""The real AIS logs: how many messages are decoded, how many refused, and why.  Not a timing.

A figure a line: ``ais_logs.<log>.decoded``, ``ais_logs.<log>.refused.<reason>``.  Identities are not printed.
"""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence
from pathlib import Path

from bench.result import Result
from moonless.wire.nmea import NmeaDecoder

NAMES = ("ais_logs",)

_LOGS = (
    "moored-own-gps-with-ais.log",
    "classb-own-ship.log",
    "ship-rmc-hdt-aivdo.log",
    "busy-ais-with-aids.log",
    "ais-18-27-with-errors.log",
    "typeexamples.nmea",
    "tagblock.nmea",
)


def run(names: Sequence[str]) -> Iterator[Result]:
    """Yield the counts of each log that is there."""
    folder = Path(os.environ.get("MOONLESS_DATA", Path(__file__).parents[3] / "shared" / "data")) / "ais"
    for log in _LOGS:
        path = folder / log
        if not path.is_file():
            continue
        decoder = NmeaDecoder()
        decoder.feed(path.read_bytes(), 0)
        decoder.finish(0)
        name = f"ais_logs.{path.stem}"
        yield Result(f"{name}.sentences", decoder.ais.counts.sentences, "sentences")
        yield Result(f"{name}.decoded", sum(decoder.ais.counts.decoded.values()), "messages")
        refused = dict(decoder.ais.counts.refused)
        lines = decoder.reader.counts
        refused |= {"bad checksum": lines.bad_checksum, "no checksum": lines.no_checksum, "bad tag": lines.bad_tag}
        for reason, number in sorted(refused.items()):
            if number:
                yield Result(f"{name}.refused.{reason}", number, "messages")
