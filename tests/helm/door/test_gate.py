"""Connections without a word: a new screen still gets in, each has its time, and the log stays small.

The limits themselves are our own; what is held here is what they are for.
"""

from __future__ import annotations

import contextlib
import http.client
import io
import logging
import shutil
import socket
import ssl
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest
from helm_child import Child

from moonless.errors import InputError
from moonless.helm.door import gate as gates
from moonless.helm.door.gate import Gate
from moonless.helm.door.quiet_log import MOST_A_MINUTE, Quiet
from moonless.helm.door.tls import read_certificate


def get(child: Child, path: str = "/", trusted: ssl.SSLContext | None = None) -> int:
    if trusted is None:
        asked = http.client.HTTPConnection("127.0.0.1", child.port, timeout=60)
    else:
        asked = http.client.HTTPSConnection("127.0.0.1", child.port, timeout=60, context=trusted)
    asked.request("GET", path, headers={"Host": f"127.0.0.1:{child.port}"})
    status = asked.getresponse().status
    asked.close()
    return status


@pytest.fixture(scope="module")
def running(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Child]:
    made = Child(tmp_path_factory.mktemp("helm"))
    yield made
    made.kill()


@pytest.fixture(scope="module")
def certificate(tmp_path_factory: pytest.TempPathFactory) -> Path:
    if shutil.which("openssl") is None:
        pytest.skip("openssl, which makes the certificate, is not installed")
    folder = tmp_path_factory.mktemp("certificate")
    chain, key, both = folder / "chain.pem", folder / "key.pem", folder / "both.pem"
    names = "subjectAltName=IP:127.0.0.1"
    made = ["openssl", "req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256", "-nodes", "-days", "2"]
    subprocess.run(
        [*made, "-subj", "/CN=boat", "-addext", names, "-keyout", str(key), "-out", str(chain)],
        check=True, capture_output=True,
    )  # fmt: skip
    both.write_text(chain.read_text() + key.read_text())
    return both


def silent(port: int, count: int, first_bytes: bytes = b"") -> list[socket.socket]:
    made = []
    for _ in range(count):
        one = socket.create_connection(("127.0.0.1", port), timeout=60)
        if first_bytes:
            with contextlib.suppress(OSError):  # the gate may have ended it already
                one.sendall(first_bytes)
        made.append(one)
    return made


SILENCES = [b"", b"GET / HTTP/1.1\r\nHost: 127.0.0.1\r\nX-Slow: ", b"\x16\x03\x01 no HTTP"]


@pytest.mark.slow
@pytest.mark.parametrize("first_bytes", SILENCES)
def test_a_new_screen_gets_in_beside_hundreds_that_stand_silent(running: Child, first_bytes: bytes) -> None:
    standing = silent(running.port, 800, first_bytes)
    try:
        assert get(running) == 200
    finally:
        for one in standing:
            one.close()
    # asyncio tells of a process without free files with a traceback: it came to none.
    log = running.log.read_text()
    assert "out of system resource" not in log and len(log) < 4000


@pytest.mark.slow
def test_who_was_let_in_is_not_pushed_out_by_strangers(running: Child) -> None:
    screen = http.client.HTTPConnection("127.0.0.1", running.port, timeout=60)
    headers = {"Host": f"127.0.0.1:{running.port}"}
    screen.request("GET", "/", headers=headers)
    screen.getresponse().read()
    own = screen.sock
    standing = silent(running.port, 300)
    try:
        screen.request("GET", "/", headers=headers)
        assert screen.getresponse().status == 200 and screen.sock is own
    finally:
        for one in standing:
            one.close()
        screen.close()


@pytest.mark.slow
def test_so_it_is_with_a_certificate_where_no_handshake_is_ended(tmp_path: Path, certificate: Path) -> None:
    helm = Child(tmp_path, certificate=certificate)
    assert helm.address.startswith("https://")
    trusted = ssl.create_default_context(cafile=str(certificate))
    standing = silent(helm.port, 700)
    try:
        assert get(helm, trusted=trusted) == 200
    finally:
        for one in standing:
            one.close()
        helm.kill()
    assert len(helm.log.read_text()) < 4000


def test_a_certificate_that_cannot_be_used_is_one_line(tmp_path: Path, certificate: Path) -> None:
    chain, other = certificate.with_name("chain.pem"), tmp_path / "other.pem"
    make = ["openssl", "ecparam", "-genkey", "-name", "prime256v1", "-noout", "-out", str(other)]
    subprocess.run(make, check=True, capture_output=True)
    locked = tmp_path / "locked.pem"
    lock = ["openssl", "ec", "-in", str(other), "-aes256", "-passout", "pass:made", "-out", str(locked)]
    subprocess.run(lock, check=True, capture_output=True)
    for key, says in ((other, "key values mismatch"), (locked, "has a password"), (None, "cannot be used")):
        with pytest.raises(InputError, match=says):
            read_certificate(chain, key)
    assert read_certificate(chain, certificate.with_name("key.pem")).minimum_version >= ssl.TLSVersion.TLSv1_2


class Ends:
    """Stands in for a socket: remembers that it was ended."""

    def __init__(self) -> None:
        self.ended = False

    def fileno(self) -> int:
        return 7

    def shutdown(self, _: int) -> None:
        self.ended = True


def test_a_stranger_has_its_time_and_a_screen_has_all_of_it(monkeypatch: pytest.MonkeyPatch) -> None:
    now = [0.0]
    monkeypatch.setattr(gates, "steady_s", lambda: now[0])
    gate, stranger, screen = Gate(), Ends(), Ends()
    gate.taken(("192.0.2.7", 1), stranger)
    gate.taken(("192.0.2.7", 2), screen)
    gate.let_in(("192.0.2.7", 2))
    now[0] = gates.STRANGER_S - 0.1
    gate.end_overdue()
    assert not stranger.ended
    now[0] = gates.STRANGER_S + 0.1
    gate.end_overdue()
    assert stranger.ended and not screen.ended


def test_one_address_cannot_push_out_another() -> None:
    gate, other = Gate(), Ends()
    gate.taken(("192.0.2.8", 1), other)
    many = [Ends() for _ in range(1000)]
    for port, one in enumerate(many):
        gate.taken(("192.0.2.7", port), one)
    assert not other.ended and [one.ended for one in many[-gates.MOST_OF_ADDRESS :]] == [False] * gates.MOST_OF_ADDRESS


@pytest.mark.parametrize("is_heard", [True, False])
def test_a_screen_that_stands_is_not_pushed_out_by_pages_of_its_own_computer(
    monkeypatch: pytest.MonkeyPatch, is_heard: bool
) -> None:
    """Eighty feeds opened in a third of a second ended the skipper's own screen: it was the oldest."""
    now = [100.0]
    monkeypatch.setattr(gates, "steady_s", lambda: now[0])
    gate, screen, page = Gate(), Ends(), Ends()

    def comes_in(port: int, end: Ends, *, is_feed: bool = True) -> None:
        now[0] += 0.004
        gate.taken(("127.0.0.1", port), end)
        gate.let_in(("127.0.0.1", port), is_feed=is_feed)

    comes_in(1, screen)
    if is_heard:
        gate.heard(("127.0.0.1", 1))
    comes_in(2, page, is_feed=False)
    many = [Ends() for _ in range(300)]
    for port, one in enumerate(many, 3):
        comes_in(port, one)
    # What is no feed goes first; a new screen gets in.
    assert not screen.ended and page.ended and not many[-1].ended
    assert gate.counts == (0, gates.MOST_LET_IN_OF_ADDRESS)
    # Were all others heard since, the one that has been silent for longest would go.
    for port in range(3, 303):
        now[0] += 1.0
        gate.heard(("127.0.0.1", port))
    comes_in(999, Ends())
    assert screen.ended and not many[-1].ended


def test_the_addresses_of_one_ipv6_network_count_as_one() -> None:
    # RFC 4291, 2.5.1: the last 64 bits are the interface's own, which a device may choose (RFC 8981); both from memory.
    gate, other = Gate(), Ends()
    gate.taken(("2001:db8:0:2::1", 1), other)
    for i in range(1000):
        gate.taken((f"2001:db8:0:1::{i:x}", i), Ends())
    strangers, _ = gate.counts
    assert not other.ended and strangers == gates.MOST_OF_ADDRESS + 1


def quiet_logger(now: list[float]) -> tuple[logging.Logger, io.StringIO]:
    out = io.StringIO()
    handler = logging.StreamHandler(out)
    handler.addFilter(Quiet(lambda: now[0]))
    logger = logging.Logger("made")
    logger.addHandler(handler)
    return logger, out


@pytest.mark.slow
def test_a_log_of_a_hundred_thousand_same_lines_stays_small() -> None:
    now = [0.0]
    logger, out = quiet_logger(now)
    for i in range(100_000):
        try:
            raise OSError(24, "Too many open files")
        except OSError:
            logger.exception("no more of %d", i)
    assert len(out.getvalue()) < 4000 and out.getvalue().count("Traceback") == 1
    logger.warning("something else")
    assert "something else" in out.getvalue()


def test_what_was_held_back_is_counted() -> None:
    now = [0.0]
    logger, out = quiet_logger(now)
    for i in range(100):
        now[0] = 0.0 if i < 99 else 61.0
        logger.warning("line %d", i)
    assert out.getvalue().splitlines()[-1] == f"line 99 (and {99 - MOST_A_MINUTE} more like it before)"


def test_kinds_of_lines_are_bounded() -> None:
    logger, _ = quiet_logger([0.0])
    quiet = logger.handlers[0].filters[0]
    for i in range(5000):
        logger.warning("%s" % f"kind {i}")  # noqa: UP031
    assert len(quiet._kinds) <= 200
