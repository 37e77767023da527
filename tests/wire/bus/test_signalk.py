"""Signal K deltas: the specification's own examples, ages, others, and what cannot be."""

from __future__ import annotations

import json
import math
from datetime import UTC, datetime
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from moonless.units import NS_PER_S, iso_utc, utc_to_ns
from moonless.wire.nmea_events import (
    AisSaid,
    AttitudeSaid,
    ClockSaid,
    DepthLostSaid,
    DepthSaid,
    NoFixSaid,
    PoseSaid,
    WaterSaid,
    WindSaid,
)
from moonless.wire.signalk.decoder import SETTLE_S, SignalKDecoder
from moonless.wire.signalk.others import MAX_OTHERS

NOW_NS = utc_to_ns(datetime(2031, 3, 2, 19, 4, tzinfo=UTC))


def _delta(values: dict[str, Any], at_ns: int | None = NOW_NS, **more: Any) -> bytes:
    update: dict[str, Any] = {"values": [{"path": p, "value": v} for p, v in values.items()], "$source": "bus.35"}
    if at_ns is not None:
        update["timestamp"] = iso_utc(at_ns)
    return json.dumps({"updates": [update], **more}).encode()


def _hello(at_ns: int = NOW_NS) -> bytes:
    # The form of the specification's example (gitbook-docs/streaming_api.md).
    return json.dumps(
        {
            "name": "a server",
            "version": "1.0.4",
            "timestamp": iso_utc(at_ns),
            "self": "vessels.urn:mrn:signalk:uuid:c0d79334-4e25-4245-8892-54e8ccc8021d",
            "roles": ["master", "main"],
        }
    ).encode()


def _decoder() -> SignalKDecoder:
    decoder = SignalKDecoder()
    assert decoder.message(_hello(), NOW_NS) == []
    return decoder


@pytest.mark.parametrize(
    ("lat", "lon"), [(50.0, 200.0), (50.0, -180.5), (90.5, 4.0), (-91.0, 4.0), (50.0, None), (None, 4.0)]
)
def test_a_place_that_is_none_on_earth_is_no_place(lat: float | None, lon: float | None) -> None:
    said = _decoder().message(_delta({"navigation.position": {"latitude": lat, "longitude": lon}}), NOW_NS)
    assert not any(isinstance(e, PoseSaid) and e.pose.lat_deg is not None for e in said or ())


@pytest.mark.parametrize(("lat", "lon"), [(50.0, 179.5), (-89.5, -180.0)])
def test_a_place_at_the_ends_of_the_earth_is_one(lat: float, lon: float) -> None:
    said = _decoder().message(_delta({"navigation.position": {"latitude": lat, "longitude": lon}}), NOW_NS)
    (pose,) = [e.pose for e in said or () if isinstance(e, PoseSaid)]
    assert (pose.lat_deg, pose.lon_deg) == (lat, lon)


def test_the_own_boat() -> None:
    said = _decoder().message(
        _delta(
            {
                "navigation.position": {"latitude": 50.25, "longitude": -4.125},
                "navigation.speedOverGround": 3.5,
                "navigation.courseOverGroundTrue": 1.25,
                "navigation.headingTrue": 1.5,
                "navigation.rateOfTurn": -0.01,
                "navigation.speedThroughWater": 3.25,
                "navigation.attitude": {"roll": 0.1, "pitch": -0.05, "yaw": None},
                "navigation.datetime": "2031-03-02T19:04:00Z",
                "environment.depth.belowTransducer": 4.5,
                "environment.depth.surfaceToTransducer": 0.5,
                "environment.wind.angleApparent": -0.5,
                "environment.wind.speedApparent": 8.0,
            },
            context="vessels.urn:mrn:signalk:uuid:c0d79334-4e25-4245-8892-54e8ccc8021d",
        ),
        NOW_NS,
    )
    assert said is not None and all(e.talker == "bus.35" and not isinstance(e, NoFixSaid) for e in said)
    poses = [e.pose for e in said if isinstance(e, PoseSaid)]
    assert (poses[0].lat_deg, poses[0].lon_deg) == (50.25, -4.125)
    assert (poses[1].sog, poses[1].cog_rad) == (3.5, 1.25)
    assert (poses[2].heading_true_rad, poses[3].turn_rate) == (1.5, -0.01)
    (clock,) = [e for e in said if isinstance(e, ClockSaid)]
    (depth,) = [e for e in said if isinstance(e, DepthSaid)]
    (wind,) = [e for e in said if isinstance(e, WindSaid)]
    (water,) = [e for e in said if isinstance(e, WaterSaid)]
    (lies,) = [e for e in said if isinstance(e, AttitudeSaid)]
    assert clock.time_ns == NOW_NS and depth.below_surface_m == 5.0 and water.speed == 3.25
    assert (wind.from_rad, wind.is_apparent) == (pytest.approx(math.tau - 0.5), True)
    assert (lies.roll_rad, lies.pitch_rad, lies.yaw_rad) == (0.1, -0.05, None)


@pytest.mark.parametrize(
    ("beside", "known_m"),
    [
        # The specification's own tree of depths: 4.5 m below the transducer, which is 0.5 m under the water and 1.2 m
        # above the keel; what is known is the depth of the water from its surface, or failing that from the keel.
        ({"surfaceToTransducer": 0.5}, 5.0),
        ({"belowSurface": 5.0}, 5.0),
        ({"transducerToKeel": 1.2}, 3.3),
        ({"belowKeel": 3.3}, 3.3),
    ],
)
def test_depth_from_where_it_is_measured(beside: dict[str, float], known_m: float) -> None:
    values = {"environment.depth.belowTransducer": 4.5} | {f"environment.depth.{k}": v for k, v in beside.items()}
    said = _decoder().message(_delta(values), NOW_NS)
    assert said is not None
    (depth,) = said
    assert isinstance(depth, DepthSaid) and depth.offset_m is not None
    # As NMEA 0183's DPT: an offset is from the surface where it is positive, and from the keel where it is negative.
    assert depth.below_transducer_m + depth.offset_m == pytest.approx(known_m)


def test_a_compass_heading_is_made_true_and_says_so() -> None:
    decoder = _decoder()
    assert decoder.message(_delta({"navigation.headingMagnetic": 1.0}), NOW_NS) == []
    said = decoder.message(_delta({"navigation.magneticVariation": 0.2, "navigation.headingMagnetic": 1.0}), NOW_NS)
    assert said is not None
    (turned,) = said
    assert isinstance(turned, PoseSaid) and turned.is_magnetic
    assert turned.pose.heading_true_rad == pytest.approx(1.2)


def test_what_the_server_had_from_before_is_not_taken_for_now() -> None:
    decoder = _decoder()
    place = {"navigation.position": {"latitude": 50.0, "longitude": -4.0}}
    assert decoder.message(_delta(place, NOW_NS - 3600 * NS_PER_S), NOW_NS) == []
    assert decoder.counts.old == 1
    # The server's clock is a day wrong: only its own differences count.
    wrong = SignalKDecoder()
    day = 86_400 * NS_PER_S
    wrong.message(_hello(NOW_NS - day), NOW_NS)
    assert wrong.message(_delta(place, NOW_NS - day + 10), NOW_NS + 20) != []
    assert wrong.message(_delta(place, NOW_NS - day - 10 * NS_PER_S), NOW_NS + 20) == []


def test_without_a_hello_nothing_is_taken_before_ages_can_be_told() -> None:
    decoder = SignalKDecoder()
    place = {"navigation.position": {"latitude": 50.0, "longitude": -4.0}}
    assert decoder.message(_delta(place, NOW_NS - 3600 * NS_PER_S), NOW_NS) == []
    assert decoder.message(_delta(place, NOW_NS), NOW_NS) == []
    later = NOW_NS + round((SETTLE_S + 0.1) * NS_PER_S)
    assert decoder.message(_delta(place, NOW_NS - 3600 * NS_PER_S), later) == []
    assert decoder.message(_delta(place, later), later) != []


def test_no_fix_is_no_position() -> None:
    decoder = _decoder()
    said = decoder.message(_delta({"navigation.position": None}), NOW_NS)
    assert said is not None and [type(e) for e in said] == [NoFixSaid]
    said = decoder.message(_delta({"navigation.gnss.methodQuality": "no GPS"}), NOW_NS)
    assert said is not None and [type(e) for e in said] == [NoFixSaid]
    said = decoder.message(_delta({"navigation.position": {"latitude": 50.0, "longitude": -4.0}}), NOW_NS)
    assert said is not None and [type(e) for e in said] == [NoFixSaid]
    decoder.message(_delta({"navigation.gnss.methodQuality": "GNSS Fix"}), NOW_NS)
    said = decoder.message(_delta({"navigation.position": {"latitude": 50.0, "longitude": -4.0}}), NOW_NS)
    assert said is not None and [type(e) for e in said] == [PoseSaid]


@pytest.mark.parametrize("quality", ["no GPS", "Estimated (DR) mode", "Manual input", "Simulator mode", "Error"])
def test_a_position_that_no_satellite_gave_is_none(quality: str) -> None:
    # The specification's values of methodQuality, as NMEA 0183's GGA 0, 6, 7 and 8 and NMEA 2000's "error".
    decoder = _decoder()
    decoder.message(_delta({"navigation.gnss.methodQuality": quality}), NOW_NS)
    said = decoder.message(_delta({"navigation.position": {"latitude": 50.0, "longitude": -4.0}}), NOW_NS)
    assert said is not None and [type(e) for e in said] == [NoFixSaid]


def test_a_sounder_without_a_bottom() -> None:
    said = _decoder().message(_delta({"environment.depth.belowTransducer": None}), NOW_NS)
    assert said is not None and [type(e) for e in said] == [DepthLostSaid]


def test_others() -> None:
    decoder = _decoder()
    context = "vessels.urn:mrn:imo:mmsi:999000001"
    said = decoder.message(
        _delta(
            {
                "": {"name": "MADE UP", "mmsi": "999000001", "communication": {"callsignVhf": "ZZ9"}},
                "navigation.position": {"latitude": 50.0, "longitude": -4.0},
                "navigation.speedOverGround": 5.0,
                "navigation.courseOverGroundTrue": 2.0,
                "design.length": {"overall": 100.0},
                "design.beam": 20.0,
                "sensors.ais.fromBow": 80.0,
                "sensors.ais.fromCenter": 2.0,
                "design.aisShipType": {"id": 70, "name": "Cargo ship"},
            },
            NOW_NS - 30 * NS_PER_S,
            context=context,
        ),
        NOW_NS,
    )
    assert said is not None
    (other,) = said
    assert isinstance(other, AisSaid) and other.age_ns == 30 * NS_PER_S
    r = other.report
    assert (r.mmsi, r.says, r.name, r.call_sign, r.ship_type) == (999_000_001, "position", "MADE UP", "ZZ9", 70)
    assert (r.to_bow_m, r.to_stern_m, r.to_port_m, r.to_starboard_m) == (80.0, 20.0, 12.0, 8.0)
    old = decoder.message(
        _delta({"navigation.speedOverGround": 5.0}, NOW_NS - 3600 * NS_PER_S, context=context), NOW_NS
    )
    assert old == []
    (aid,) = (
        decoder.message(
            _delta(
                {"navigation.position": {"latitude": 50.0, "longitude": -4.0}, "virtual": True},
                context="atons.urn:mrn:imo:mmsi:993000001",
            ),
            NOW_NS,
        )
        or []
    )
    assert isinstance(aid, AisSaid) and aid.report.says == "aid" and aid.report.is_virtual_aid


@pytest.mark.parametrize(
    "values",
    [
        {"navigation.position": {"latitude": 91.0, "longitude": 0.0}},
        {"navigation.position": "here"},
        {"navigation.headingTrue": "north"},
        {"navigation.speedOverGround": -1.0},
        {"navigation.headingTrue": True},
        {"environment.depth.belowTransducer": 1e9},
    ],
)
def test_what_cannot_be_is_counted_and_left_out(values: dict[str, Any]) -> None:
    decoder = _decoder()
    assert decoder.message(_delta(values), NOW_NS) == []
    assert sum(decoder.counts.bad.values()) == 1


@pytest.mark.parametrize("text", [b"{", b"[1]", b"{}", b'{"a": 1}', b"{" * 5000, b'{"updates": NaN'])
def test_what_is_no_signal_k(text: bytes) -> None:
    assert SignalKDecoder().message(text, NOW_NS) is None


_json = st.recursive(
    st.none() | st.booleans() | st.floats() | st.text(max_size=20),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=12), inner, max_size=3),
    max_leaves=12,
)


@given(_json, _json, _json, st.sampled_from(["", "vessels.self", "vessels.urn:mrn:imo:mmsi:1", "x"]))
def test_any_json_raises_nothing(values: Any, stamp: Any, more: Any, context: str) -> None:
    decoder = _decoder()
    paths = ("navigation.position", "navigation.headingTrue", "", "design.length", "navigation.attitude")
    for updates in (
        more,
        [more],
        [{"values": values, "timestamp": stamp, "source": more}],
        [{"values": [{"path": p, "value": values} for p in paths], "$source": stamp}],
    ):
        decoder.message(json.dumps({"updates": updates, "context": context}).encode(), NOW_NS)


def test_a_flood_of_vessels_is_bounded() -> None:
    decoder = _decoder()
    for i in range(MAX_OTHERS + 300):
        decoder.message(
            _delta({"navigation.speedOverGround": 1.0}, context=f"vessels.urn:mrn:imo:mmsi:{i}"), NOW_NS + i
        )
    assert len(decoder._others._known) == MAX_OTHERS
