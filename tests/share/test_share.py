"""A shared recording holds nothing of whose it was, where and when; and what it holds is still the run."""

from __future__ import annotations

import json
import math
from pathlib import Path

import numpy as np
import pytest

from moonless.cli import main
from moonless.errors import InputError, SourceError
from moonless.frames import LocalFrame, geodesic
from moonless.share import share as room
from moonless.share.aliases import Aliases
from moonless.share.moved import Moved
from moonless.share.share import Wanted, share
from moonless.share.traces import left_in, traces_of
from moonless.units import NS_PER_S, iso_utc
from moonless.watch.afterwards.by_eye import seen_on
from moonless.wire.ais import encode_ais
from moonless.wire.cat240 import Cat240Decoder, Video, encode_summary, encode_video
from moonless.wire.instruments import InstrumentDecoder
from moonless.wire.nmea_events import AisSaid, DepthSaid, PoseSaid, WindSaid
from moonless.wire.nmea_write import write_dpt, write_hdt, write_mwv, write_rmc
from moonless.wire.recording import RecordingReader, RecordingWriter
from moonless.wire.sentences import write_sentence

T0 = 1_900_000_000 * NS_PER_S
HOME = LocalFrame(50.7, -1.1)
# Made numbers and names: no station has them.
HER, MINE, NAME, CALL, MARK = 999_123_456, 999_654_321, "OLD PICKLE", "ZZ9PZ", "Saltings Gate"
WORDS = "my secret mooring behind the shed"


def line(k: int) -> dict[str, object]:
    """Return one reading of a run east at 5 m/s, a vessel 400 m north, a mark, and words of all kinds."""
    lat, lon = (float(v) for v in HOME.to_geographic(12.5 * k, 0.0))
    her_lat, her_lon = (float(v) for v in HOME.to_geographic(12.5 * k, 400.0))
    ring = [[float(x) for x in HOME.to_geographic(e, n)[::-1]] for e, n in ((0, 0), (900, 0), (0, 900), (0, 0))]
    return {
        "time": iso_utc(T0 + k * 2_500_000_000),
        "own": {"lat": lat, "lon": lon, "cog_deg": 90.0, "sog_kn": 9.7, "heading_deg": 91.0, "harbour": "Lymstoke"},
        "echoes": [
            {"id": 7, "lat": her_lat, "lon": her_lon, "range_m": 400.0, "bearing_deg": 0.0,
             "relative_bearing_deg": 269.0, "cog_deg": 90.0, "sog_kn": 9.7, "length_m": None, "is": "vessel",
             "confidence": 0.9, "p_moving": 1.0, "charted_as": None, "ais": {"mmsi": HER, "name": NAME},
             "cpa_m": 400.0, "tcpa_s": 0.0, "cpa_sigma_m": 20.0, "why": f"AIS says {NAME}, near {WORDS}."},
        ],
        "missing": [{"object": "BOYCAR", "name": MARK, "lat": her_lat, "lon": her_lon, "p_seen_if_there": 0.9,
                     "scans_looked": 5}],
        "hidden": {"type": "FeatureCollection", "features": [
            {"type": "Feature", "properties": {"by": "land"},
             "geometry": {"type": "Polygon", "coordinates": [ring]}}]},
        "seeing": [{"rcs_m2": 0.5, "range_m": 700.0}],
        "seeing_line": {"type": "Polygon", "coordinates": [ring]},
        "stopping_m": 60.0,
        "registration": {"heading_bias_deg": 1.0, "east_m": 2.0, "north_m": 1.0, "sigma_m": 3.0, "agrees": True},
        "speed": {"advised_kn": 8.0, "because": f"hidden water behind {MARK}"},
        "faults": [], "instruction": None,
        "calls": [{"key": f"vessel {HER}", "kind": "vessel", "urgency": 2, "say": f"{NAME} passes", "echo": 7}],
        "manoeuvres": None,
    }  # fmt: skip


def block(turn: int, spoke: int, time_ns: int) -> bytes:
    cells = np.arange(64, dtype=np.uint8) + np.uint8(turn)
    lsb = math.tau / 65536
    return encode_video(
        cells, azimuth_start_rad=spoke * 2048 * lsb, azimuth_end_rad=(spoke + 1) * 2048 * lsb, cell_m=7.25,
        sequence=5000 + 32 * turn + spoke, time_ns=time_ns, sac=33, sic=44,
    )  # fmt: skip


@pytest.fixture
def run(tmp_path: Path) -> Path:
    """A minute of a run: 24 turns of 32 spokes, all kinds of sentences, readings, what was seen."""
    path = tmp_path / "run.mcap"
    writer = RecordingWriter(path, {"1": "tcp://boatbox.lymstoke.example:10110"})
    writer.radar(encode_summary("radar of OLD PICKLE, serial 778899", time_ns=T0), T0, is_datagram=True)
    said = [
        write_sentence("GPTXT", ("01", "01", "02", "property of J of Lymstoke")),
        *encode_ais({"type": 5, "mmsi": HER, "shipname": NAME, "callsign": CALL, "destination": "LYMSTOKE",
                     "ship_type": 37, "to_bow": 9, "to_stern": 3, "to_port": 2, "to_starboard": 2}),
        *encode_ais({"type": 1, "mmsi": MINE, "lat": 50.7, "lon": -1.1, "speed": 9.7, "course": 90.0}, own=True),
    ]  # fmt: skip
    for text in said:
        writer.nmea(text.encode() + b"\r\n", T0, link=1)
    for k in range(24):
        at = T0 + k * 2_500_000_000
        lat, lon = (float(v) for v in HOME.to_geographic(12.5 * k, 0.0))
        her = [float(v) for v in HOME.to_geographic(12.5 * k, 400.0)]
        sentences = [
            write_rmc(at, lat, lon, math.radians(90.0), 5.0), write_hdt(math.radians(91.0)), write_dpt(4.2, 0.5),
            write_mwv(math.radians(40.0), 6.0),
            write_sentence("GPRMB", ("A", "0.1", "L", "HOME", "LYMSTK", "5042.0", "N", "00106.0", "W", *["1"] * 4)),
            *encode_ais({"type": 1, "mmsi": HER, "lat": her[0], "lon": her[1], "speed": 9.7, "course": 90.0,
                         "second": 5}),
        ]  # fmt: skip
        for text in sentences:
            writer.nmea(text.encode() + b"\r\n", at, link=1)
        for spoke in range(32):
            at_ns = at + spoke * 78_000_000
            writer.radar(block(k, spoke, at_ns), at_ns, is_datagram=True)
        writer.reading(line(k), at + 2_496_000_000)
    writer.eye({"time": iso_utc(T0 + 50 * NS_PER_S), "echo": 7, "lat": 50.7036, "lon": -1.1, "sog_kn": 9.7,
                "is": "vessel", "charted": False, "what": "boat"}, T0 + 50 * NS_PER_S)  # fmt: skip
    writer.eye({"time": iso_utc(T0 + 51 * NS_PER_S), "echo": 8, "lat": 50.7036, "lon": -1.1, "sog_kn": 0.0,
                "is": "uncharted", "charted": False, "what": WORDS}, T0 + 51 * NS_PER_S)  # fmt: skip
    writer.answer(f"vessel {HER}", T0 + 52 * NS_PER_S)
    writer.close()
    return path


def said_in(path: Path) -> list[object]:
    decoder = InstrumentDecoder()
    return [e for r in RecordingReader(path).only("nmea") for e in decoder.feed(r.data, r.received_ns)]


def test_nothing_is_left_of_who_where_and_when(run: Path, tmp_path: Path) -> None:
    out = tmp_path / "shared.mcap"
    begins = 1_000_000_000 * NS_PER_S
    share(run, out, Wanted(begins_ns=begins))
    for record in RecordingReader(out):
        text = record.data.decode("latin-1").casefold()
        if record.kind != "radar":
            for word in (NAME, CALL, MARK, WORDS, "lymstoke", "boatbox", "pickle", "secret", str(HER), str(MINE)):
                assert word.casefold() not in text, record.data
        assert abs(record.received_ns - begins) < 120 * NS_PER_S
    reader = RecordingReader(out)
    assert len(list(reader)) > 900 and reader.links == {"1": "link 0"}
    for said in said_in(out):
        if isinstance(said, AisSaid):
            assert said.report.mmsi not in (HER, MINE) and said.report.call_sign is None
        if isinstance(said, PoseSaid) and said.pose.lat_deg is not None:
            assert geodesic(said.pose.lat_deg, said.pose.lon_deg, 50.7, -1.1)[0] > 1e6


def test_what_is_shared_is_still_the_run(run: Path, tmp_path: Path) -> None:
    out = tmp_path / "shared.mcap"
    done = share(run, out, Wanted())
    assert done.readings == 24 and done.turns == 23 and done.stations == 1
    before, after = said_in(run), said_in(out)
    for kind in (DepthSaid, WindSaid):
        was, now = ([e for e in said if isinstance(e, kind)] for said in (before, after))
        assert len(was) == len(now) == 24
    poses = [e for e in after if isinstance(e, PoseSaid) and e.pose.lat_deg is not None]
    assert poses[0].time_ns == T0  # times stay unless asked
    # As far and as straight as it was: 23 steps of 12.5 m east.
    first, last = poses[0].pose, poses[-1].pose
    off_m, bearing = geodesic(first.lat_deg, first.lon_deg, last.lat_deg, last.lon_deg)
    assert off_m == pytest.approx(287.5, abs=0.1) and bearing == pytest.approx(90.0, abs=0.1)
    told = [json.loads(r.data) for r in RecordingReader(out).only("readings")]
    echo, own = told[3]["echoes"][0], told[3]["own"]
    assert geodesic(own["lat"], own["lon"], echo["lat"], echo["lon"])[0] == pytest.approx(400.0, abs=0.1)
    vessels = {e.report.mmsi for e in after if isinstance(e, AisSaid)}
    assert vessels == {echo["ais"]["mmsi"]}, "one vessel has one number, wherever she is named"
    static = [e.report for e in after if isinstance(e, AisSaid) and e.report.says == "static"]
    assert static[0].length_m == 12.0 and static[0].name == echo["ais"]["name"]
    (answer,) = RecordingReader(out).only("answers")
    assert json.loads(answer.data)["key"] == told[3]["calls"][0]["key"] != f"vessel {HER}"
    (seen,) = seen_on(out)
    assert seen.what == "boat"


def test_radar_video_stays_to_the_last_count(run: Path, tmp_path: Path) -> None:
    out = tmp_path / "shared.mcap"
    share(run, out, Wanted(begins_ns=T0 + 3600 * NS_PER_S))

    def videos(path: Path) -> list[Video]:
        decoder = Cat240Decoder()
        found = [e for r in RecordingReader(path).only("radar") for e in decoder.datagram(r.data)]
        return [e for e in found if isinstance(e, Video)]

    was, now = videos(run), videos(out)
    assert len(was) == len(now) == 24 * 32
    for a, b in zip(was, now, strict=True):
        assert np.array_equal(a.cells, b.cells)
        assert (a.azimuth_start_lsb, a.azimuth_end_lsb) == (b.azimuth_start_lsb, b.azimuth_end_lsb)
        assert a.cell_duration_s == b.cell_duration_s
        assert (b.sac, b.sic) == (0, 1) and (b.sequence or 0) < 1000
        assert a.time_of_day_s is not None and b.time_of_day_s is not None
        assert (b.time_of_day_s - a.time_of_day_s) % 86_400 == pytest.approx(3600.0, abs=0.01)


def test_cut_and_thinned(run: Path, tmp_path: Path) -> None:
    out = tmp_path / "shared.mcap"
    done = share(run, out, Wanted(from_s=20.0, to_s=40.0, one_turn_in=4))
    assert done.seconds == pytest.approx(20.0, abs=0.2)
    spokes = sum(1 for _ in RecordingReader(out).only("radar"))
    assert 32 * 2 <= spokes <= 32 * 3 and done.readings == 2
    # The name was said before the cut, and stands at its head.
    first = next(e for e in said_in(out) if isinstance(e, AisSaid))
    assert first.report.says == "static"
    assert not list(RecordingReader(out).only("eye"))
    again = tmp_path / "quiet.mcap"
    share(run, again, Wanted(radar=False))
    assert not list(RecordingReader(again).only("radar"))
    with pytest.raises(InputError, match="nothing of the run lies between"):
        share(run, tmp_path / "none.mcap", Wanted(from_s=600.0))
    assert not (tmp_path / "none.mcap").exists()


@pytest.mark.parametrize("leak", ["name", "mmsi", "place", "text", "time", "radar"])
def test_what_slips_through_is_found_and_nothing_is_kept(
    leak: str, run: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Each part of the making spoilt in turn: the search after it must say so."""
    if leak == "name":
        monkeypatch.setattr(Aliases, "name", lambda self, of, name: name)
    elif leak == "mmsi":
        monkeypatch.setattr(Aliases, "mmsi", lambda self, mmsi: mmsi)
    elif leak == "place":
        monkeypatch.setattr(Moved, "place", lambda self, lat, lon: (lat + 0.01, lon))
    elif leak == "text":
        monkeypatch.setattr("moonless.share.readings.LEFT_OUT", "behind the shed")
    elif leak == "time":
        monkeypatch.setattr("moonless.share.readings.SharedReadings._time", lambda self, told: told)
    else:
        monkeypatch.setattr("moonless.share.radar.SharedRadar.block", lambda self, data, at_ns: [data])
    out = tmp_path / "shared.mcap"
    with pytest.raises(SourceError, match=r"was not written: .* left"):
        share(run, out, Wanted(begins_ns=1_000_000_000 * NS_PER_S))
    assert sorted(p.name for p in tmp_path.iterdir()) == ["run.mcap"], "nothing half-written"


def test_the_original_itself_is_full_of_traces(run: Path) -> None:
    found = traces_of(run)
    assert {HER, MINE} <= found.numbers and {NAME, CALL} <= found.names
    assert left_in(run, found, True) is not None


def test_kinds_of_senders_stay_what_they_are() -> None:
    """The forms of ITU-R M.585: aids 99, craft of a ship 98, coast stations 00, distress devices 970, 972, 974."""
    aliases = Aliases()
    for mmsi, head in ((992_351_234, "99"), (982_351_234, "98"), (2_351_234, "00"), (972_351_234, "972")):
        assert f"{aliases.mmsi(mmsi):09d}".startswith(head)
    assert len({aliases.mmsi(n) for n in (235_000_001, 235_000_002, 235_000_001)}) == 2


def command(*words: object) -> int:
    with pytest.raises(SystemExit) as left:
        main(["share", *(str(word) for word in words)])
    return int(left.value.code or 0)


def test_as_a_command(run: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = tmp_path / "shared.mcap"
    assert command(run, "--out", out, "--to", "0.5") == 0
    assert "nothing of the original was found in it" in capsys.readouterr().out
    for words, said in (
        ((run, "--out", out), "is there already"),
        ((tmp_path / "no.mcap", "--out", tmp_path / "x.mcap"), "is not there"),
        ((run, "--out", tmp_path / "x.mcap", "--from", "3", "--to", "2"), "is not after"),
        ((run, "--out", tmp_path / "x.mcap", "--begin", "yesterday"), "is not a time"),
        ((run, "--out", tmp_path / "none" / "x.mcap"), "there is no folder"),
        ((__file__, "--out", tmp_path / "x.mcap"), "is not a recording"),
    ):
        assert command(*words) == 2
        told = capsys.readouterr().err.strip()
        assert said in told and "\n" not in told
    assert sorted(p.name for p in tmp_path.iterdir()) == ["run.mcap", "shared.mcap"]


def test_a_run_without_a_place_cannot_be_moved(tmp_path: Path) -> None:
    path = tmp_path / "run.mcap"
    writer = RecordingWriter(path)
    writer.nmea(write_hdt(1.0).encode() + b"\r\n", T0)
    writer.close()
    with pytest.raises(SourceError, match="own position was never known"):
        room.share(path, tmp_path / "out.mcap", Wanted())
