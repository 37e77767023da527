"""Runs played again from files and recordings, and the watch kept live: the same readings by every door."""

from __future__ import annotations

import asyncio
import json
import socket
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from watch_made_run import T0, MadeRun

from moonless.boat.file import default_boat
from moonless.chart.local_knowledge.knowledge import Knowledge
from moonless.cli.read import command
from moonless.errors import InputError, TruncatedRecord, WireError
from moonless.reading.judge import Judge
from moonless.sea.stations import Harmonic, Stations, TideStation
from moonless.units import NS_PER_S, iso_utc
from moonless.watch.instruments.tides import TideUnderWay
from moonless.watch.live.inbox import Item, joined
from moonless.watch.live.watch import LiveWatch
from moonless.watch.pipeline.chain import Chain
from moonless.watch.pipeline.replay import Replay, play
from moonless.watch.types import LinkNow, Turn
from moonless.wire.links import parse_link
from moonless.wire.recording import RecordingReader, RecordingWriter
from moonless.wire.sentences import checksum

SECONDS = 12.0


@pytest.fixture(scope="module")
def files(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """One run by every door: radar file, NMEA with and without tag blocks, recording."""
    folder = tmp_path_factory.mktemp("run")
    out = {name: folder / name for name in ("radar.cat240", "plain.nmea", "tagged.nmea", "run.mcap")}
    events = list(MadeRun().events(SECONDS))
    out["radar.cat240"].write_bytes(b"".join(d for _, kind, d in events if kind == "radar"))
    out["plain.nmea"].write_bytes(b"".join(d for _, kind, d in events if kind == "nmea"))
    tagged = b""
    for now, kind, data in events:
        if kind == "nmea":
            tag = b"c:%d" % (now // 1_000_000)
            tagged += b"\\" + tag + b"*%02X\\" % checksum(tag) + data
    out["tagged.nmea"].write_bytes(tagged)
    writer = RecordingWriter(out["run.mcap"])
    for now, kind, data in events:
        if kind == "radar":
            writer.radar(data, now, is_datagram=True)
        else:
            writer.nmea(data, now, link=1)
    writer.close()
    return out


def _play(replay: Replay) -> list[Turn]:
    return [turn for turn, _ in play(Chain(default_boat()), replay)]


def _near(turns: list[Turn], other: list[Turn]) -> None:
    assert len(turns) == len(other) >= 4
    for a, b in zip(turns, other, strict=True):
        assert abs(a.reading.time_ns - b.reading.time_ns) < 20_000_000
        assert a.reading.faults == b.reading.faults == ()
        assert a.reading.own.lat == pytest.approx(b.reading.own.lat, abs=2e-6)
        assert a.reading.own.heading_deg == pytest.approx(b.reading.own.heading_deg, abs=0.5)


def test_every_door_gives_the_same_readings(files: dict[str, Path]) -> None:
    recorded = _play(Replay(recording=files["run.mcap"]))
    _near(recorded, _play(Replay(radar=(files["radar.cat240"],), nmea=(files["tagged.nmea"],))))
    # Without tag blocks only the fixes carry a time; headings lie evenly between.
    _near(recorded, _play(Replay(radar=(files["radar.cat240"],), nmea=(files["plain.nmea"],))))


def test_untimed_sentences_lie_between_their_timed_neighbours(files: dict[str, Path]) -> None:
    fed = [f for f in Replay(nmea=(files["plain.nmea"],)).feeds()]
    tagged = [f for f in Replay(nmea=(files["tagged.nmea"],)).feeds()]
    assert [f.data for f in fed] == [b"$" + f.data.split(b"$")[1] for f in tagged]
    assert max(abs(a.time_ns - b.time_ns) for a, b in zip(fed, tagged, strict=True)) < NS_PER_S
    assert [f.time_ns for f in fed] == sorted(f.time_ns for f in fed)


def test_a_radar_file_cut_in_a_block_is_refused_or_played_to_there(files: dict[str, Path], tmp_path: Path) -> None:
    cut = tmp_path / "cut.cat240"
    data = files["radar.cat240"].read_bytes()
    cut.write_bytes(data[:-30])
    with pytest.raises(TruncatedRecord, match=f"the record at byte {len(data) - len(data) // 864}"):
        _play(Replay(radar=(cut,), nmea=(files["plain.nmea"],)))
    replay = Replay(radar=(cut,), nmea=(files["plain.nmea"],), until_damage=True)
    assert len(_play(replay)) >= 4
    assert "record at byte" in replay.notes[0]


def test_other_categories_and_damage_are_told(files: dict[str, Path], tmp_path: Path) -> None:
    odd = tmp_path / "odd.cat240"
    data = files["radar.cat240"].read_bytes()
    block = len(data) // 864
    bad = bytearray(data[:block])
    bad[25] = 77
    odd.write_bytes(b"\x30\x00\x05\x80\x01" + data[: 200 * block] + bytes(bad) + data[200 * block :])
    replay = Replay(radar=(odd,), nmea=(files["plain.nmea"],))
    assert len(_play(replay)) >= 4
    assert any("1 of category 48" in note for note in replay.notes)
    assert any("1 damaged" in note for note in replay.notes)


def test_a_radar_on_another_clock_is_told(files: dict[str, Path], tmp_path: Path) -> None:
    local = tmp_path / "local.cat240"
    data = bytearray(files["radar.cat240"].read_bytes())
    block = len(data) // 864
    for at in range(0, len(data), block):
        ticks = int.from_bytes(data[at + block - 3 : at + block], "big") + 3 * 3600 * 128
        data[at + block - 3 : at + block] = (ticks % (86_400 * 128)).to_bytes(3, "big")
    local.write_bytes(data)
    replay = Replay(radar=(local,), nmea=(files["plain.nmea"],))
    list(replay.feeds())
    assert any("180 minutes after" in note and "UTC" in note for note in replay.notes)


def test_what_is_no_such_file_is_said(tmp_path: Path, files: dict[str, Path]) -> None:
    noise = tmp_path / "noise"
    noise.write_bytes(b"hello world\n" * 20)
    with pytest.raises(WireError, match="no ASTERIX category 240"):
        _play(Replay(radar=(noise,), nmea=(files["plain.nmea"],)))
    with pytest.raises(WireError, match="no NMEA 0183 sentence"):
        _play(Replay(nmea=(noise,)))
    noise.write_bytes(b"$GPHDT,274.07,T*03\r\n")
    with pytest.raises(WireError, match="says a time"):
        _play(Replay(nmea=(noise,)))
    with pytest.raises(InputError, match="cannot be read"):
        _play(Replay(nmea=(tmp_path / "none",)))


# --- the command ---------------------------------------------------------------------------------------------------


def test_the_command_writes_all_or_nothing(files: dict[str, Path], tmp_path: Path) -> None:
    out, geojson, gpx = (tmp_path / n for n in ("readings.jsonl", "e.geojson", "t.gpx"))
    args = ["--radar", str(files["radar.cat240"]), "--nmea", str(files["plain.nmea"]), "--out", str(out)]
    result = CliRunner().invoke(command, [*args, "--geojson", str(geojson), "--gpx", str(gpx), "--quiet"])
    assert result.exit_code == 0, result.output
    lines = [json.loads(line) for line in out.read_text().splitlines()]
    assert len(lines) >= 4
    assert lines[0]["time"].startswith(iso_utc(T0)[:16])
    assert json.loads(geojson.read_text())["features"][0]["properties"]["is"] == "own track"
    assert "<trkpt" in gpx.read_text()
    assert sorted(p.name for p in tmp_path.iterdir()) == ["e.geojson", "readings.jsonl", "t.gpx"]

    cut = tmp_path / "cut.cat240"
    cut.write_bytes(files["radar.cat240"].read_bytes()[:-30])
    before = out.read_bytes()
    args[1] = str(cut)
    result = CliRunner().invoke(command, args)
    assert isinstance(result.exception, TruncatedRecord)
    assert out.read_bytes() == before
    assert sorted(p.name for p in tmp_path.iterdir()) == ["cut.cat240", "e.geojson", "readings.jsonl", "t.gpx"]


def test_the_command_reads_a_recording(files: dict[str, Path], tmp_path: Path) -> None:
    out = tmp_path / "r.jsonl"
    result = CliRunner().invoke(command, [str(files["run.mcap"]), "--out", str(out)])
    assert result.exit_code == 0, result.output
    assert len(out.read_text().splitlines()) >= 4


def test_the_command_knows_tide_and_local_knowledge(
    files: dict[str, Path], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    known = Knowledge.open(tmp_path / "known.gpkg")
    known.add(10.0, -30.0, "old barge", seen_ns=T0)
    kept = (tmp_path / "known.gpkg").read_bytes()
    given: list[tuple[float | None, Any]] = []
    made: list[Any] = []
    read, make = Judge.read, Judge.__init__

    def listen(self: Judge, situation: Any) -> Any:
        given.append((situation.tide_m, made[-1]))
        return read(self, situation)

    def remember(self: Judge, boat: Any, chart: Any = None, knowledge: Any = None) -> None:
        made.append(knowledge)
        make(self, boat, chart, knowledge)

    monkeypatch.setattr(Judge, "read", listen)
    monkeypatch.setattr(Judge, "__init__", remember)
    args = [str(files["run.mcap"]), "--out", str(tmp_path / "r.jsonl"), "--knowledge", str(tmp_path / "known.gpkg")]
    assert CliRunner().invoke(command, [*args, "--tide", "1.5", "--quiet"]).exit_code == 0
    assert given and all(tide == 1.5 and [t.words for t in k.things] == ["old barge"] for tide, k in given)
    # Only read, never written.
    assert (tmp_path / "known.gpkg").read_bytes() == kept


def test_tide_is_predicted_where_a_station_is_near_and_unknown_elsewhere() -> None:
    level = TideStation(
        "a", "Invented", 10.0, -30.0, "MLLW", 1.0, (Harmonic("M2", 1.0, 0.0),), None, {"MLLW": 0.0}
    )
    tide = TideUnderWay(Stations({"a": level}, {}))
    assert tide.height_m(T0, None, None) is None
    heights = [tide.height_m(T0 + hour * 3600 * NS_PER_S, 10.01, -30.0) for hour in range(13)]
    assert all(height is not None and 0.0 - 0.2 <= height <= 2.2 for height in heights)
    # A semidiurnal tide turns within six and a half hours.
    assert max(h for h in heights if h is not None) - min(h for h in heights if h is not None) > 1.5
    assert tide.height_m(T0 + 14 * 3600 * NS_PER_S, 20.0, -30.0) is None


@pytest.mark.parametrize(
    ("args", "says"),
    [
        (["--out", "x"], "nothing to read"),
        (["none.mcap", "--out", "x"], "not there"),
        (["--radar", "none.cat240", "--out", "x"], "not there"),
        (["--radar", "ftp://host:1", "--out", "x"], "not known"),
        (["run.mcap", "--radar", "a", "--out", "x"], "not both"),
        (["--nmea", "here.nmea", "--knowledge", "none.gpkg", "--out", "x"], "not there"),
        (["--nmea", "here.nmea", "--tides", "none.json", "--out", "x"], "cannot be opened"),
        (["--nmea", "here.nmea", "--tides", "a", "--tide", "1", "--out", "x"], "not both"),
        (["--nmea", "here.nmea", "--tide", "nan", "--out", "x"], "not between -20 and 20"),
        (["--nmea", "here.nmea", "--tide", "99", "--out", "x"], "not between -20 and 20"),
    ],
)
def test_wrong_input_is_one_plain_line(args: list[str], says: str, tmp_path: Path, monkeypatch: Any) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "here.nmea").write_text("")
    result = CliRunner().invoke(command, args)
    assert says in str(result.exception) + result.output
    assert [path.name for path in tmp_path.iterdir()] == ["here.nmea"]


def test_several_files_may_follow_one_option(files: dict[str, Path], tmp_path: Path) -> None:
    out = tmp_path / "r.jsonl"
    args = ["--radar", str(files["radar.cat240"]), "--nmea", str(files["plain.nmea"]), str(files["tagged.nmea"])]
    result = CliRunner().invoke(command, [*args, "--out", str(out), "--quiet"])
    assert result.exit_code == 0, result.output


# --- live ----------------------------------------------------------------------------------------------------------


def test_live_links_give_turns_and_a_recording_of_them(tmp_path: Path) -> None:
    """A radar on UDP and instruments on TCP, played as fast as they go; the recording reads like the run."""
    events = list(MadeRun().events(SECONDS))
    got: list[Turn | LinkNow] = []
    path = tmp_path / "kept.mcap"
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]

    async def go() -> None:
        finished = asyncio.Event()
        opened = asyncio.Event()
        asked_to_stop = asyncio.Event()
        loop = asyncio.get_running_loop()

        async def serve(_: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
            await opened.wait()
            sock = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
            for i, (_, kind, data) in enumerate(events):
                if kind == "radar":
                    sock.sendto(data, ("127.0.0.1", port))
                else:
                    writer.write(data)
                if i % 40 == 0:
                    await asyncio.sleep(0)
            sock.close()
            await writer.drain()
            finished.set()
            await asked_to_stop.wait()
            writer.close()
            await writer.wait_closed()

        server = await asyncio.start_server(serve, "127.0.0.1", 0)
        tcp = server.sockets[0].getsockname()[1]

        def take(event: Any) -> None:
            got.append(event)
            if isinstance(event, LinkNow) and event.state == "open" and event.link.startswith("udp"):
                loop.call_soon_threadsafe(opened.set)

        watch = LiveWatch(
            default_boat(), None, None,
            radar=parse_link(f"udp://127.0.0.1:{port}"), nmea=[parse_link(f"tcp://127.0.0.1:{tcp}")],
            on_event=take, record=path, with_spokes=False,
        )  # fmt: skip
        task = asyncio.create_task(watch.run())
        async with asyncio.timeout(120.0):
            await finished.wait()
            while watch.chain.radar.decoder.counts.videos < 800 and not task.done():
                await asyncio.sleep(0.02)
        watch.record_seen({"what": "boat"})
        watch.record_answer("echo 5")
        task.cancel()
        await asyncio.gather(task, return_exceptions=True)
        asked_to_stop.set()
        server.close()
        await server.wait_closed()
        await asyncio.sleep(0.05)

    asyncio.run(go())
    assert any(isinstance(e, LinkNow) and e.state == "open" for e in got)
    reader = RecordingReader(path)
    kept = list(reader)
    assert reader.is_whole
    assert sum(r.kind == "nmea" for r in kept) >= 100
    assert sum(r.kind == "radar" for r in kept) >= 800
    assert [r.data for r in kept if r.kind == "eye"] == [b'{"what":"boat"}']
    assert [json.loads(r.data)["key"] for r in kept if r.kind == "answers"] == ["echo 5"]
    assert b"".join(r.data for r in kept if r.kind == "nmea") in b"".join(d for _, k, d in events if k == "nmea")


def test_live_work_that_fails_is_said_and_goes_on() -> None:
    got: list[Any] = []
    path = parse_link(__file__)
    watch = LiveWatch(default_boat(), None, None, radar=None, nmea=[path], on_event=got.append, with_spokes=False)

    def broken(*args: Any, **kwargs: Any) -> list[Turn]:
        raise RuntimeError("a fault of ours")

    watch.chain.feed_nmea = broken  # type: ignore[method-assign]
    asyncio.run(watch.run())
    assert watch.counts.failures >= 1
    assert any(isinstance(e, LinkNow) and e.link == "watch" and "a fault of ours" in e.text for e in got)


def test_datagrams_are_joined_only_when_they_came_together() -> None:
    items = [Item(b"a", 0, True, 0), Item(b"b", 10_000_000, True, 0), Item(b"c", 30_000_000, True, 0)]
    items += [Item(b"n", 31_000_000, False, 1), Item(b"d", 32_000_000, True, 0), Item(b"e", 33_000_000, False, 0)]
    got = [(i.data, i.received_ns, i.is_datagram) for i in joined(items)]
    assert got == [
        (b"ab", 10_000_000, False),
        (b"c", 30_000_000, True),
        (b"n", 31_000_000, False),
        (b"d", 32_000_000, True),
        (b"e", 33_000_000, False),
    ]
