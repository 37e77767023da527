"""What a link carries is told from its bytes; of several sources one is taken, and why is said."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from moonless.units import NS_PER_S
from moonless.watch.instruments.source_priority import SentenceSource, choose_sources
from moonless.watch.link_survey.content import LinkContent, place_words
from moonless.watch.link_survey.radar_content import FAN_CELLS, FAN_ROWS
from moonless.wire.ais import encode_ais
from moonless.wire.cat240 import encode_video
from moonless.wire.nmea_write import write_gga, write_hdg, write_hdt, write_rmc

T0 = 1_930_000_000 * NS_PER_S


def line(text: str) -> bytes:
    return text.encode() + b"\r\n"


def spoke(number: int, n_spoke: int = 360, n_cell: int = 256, sic: int = 1, *, at: int = 100) -> bytes:
    cells = np.zeros(n_cell, np.uint8)
    cells[at] = 200
    step = 2 * math.pi / n_spoke
    return encode_video(
        cells,
        azimuth_start_rad=number * step,
        azimuth_end_rad=(number + 1) * step,
        cell_m=7.5,
        sequence=number,
        sic=sic,
    )


def test_sentences_are_counted_by_formatter_and_shown_as_they_came() -> None:
    content = LinkContent("udp://0.0.0.0:10110")
    assert content.kind == "nothing"
    for second in range(5):
        at = T0 + second * NS_PER_S
        content.put(line(write_rmc(at, -38.0, -128.0, 0.4, 4.0)), at, True)
        content.put(line(write_hdt(0.5)), at, True)
    assert content.kind == "nmea"
    assert {name: one.count for name, one in content.sentences.items()} == {"GPRMC": 5, "HEHDT": 5}
    assert content.sentences["GPRMC"].per_s == pytest.approx(1.0)
    number, at, text = content.ticker[-1]
    assert (number, at, text) == (10, T0 + 4 * NS_PER_S, write_hdt(0.5))
    assert content.place == pytest.approx((-38.0, -128.0), abs=1e-4)
    assert {offer.what for offer in content.sources} == {"position", "motion", "heading", "date"}
    assert content.words() == "NMEA 0183: HDT, RMC"


@pytest.mark.parametrize("is_cut", [True, False])
def test_a_wrong_checksum_is_not_believed(is_cut: bool) -> None:
    content = LinkContent("x")
    said = write_hdt(0.5)
    wrong = said[:-1] + "Z" if is_cut else said[:-2] + f"{int(said[-2:], 16) ^ 1:02X}"
    content.put(line(wrong), T0, True)
    assert content.kind == "unknown"
    assert content.sources == ()
    assert "checksum" in content.words()


def test_ais_counts_vessels() -> None:
    content = LinkContent("x")
    for mmsi in (999000001, 999000002, 999000001):
        for sentence in encode_ais({"type": 1, "mmsi": mmsi, "lat": -38.0, "lon": -128.0}):
            content.put(line(sentence), T0, True)
    assert content.words().startswith("AIS")
    assert next(o for o in content.sources if o.what == "ais").value == "2 vessels"
    content.put(line(write_hdt(0.5)), T0, True)
    content.put(line(write_rmc(T0, -38.0, -128.0, 0.4, 4.0)), T0, True)
    assert content.words() == "NMEA 0183 and AIS: HDT, RMC, VDM"


def test_radar_video_tells_its_figures_and_draws_its_fan() -> None:
    content = LinkContent("udp://239.255.0.1:8600")
    # Two turns at 24 turns a minute, 360 spokes a turn: 144 spokes a second.
    for number in range(720):
        content.put(spoke(number % 360), T0 + number * NS_PER_S // 144, True)
    now = T0 + 719 * NS_PER_S // 144
    radar = content.radar
    assert content.kind == "radar"
    assert radar.spokes == 720 and radar.n_cell == 256 and radar.bits == 8
    assert radar.spokes_per_s(now) == pytest.approx(144, rel=0.05)
    assert radar.turns_per_min == pytest.approx(24.0, rel=0.02)
    assert radar.spokes_per_turn == 360
    # Cells 0 to 255, centres at n * 7.5 m: the last ends at 255.5 * 7.5.
    assert radar.range_m == pytest.approx(255.5 * 7.5, rel=1e-3)
    assert radar.fan.shape == (FAN_ROWS, FAN_CELLS)
    assert (radar.fan_ns > 0).all()
    assert set(np.argmax(radar.fan, axis=1)) == {100 * FAN_CELLS // 256}
    assert radar.fan.max() == 200


def test_an_antenna_that_turns_the_other_way_says_so() -> None:
    content = LinkContent("x")
    for number in range(400):
        content.put(spoke(-number % 360), T0 + number * NS_PER_S // 144, True)
    assert content.radar.turns_per_min == pytest.approx(-24.0, rel=0.02)


def test_two_radars_on_one_link_are_both_counted_and_one_is_drawn() -> None:
    content = LinkContent("x")
    for number in range(100):
        content.put(spoke(number, sic=1 + number % 2), T0 + number * 7_000_000, True)
    assert dict(content.radar.sources) == {(0, 1): 50, (0, 2): 50}
    assert content.radar.spokes == 50


def test_a_stream_of_blocks_cut_anywhere_is_radar_and_one_of_lines_is_not() -> None:
    radar, lines = LinkContent("r"), LinkContent("n")
    blocks = b"".join(spoke(n) for n in range(40))
    text = b"".join(line(write_hdt(0.01 * n)) for n in range(40))
    for k in range(0, len(blocks), 97):
        radar.put(blocks[k : k + 97], T0, False)
    for k in range(0, len(text), 7):
        lines.put(text[k : k + 7], T0, False)
    assert radar.kind == "radar" and radar.radar.spokes >= 39
    assert lines.kind == "nmea" and lines.sentences["HEHDT"].count == 40


def test_other_asterix_and_other_data_are_said_to_be_what_they_are() -> None:
    content = LinkContent("x")
    content.put(bytes([34, 0, 6, 1, 2, 3]), T0, True)  # category 34, six octets
    assert content.kind == "asterix" and "34" in content.words()
    content = LinkContent("x")
    content.put(b"hello, is anybody there", T0, True)
    assert content.kind == "unknown"


@given(st.lists(st.tuples(st.binary(max_size=200), st.booleans()), max_size=12))
def test_no_bytes_make_it_fail_or_believe(pieces: list[tuple[bytes, bool]]) -> None:
    content = LinkContent("x")
    for data, is_datagram in pieces:
        content.put(data, T0, is_datagram)
    assert content.words()
    assert content.n_byte == sum(len(data) for data, _ in pieces)


# ---- two of a kind ------------------------------------------------------------------------------------------------


def offer(
    what: str, link: str, talker: str, kind: str, first_s: float, last_s: float = 10.0, mag: bool = False
) -> SentenceSource:
    return SentenceSource(what, link, talker, kind, T0 + int(first_s * NS_PER_S), T0 + int(last_s * NS_PER_S), "", mag)  # type: ignore[arg-type]


NOW = T0 + 10 * NS_PER_S


def test_one_receiver_that_says_it_twice_is_no_conflict() -> None:
    offers = [offer("position", "a", "GP", "GGA", 0), offer("position", "a", "GP", "RMC", 1)]
    (taken,) = choose_sources(offers, {}, NOW)
    assert not taken.is_conflict and taken.taken.kind == "RMC"


def test_of_two_receivers_the_better_kind_then_the_first_heard() -> None:
    (taken,) = choose_sources([offer("position", "a", "GP", "GGA", 0), offer("position", "b", "GN", "RMC", 1)], {}, NOW)
    assert taken.taken.link == "b" and "RMC goes before GGA" in taken.why and "2 seconds" in taken.why
    (taken,) = choose_sources([offer("position", "b", "GP", "RMC", 1), offer("position", "a", "GN", "RMC", 0)], {}, NOW)
    assert taken.taken.link == "a" and "heard first" in taken.why


def test_a_true_heading_goes_before_a_compass_and_a_choice_before_both() -> None:
    offers = [offer("heading", "a", "HC", "HDG", 0, mag=True), offer("heading", "a", "HE", "HDT", 2)]
    (taken,) = choose_sources(offers, {}, NOW)
    assert taken.taken.kind == "HDT" and "true heading goes before a compass" in taken.why
    (taken,) = choose_sources(offers, {"heading": ("a", "HC")}, NOW)
    assert taken.taken.kind == "HDG" and "you chose it" in taken.why


def test_what_has_gone_silent_is_no_offer_and_what_is_all_used_no_conflict_to_settle() -> None:
    assert choose_sources([offer("heading", "a", "HE", "HDT", 0, last_s=1.0)], {}, NOW) == []
    (taken,) = choose_sources([offer("ais", "a", "AI", "VDM", 0), offer("ais", "b", "AI", "VDM", 0)], {}, NOW)
    assert taken.why == "all of them are used"


def test_two_radars_ask_for_a_choice() -> None:
    (taken,) = choose_sources([offer("radar", "a", "", "CAT240", 0), offer("radar", "b", "", "CAT240", 0)], {}, NOW)
    assert "choose one" in taken.why


def test_the_watch_follows_the_choice_told_here() -> None:
    from moonless.boat.file import default_boat
    from moonless.watch.pipeline.chain import Chain

    headings = {}
    for name, preferred in (("none", {}), ("compass", {"heading": ("1", "HC")})):
        chain = Chain(default_boat(), preferred=preferred)
        for second in range(4):
            at = T0 + second * NS_PER_S
            text = line(write_gga(at, -38.0, -128.0)) + line(write_hdg(1.0)) + line(write_hdt(2.0))
            chain.feed_nmea(text, at, link="1")
        # What was taken in, before faults: the first switch from one sensor to the other is a jump.
        headings[name] = float(chain.intake.poses.at(T0 + 3 * NS_PER_S).heading_true_rad[0])
    assert headings["none"] == pytest.approx(2.0, abs=0.01)
    assert headings["compass"] != pytest.approx(2.0, abs=0.3)


@pytest.mark.parametrize(
    ("lat", "lon", "words"),
    [
        (54.5, -1.25, "54°30.00' N  001°15.00' W"),
        (-0.99999999, 179.999999, "01°00.00' S  180°00.00' E"),
    ],
)
def test_a_place_in_words(lat: float, lon: float, words: str) -> None:
    assert place_words(lat, lon) == words
