"""A tablet on the boat's network, from its code to a crash of the helm and after it, over real sockets."""

from __future__ import annotations

import http.client
from pathlib import Path
from urllib.parse import urlencode

import pytest
from helm_child import Child
from websockets.exceptions import ConnectionClosed, InvalidStatus
from websockets.sync.client import connect

from moonless.helm.door.address import own_addresses
from moonless.helm.door.pairing import Pairings
from moonless.helm.web.protocol import CONTROL, HELLO, STATUS, decode_head, decode_json, encode_json

pytestmark = pytest.mark.slow  # a helm in a process of its own


@pytest.fixture
def network() -> str:
    addresses = own_addresses()
    if not addresses:
        pytest.skip("this computer is on no network")
    return addresses[0]


class Tablet:
    """What a browser does, at an address that is not this computer's loopback."""

    def __init__(self, host: str, port: int) -> None:
        self.place = f"{host}:{port}"
        self.cookie = ""

    def ask(self, method: str, path: str, form: dict[str, str] | None = None) -> http.client.HTTPResponse:
        asked = http.client.HTTPConnection(self.place, timeout=60)
        headers = {"Cookie": self.cookie, "Origin": f"http://{self.place}"}
        asked.request(method, path, body=urlencode(form or {}), headers=headers)
        answer = asked.getresponse()
        answer.read()
        asked.close()
        return answer

    def pair(self, code: str) -> int:
        answer = self.ask("POST", "/pair", {"code": code, "name": "tablet"})
        self.cookie = (answer.getheader("Set-Cookie") or "").split(";")[0]
        return answer.status

    def live(self):
        bring = {"Cookie": self.cookie}
        return connect(f"ws://{self.place}/live", origin=f"http://{self.place}", additional_headers=bring)


def test_paired_once_killed_and_still_let_in(tmp_path: Path, network: str) -> None:
    helm = Child(tmp_path, host="0.0.0.0")
    tablet = Tablet(network, helm.port)
    # What is printed is what a tablet can open: figures, not this computer's name.
    assert helm.address == f"http://{network}:{helm.port}/"
    assert tablet.ask("GET", "/").getheader("Location") == "/pair"
    with pytest.raises(InvalidStatus):
        tablet.live()
    assert tablet.pair(Pairings(helm.screens).invite("act").code) == 303
    assert tablet.ask("GET", "/").status == 200
    helm.kill()
    again = Child(tmp_path, host="0.0.0.0", port=helm.port)
    try:
        assert tablet.ask("GET", "/").status == 200
        with tablet.live() as socket:
            assert decode_head(socket.recv(timeout=60))[0] == HELLO
    finally:
        again.kill()


def test_let_go_while_it_is_connected(tmp_path: Path, network: str) -> None:
    helm = Child(tmp_path, host="0.0.0.0")
    tablet, pairings = Tablet(network, helm.port), Pairings(helm.screens)
    try:
        tablet.pair(pairings.invite("act").code)
        with tablet.live() as socket:
            socket.recv(timeout=60)
            pairings.let_go(pairings.screens[0].id)
            with pytest.raises(ConnectionClosed):
                for _ in range(1000):
                    socket.recv(timeout=60)
        assert tablet.ask("GET", "/index.html").status == 403
    finally:
        helm.kill()


def test_one_that_only_looks_is_told_so_and_sees(tmp_path: Path, network: str) -> None:
    helm = Child(tmp_path, host="0.0.0.0")
    tablet = Tablet(network, helm.port)
    try:
        tablet.pair(Pairings(helm.screens).invite("look").code)
        with tablet.live() as socket:
            socket.send(encode_json(CONTROL, 1, {"do": "silence", "value": 5.0}))
            said, beats = "", []
            while not (said and len(beats) > 2):
                frame = socket.recv(timeout=60)
                if decode_head(frame)[0] == STATUS:
                    body = decode_json(frame)
                    said = body.get("answer", said)
                    beats += [body] if "screens" in body else []
            assert "only looks" in said and beats[-1]["screens"] == 1
            assert not any("silent_s" in beat and beat["silent_s"] for beat in beats)
    finally:
        helm.kill()


def test_a_damaged_file_of_screens_costs_no_watch(tmp_path: Path, network: str) -> None:
    (tmp_path / "data").mkdir()
    (tmp_path / "data" / "screens.json").write_text("{")
    helm = Child(tmp_path, host="0.0.0.0")
    try:
        own = Tablet("127.0.0.1", helm.port)
        with own.live() as socket:
            said: list[str] = []
            while not said:
                frame = socket.recv(timeout=60)
                if decode_head(frame)[0] == STATUS:
                    said = [str(one) for one in decode_json(frame).get("without", ())]
        assert any("no other screen is let in" in line and "screens.json" in line for line in said)
        assert Tablet(network, helm.port).ask("GET", "/index.html").status == 403
    finally:
        helm.kill()
