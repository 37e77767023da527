"""Readings for others: sentences by another library's reader, deltas by the specification, datagrams that arrive."""

from __future__ import annotations

import json
import math
import socket
import uuid
from dataclasses import replace
from typing import Any

import pynmea2
import pytest

from moonless.errors import InputError
from moonless.reading.types import AisLabel, Call, Echo, Fault, Own, Reading, Registration, SpeedAdvice
from moonless.units import NS_PER_S
from moonless.watch.outputs.deltas import DeltaOutput
from moonless.watch.outputs.sender import Sender, named_outputs, packed, parse_output
from moonless.watch.outputs.sentences import SentenceOutput
from moonless.wire.instruments import InstrumentDecoder
from moonless.wire.nmea import NmeaDecoder
from moonless.wire.nmea_events import AisSaid, TargetPlaceSaid, TargetSaid

T0 = 1_900_000_000 * NS_PER_S

ECHO = Echo(
    id=1017, lat=50.1234567, lon=-4.7654321, range_m=1852.0, bearing_deg=45.0, relative_bearing_deg=15.0, cog_deg=190.0,
    sog_kn=12.5, length_m=None, kind="vessel", confidence=0.9, p_moving=0.99, charted_as=None, ais=None, cpa_m=300.0,
    tcpa_s=240.0, cpa_sigma_m=50.0, why="it moves",
)  # fmt: skip


def _reading(at_s: float = 0.0, **more: Any) -> Reading:
    values: dict[str, Any] = dict(
        time_ns=T0 + round(at_s * NS_PER_S), own=Own(50.0, -4.8, 0.0, 6.0, 30.0), echoes=(ECHO,), missing=(),
        hidden=None, seeing=(), seeing_line=None, stopping_m=None,
        registration=Registration(None, None, None, None, None),
        speed=SpeedAdvice(None, "unknown"), faults=(), calls=(),
    )  # fmt: skip
    return Reading(**(values | more))


# --- sentences --------------------------------------------------------------------------------------------------------


def test_a_target_as_another_library_reads_it() -> None:
    ttm, tll = (pynmea2.parse(line, check=True) for line in SentenceOutput().lines(_reading()))
    assert (ttm.target_number, float(ttm.distance), float(ttm.bearing), ttm.brg_ref) == (1, 1.0, 45.0, "T")
    assert (float(ttm.target_speed if hasattr(ttm, "target_speed") else ttm.speed), float(ttm.cog)) == (12.5, 190.0)
    assert float(ttm.dist_cpa) == pytest.approx(300.0 / 1852.0, abs=5e-4) and float(ttm.time_cpa) == 4.0
    assert (ttm.dist_unit, ttm.status) == ("N", "T")
    assert tll.target_number == 1
    assert tll.latitude == pytest.approx(ECHO.lat, abs=2e-7) and tll.longitude == pytest.approx(ECHO.lon, abs=2e-7)


def test_our_own_reader_takes_what_is_sent() -> None:
    decoder = NmeaDecoder()
    data = "".join(line + "\r\n" for line in SentenceOutput().lines(_reading())).encode()
    target, place = decoder.feed(data, T0)
    assert isinstance(target, TargetSaid) and isinstance(place, TargetPlaceSaid)
    assert (target.range_m, target.cpa_m, target.tcpa_s) == (
        pytest.approx(1852.0),
        pytest.approx(300.0, abs=1.0),
        240.0,
    )


def test_numbers_stay_and_the_lost_are_said_once() -> None:
    out = SentenceOutput()
    two = replace(ECHO, id=2000, range_m=500.0)
    first = out.lines(_reading(0.0, echoes=(ECHO, two)))
    assert [line.split(",")[1] for line in first if "TTM" in line] == ["01", "02"]  # the nearer first
    later = out.lines(_reading(2.5, echoes=(ECHO,)))
    lost = pynmea2.parse(next(line for line in later if ",L," in line))
    assert (lost.target_number, lost.distance, lost.status) == (1, None, "L")
    assert [line.split(",")[1] for line in later if "TLL" in line] == ["02"]
    assert not any(",L," in line for line in out.lines(_reading(5.0, echoes=(ECHO,))))
    back = out.lines(_reading(7.5, echoes=(ECHO, two)))
    assert {line.split(",")[1] for line in back} == {"01", "02"}
    # All withdrawn by a fault: lost, each once.
    assert sum(",L," in line for line in out.lines(_reading(10.0, echoes=()))) == 2
    assert out.lines(_reading(12.5, echoes=())) == []


def test_what_is_only_remembered_is_not_told_as_seen() -> None:
    out = SentenceOutput()
    out.lines(_reading())
    assert out.lines(_reading(2.5, echoes=(replace(ECHO, coasting=True),))) == []
    unsure = out.lines(_reading(5.0, echoes=(replace(ECHO, confidence=0.3),)))
    assert all(",Q," in line for line in unsure) and len(unsure) == 2


@pytest.mark.parametrize("kind", ["charted", "shore", "bridge", "clutter", "false"])
def test_what_is_no_target(kind: Any) -> None:
    assert SentenceOutput().lines(_reading(echoes=(replace(ECHO, kind=kind),))) == []


def test_more_targets_than_numbers() -> None:
    out = SentenceOutput()
    many = tuple(replace(ECHO, id=i, range_m=100.0 + i) for i in range(250))
    lines = out.lines(_reading(echoes=many))
    assert sorted(line.split(",")[1] for line in lines if "TTM" in line) == [f"{n:02d}" for n in range(1, 100)]
    for turn in range(1, 30):
        others = tuple(replace(ECHO, id=1000 * turn + i) for i in range(120))
        assert len(out._numbers) <= 99
        out.lines(_reading(2.5 * turn, echoes=others))


def test_alerts_go_on_and_off() -> None:
    out = SentenceOutput()
    fault = Fault("heading", "frozen", T0)
    (on,) = out.lines(_reading(echoes=(), faults=(fault,)))
    # Fields of go-nmea's ALR: time, number, condition A/V, acknowledged A/V, text.
    assert on.startswith("$RAALR,") and on.split("*")[0].split(",")[2:] == ["903", "A", "V", "heading frozen"]
    assert out.lines(_reading(2.5, echoes=(), faults=(fault,))) == []
    (off,) = out.lines(_reading(5.0, echoes=()))
    assert off.split(",")[3] == "V"
    long = "Fine on the starboard bow, 0.4 miles, a vessel, making 12 knots, comes within 100 yards in two minutes."
    call = Call("vessel 1017", "vessel", 4, long, ECHO.id)
    alarm = out.lines(_reading(7.5, calls=(call,)))[-1]
    assert alarm.split(",")[2:4] == ["101", "A"] and len(alarm) + 2 <= 82
    assert long.replace(",", "").startswith(alarm.split("*")[0].split(",")[5])
    assert not any("ALR" in line for line in out.lines(_reading(10.0)))
    assert any("ALR" in line and ",V,V," in line for line in out.lines(_reading(45.0)))


# --- deltas -----------------------------------------------------------------------------------------------------------

HIDDEN = {
    "type": "FeatureCollection",
    "features": [
        {
            "type": "Feature",
            "properties": {"by": "land"},
            "geometry": {"type": "Polygon", "coordinates": [[[-4.0, 50.0], [-4.0, 50.1], [-3.9, 50.0], [-4.0, 50.0]]]},
        }
    ],
}


def _values(deltas: list[Any], context: str) -> dict[str, Any]:
    return {v["path"]: v["value"] for d in deltas if d["context"] == context for u in d["updates"] for v in u["values"]}


def test_deltas_of_a_reading() -> None:
    out = DeltaOutput(uuid.UUID(int=7))
    fault = Fault("position", "stale", T0)
    call = Call("vessel 1017", "vessel", 4, "Turn now.", ECHO.id)
    deltas = out.deltas(_reading(hidden=HIDDEN, faults=(fault,), calls=(call,)))
    json.dumps(deltas, allow_nan=False)
    target = next(d["context"] for d in deltas if d["context"] != "vessels.self")
    assert str(target).startswith("vessels.urn:mrn:signalk:uuid:")
    told = _values(deltas, str(target))
    assert told["navigation.position"] == {"latitude": ECHO.lat, "longitude": ECHO.lon}
    assert told["navigation.speedOverGround"] == pytest.approx(12.5 * 1852 / 3600, abs=1e-3)
    assert told["navigation.courseOverGroundTrue"] == pytest.approx(math.radians(190.0), abs=1e-5)
    assert told["navigation.closestApproach"] == {"distance": 300.0, "timeTo": 240.0}
    own = _values(deltas, "vessels.self")
    # The specification's states and methods.
    assert own["notifications.moonless.call.vessel-1017"] == {
        "state": "emergency", "method": ["visual", "sound"], "message": "Turn now.",
    }  # fmt: skip
    assert own["notifications.moonless.fault.position"]["state"] == "alarm"
    (region,) = [v for p, v in own.items() if p.startswith("resources.regions.urn:mrn:signalk:uuid:")]
    assert region["feature"]["geometry"]["type"] == "MultiPolygon"
    assert region["feature"]["properties"] == {"by": "land"} and "not known to be empty" in region["description"]


def test_what_is_no_more_true_is_taken_back() -> None:
    out = DeltaOutput(uuid.UUID(int=7))
    first = out.deltas(_reading(hidden=HIDDEN, faults=(Fault("ais", "silent", T0),)))
    target = next(str(d["context"]) for d in first if d["context"] != "vessels.self")
    then = out.deltas(_reading(2.5, echoes=()))
    assert _values(then, target)["navigation.position"] is None
    own = _values(then, "vessels.self")
    assert own["notifications.moonless.fault.ais"]["state"] == "normal"
    assert [v for p, v in own.items() if p.startswith("resources.")] == [None]
    assert out.deltas(_reading(5.0, echoes=())) == []


def test_ais_vessels_are_not_told_again_and_do_not_come_back() -> None:
    named = replace(ECHO, ais=AisLabel(999_000_001, "X"))
    assert DeltaOutput(uuid.UUID(int=7)).deltas(_reading(echoes=(named,))) == []
    # What is sent to a server and comes back from it is nobody's AIS.
    decoder = InstrumentDecoder()
    for delta in DeltaOutput(uuid.UUID(int=7)).deltas(_reading()):
        assert not any(isinstance(e, AisSaid) for e in decoder.feed(json.dumps(delta).encode() + b"\n", T0))


# --- sending ----------------------------------------------------------------------------------------------------------


def test_datagrams_arrive_whole() -> None:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as taker:
        taker.bind(("127.0.0.1", 0))
        taker.settimeout(30.0)
        said: list[tuple[str, bool]] = []
        spec = parse_output(f"udp://127.0.0.1:{taker.getsockname()[1]}")
        sender = Sender("nmea", spec, lambda line, well: said.append((line, well)))
        sender.send(_reading())
        assert [line.split(b",")[0] for line in taker.recv(4096).splitlines()] == [b"$RATTM", b"$RATLL"]
        sender.close()
        deltas = Sender("signalk", spec, lambda line, well: said.append((line, well)))
        deltas.send(_reading())
        assert json.loads(taker.recv(4096))["updates"]
        deltas.close()
        assert said == []


def test_a_network_that_is_gone_is_said_once() -> None:
    said: list[tuple[str, bool]] = []
    sender = Sender(
        "nmea", parse_output("udp://no-such-host.invalid:4000"), lambda line, well: said.append((line, well))
    )
    for second in range(3):
        sender.send(_reading(second))
    assert len(said) == 1 and not said[0][1] and "\n" not in said[0][0]


@pytest.mark.parametrize("text", ["tcp://a:1", "out.nmea", "can:can0", "udp://a"])
def test_what_cannot_be_sent_to(text: str) -> None:
    with pytest.raises(InputError):
        named_outputs([text], [])


def test_lines_are_packed() -> None:
    lines = [b"x" * 300 + b"\n"] * 9 + [b"y" * 5000 + b"\n"]
    datagrams = packed(lines)
    assert b"".join(datagrams) == b"".join(lines) and [len(d) <= 1400 for d in datagrams[:-1]] == [True] * 3
