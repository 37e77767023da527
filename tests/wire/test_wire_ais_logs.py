"""Real AIS logs and published type examples; no identity is printed."""

from __future__ import annotations

import json
import math
from collections import Counter
from pathlib import Path
from typing import Any

import pytest

from moonless.units import NS_PER_S, kn_to_mps
from moonless.wire.ais import AisReport, encode_ais
from moonless.wire.nmea import NmeaDecoder
from moonless.wire.nmea_events import AisSaid, PoseSaid

pytestmark = pytest.mark.data


def _read(path: Path) -> tuple[NmeaDecoder, list[Any]]:
    decoder = NmeaDecoder()
    data = path.read_bytes()
    events: list[Any] = []
    for at in range(0, len(data), 997):
        events += decoder.feed(data[at : at + 997], 0)
    events += decoder.finish(0)
    return decoder, events


def _reports(events: list[Any]) -> list[AisReport]:
    return [e.report for e in events if isinstance(e, AisSaid)]


# Counts as the log's publishers and an independent count with grep give them (GPSD project test data).
def test_busy_log_with_aids(data_dir: Path) -> None:
    decoder, events = _read(data_dir / "ais" / "busy-ais-with-aids.log")
    reports = _reports(events)
    assert len(reports) == 1326
    assert not decoder.ais.counts.refused
    assert sum(r.message_type == 21 for r in reports) == 133
    assert all(r.says == "aid" and r.lat_deg is not None for r in reports if r.message_type == 21)


def test_log_with_errors_loses_only_what_is_damaged(data_dir: Path) -> None:
    decoder, events = _read(data_dir / "ais" / "ais-18-27-with-errors.log")
    assert decoder.ais.counts.sentences == 276
    assert len(_reports(events)) == 207
    # All 69 are type 24 with a part number that the standard does not have.
    assert decoder.ais.counts.refused == Counter({"UnknownPartNoException": 69})


def test_moored_boat_with_its_own_receiver(data_dir: Path) -> None:
    decoder, events = _read(data_dir / "ais" / "moored-own-gps-with-ais.log")
    assert decoder.reader.counts.bad_checksum == 0
    reports = _reports(events)
    n_target = len({r.mmsi for r in reports if r.says == "position"})
    assert n_target == 30
    fixes = [e for e in events if isinstance(e, PoseSaid) and e.kind == "RMC"]
    assert len(fixes) == 164
    span_s = (fixes[-1].time_ns - fixes[0].time_ns) / NS_PER_S
    assert 160 <= span_s <= 168
    # Moored: everything the receiver says lies within the wander of a fix.
    assert max(f.pose.lat_deg for f in fixes) - min(f.pose.lat_deg for f in fixes) < 1e-3  # type: ignore[type-var,operator]


@pytest.mark.parametrize("log", ["classb-own-ship.log", "ship-rmc-hdt-aivdo.log"])
def test_own_ship_logs(data_dir: Path, log: str) -> None:
    decoder, events = _read(data_dir / "ais" / log)
    own = [r for r in _reports(events) if r.is_own]
    assert len({r.mmsi for r in own}) == 1
    assert any(isinstance(e, PoseSaid) for e in events)
    assert decoder.reader.counts.bad_checksum == 0


def test_own_ship_heading_and_position_agree_with_its_own_ais(data_dir: Path) -> None:
    _, events = _read(data_dir / "ais" / "ship-rmc-hdt-aivdo.log")
    heading = next(e.pose.heading_true_rad for e in events if isinstance(e, PoseSaid) and e.kind == "HDT")
    own = next(r for r in _reports(events) if r.is_own and r.heading_rad is not None)
    # AIS gives whole degrees.
    assert math.degrees(abs(math.remainder(own.heading_rad - heading, math.tau))) < 1.5  # type: ignore[operator]


def test_type_examples_answer_as_published(data_dir: Path) -> None:
    """libais publishes each message with its decoded answer."""
    _, events = _read(data_dir / "ais" / "typeexamples.nmea")
    lines = (data_dir / "ais" / "typeexamples.json").read_text().splitlines()
    answers = {(a["type"], a["mmsi"]): a for a in map(json.loads, lines)}
    checked = Counter[str]()
    for report in _reports(events):
        answer = answers.get((report.message_type, report.mmsi))
        if answer is None:
            continue
        checked["type"] += 1
        # 32-bit floats of the published answers: six figures.
        if report.lat_deg is not None and abs(answer.get("lat", 99)) <= 90:
            assert report.lat_deg == pytest.approx(answer["lat"], rel=2e-6)
            assert report.lon_deg == pytest.approx(answer["lon"], rel=2e-6)
            checked["place"] += 1
        # Aircraft (type 9) give whole knots in ITU-R M.1371-5; the published answer has a tenth of that.
        if report.sog is not None and "speed" in answer and report.message_type != 9:
            assert report.sog == pytest.approx(kn_to_mps(answer["speed"]), rel=1e-5, abs=1e-6)
            checked["speed"] += 1
        if report.cog_rad is not None and "course" in answer:
            assert math.degrees(report.cog_rad) == pytest.approx(answer["course"], rel=1e-5)
            checked["course"] += 1
        if report.name is not None and "shipname" in answer:
            assert report.name == answer["shipname"].strip()
            checked["name"] += 1
    assert checked["type"] >= 20
    assert min(checked["place"], checked["speed"], checked["course"], checked["name"]) >= 1


def test_tag_blocks_date_the_messages(data_dir: Path) -> None:
    decoder, events = _read(data_dir / "ais" / "tagblock.nmea")
    assert decoder.reader.counts.bad_tag == 0
    assert len(events) == 4
    # The two-part message carries 1418169601 on both parts.
    assert 1_418_169_601 * NS_PER_S in {e.time_ns for e in events}


def test_what_we_write_is_what_we_read() -> None:
    values = {"type": 18, "mmsi": 999000111, "lat": 10.5, "lon": -20.25, "course": 45.5, "speed": 7.1, "heading": 44}
    decoder = NmeaDecoder()
    (said,) = decoder.feed("\r\n".join([*encode_ais(values, own=True), ""]).encode(), 5)
    report = said.report  # type: ignore[attr-defined]
    assert (report.mmsi, report.is_own, report.says) == (999000111, True, "position")
    assert report.lat_deg == pytest.approx(10.5, abs=1e-6)
    assert report.sog == pytest.approx(kn_to_mps(7.1))
