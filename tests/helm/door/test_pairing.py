"""Screens of other machines: paired once, kept over a restart, let go; those that only look change nothing."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

import numpy as np
import pytest
from helm_made import MadeSource
from test_guard import ask

from moonless.errors import InputError
from moonless.helm.door.pages import pair_address, spaced
from moonless.helm.door.pairing import INVITED_S, MOST_SCREENS, Pairings, Screen, Tries, clean_name
from moonless.helm.door.qr import in_terminal
from moonless.helm.hub import Hub
from moonless.helm.setup.service import SetupService
from moonless.helm.setup.settings import HelmSettings
from moonless.helm.web.app import make_app
from moonless.units import NS_PER_S

# RFC 5737: addresses for documentation.
TABLET, HELM = "192.0.2.7", "192.0.2.1:8440"
T0 = 1_930_000_000 * NS_PER_S


class Clock:
    def __init__(self) -> None:
        self.now = T0

    def now_ns(self) -> int:
        return self.now


@pytest.fixture
def static(tmp_path: Path) -> Path:
    folder = tmp_path / "static"
    folder.mkdir()
    (folder / "index.html").write_text("<html></html>")
    (folder / "offline.js").write_text("//")
    return folder


@pytest.fixture
def file(tmp_path: Path) -> Path:
    return tmp_path / "data" / "screens.json"


def from_tablet(app: Any, path: str, method: str = "GET", form: dict[str, str] | None = None, **more: str) -> Any:
    headers = {"host": HELM} | ({} if method == "GET" else {"origin": f"http://{HELM}"}) | more
    return ask(app, path, client=TABLET, method=method, body=urlencode(form or {}).encode(), **headers)


def accepted(pairings: Pairings, given: str, name: str = "tablet") -> tuple[Screen, str]:
    found = pairings.accept(given, name)
    assert found is not None
    return found


def paired(pairings: Pairings, role: Any = "act", name: str = "tablet") -> str:
    return accepted(pairings, pairings.invite(role).code, name)[1]


# ---- what is kept ---------------------------------------------------------------------------------------------------


def test_a_code_or_its_secret_pairs_one_screen_once(file: Path) -> None:
    pairings = Pairings(file, Clock())
    for bring in ("code", "secret"):
        invitation = pairings.invite("act")
        given = getattr(invitation, bring)
        assert pairings.accept("00000000" if given != "00000000" else "11111111", "x") is None
        screen, cookie = accepted(pairings, f" {spaced(given)} " if bring == "code" else given)
        assert pairings.screen_of(cookie) == screen and screen.role == "act"
        assert pairings.accept(given, "another") is None
    assert len(pairings.screens) == 2


def test_nothing_in_the_file_lets_anybody_in_and_it_is_for_its_owner_alone(file: Path) -> None:
    pairings = Pairings(file, Clock())
    cookie = paired(pairings)
    invitation = pairings.invite("act")
    text = file.read_text()
    assert cookie.partition(".")[2] not in text
    assert invitation.code not in text and invitation.secret not in text
    assert file.stat().st_mode & 0o777 == 0o600
    # Hashes taken from the file are no keys.
    kept = json.loads(text)
    for stolen in (kept["screens"][0]["key_hash"], kept["invitation"]["secret_hash"], kept["invitation"]["code_hash"]):
        assert pairings.screen_of(f"{kept['screens'][0]['id']}.{stolen}") is None
        assert pairings.accept(stolen, "x") is None


def test_after_a_restart_a_paired_screen_is_accepted(file: Path) -> None:
    cookie = paired(Pairings(file))
    assert Pairings(file).screen_of(cookie) is not None


def test_an_invitation_ends(file: Path) -> None:
    clock = Clock()
    pairings = Pairings(file, clock)
    first = pairings.invite("act")
    second = pairings.invite("look")
    assert pairings.accept(first.code, "x") is None, "the one before ends with the next"
    clock.now = T0 + INVITED_S * NS_PER_S
    assert pairings.accept(second.code, "x") is None
    third = pairings.invite("look")
    clock.now -= 1
    assert pairings.accept(third.code, "x") is None, "a clock set back does not keep it open"


def test_what_another_program_lets_go_of_is_refused_at_once(file: Path) -> None:
    helm, command = Pairings(file), Pairings(file)
    cookie, other = paired(helm), paired(helm)
    screen = helm.screen_of(cookie)
    assert screen is not None
    command.let_go(screen.id)
    assert helm.screen_of(cookie) is None and not helm.is_paired(screen)
    assert helm.screen_of(other) is not None
    with pytest.raises(InputError, match="no screen 'zzzz' is paired"):
        command.let_go("zzzz")


@pytest.mark.parametrize(
    "damage",
    [
        "", "{", "[]", "null", '{"format": 2}', "[" * 100_000, "\udcff",
        '{"format": 1, "screens": [{}], "invitation": null}',
    ],
)  # fmt: skip
def test_a_damaged_file_lets_nobody_in_and_is_told_in_one_line(file: Path, damage: str) -> None:
    pairings = Pairings(file)
    cookie = paired(pairings)
    file.write_bytes(damage.encode("utf-8", "surrogateescape"))
    assert pairings.screen_of(cookie) is None and Pairings(file).screens == ()
    before = file.read_bytes()
    with pytest.raises(InputError, match=r"cannot be used.*pair the screens again"):
        pairings.invite("act")
    assert file.read_bytes() == before


@pytest.mark.parametrize("cookie", ["", ".", "x", "....", "\udcff.\udcff", "\ud800.\ud800", "é.é", "a." + "b" * 10_000])
def test_no_other_cookie_is_a_key(file: Path, cookie: str) -> None:
    pairings = Pairings(file)
    paired(pairings)
    assert pairings.screen_of(cookie) is None
    assert pairings.screen_of(pairings.screens[0].id + "." + cookie) is None


def test_screens_are_bounded(file: Path) -> None:
    pairings = Pairings(file)
    paired(pairings)
    body = json.loads(file.read_text())
    body["screens"] = [body["screens"][0] | {"id": f"{i:04x}"} for i in range(MOST_SCREENS)]
    file.write_text(json.dumps(body))
    with pytest.raises(InputError, match="let one go first"):
        paired(pairings)


def test_tries_are_bounded() -> None:
    now = [0.0]
    tries = Tries(lambda: now[0])
    assert [tries.may("a") for _ in range(7)] == [True] * 5 + [False] * 2
    assert sum(tries.may(f"b{i}") for i in range(1000)) == Tries.OF_ALL - Tries.OF_ADDRESS
    now[0] = 61.0
    assert tries.may("a")


def test_a_name_is_one_line_that_can_be_printed() -> None:
    assert clean_name("  a\x1b[2J\nb\u202e  c ") == "a [2J b c"
    assert clean_name("\ud800") != "" and clean_name(" ") == "a screen"
    assert len(clean_name("x" * 1000)) == 40


# ---- the pages ------------------------------------------------------------------------------------------------------


def test_a_new_screen_is_led_to_the_code_and_gets_in(static: Path, file: Path) -> None:
    pairings = Pairings(file)
    app = make_app(Hub(MadeSource()), static=static, pairings=pairings)
    status, head, _ = from_tablet(app, "/")
    assert status == 303 and head["location"] == "/pair"
    status, head, body = from_tablet(app, "/pair")
    assert status == 200 and b'name="code"' in body and b"<script" not in body
    # Fetch, "append a request Origin header": under no-referrer a form's Origin would be null. From memory.
    assert head["referrer-policy"] == "same-origin" and "default-src 'none'" in head["content-security-policy"]
    code = pairings.invite("act").code
    status, head, _ = from_tablet(app, "/pair", "POST", {"code": spaced(code), "name": "chart table"})
    cookie = head["set-cookie"]
    assert status == 303 and "HttpOnly" in cookie and "samesite=strict" in cookie.lower()
    assert "secure" not in cookie.lower()
    assert from_tablet(app, "/", cookie=cookie.split(";")[0])[0] == 200
    assert pairings.screens[0].name == "chart table"
    # And after the helm has been started anew.
    again = make_app(Hub(MadeSource()), static=static, pairings=Pairings(file))
    assert from_tablet(again, "/", cookie=cookie.split(";")[0])[0] == 200


def test_over_tls_the_key_never_goes_in_the_clear(static: Path, file: Path) -> None:
    pairings = Pairings(file)
    app = make_app(Hub(MadeSource()), static=static, pairings=pairings, is_secure=True)
    _, head, _ = from_tablet(app, "/pair", "POST", {"code": pairings.invite("act").code})
    assert "secure" in head["set-cookie"].lower()


@pytest.mark.parametrize("path", ["/index.html", "/offline.js", "/screens", "/setup/ask", "/chart/x.json", "/pair/x"])
def test_what_is_not_paired_gets_nothing_else(static: Path, file: Path, path: str) -> None:
    app = make_app(Hub(MadeSource()), static=static, pairings=Pairings(file))
    assert from_tablet(app, path)[0] == 403
    assert from_tablet(app, path, "POST")[0] == 403
    assert ask(app, "/live", client=TABLET, kind="websocket", host=HELM, origin=f"http://{HELM}")[0] == 403


def test_a_strangers_page_cannot_pair_or_let_go(static: Path, file: Path) -> None:
    pairings = Pairings(file)
    app = make_app(Hub(MadeSource()), static=static, pairings=pairings)
    cookie = "moonless_screen=" + paired(pairings)
    code = pairings.invite("act").code
    for origin in ("http://evil.example", "null"):
        assert from_tablet(app, "/pair", "POST", {"code": code}, origin=origin)[0] == 403
        form = {"let_go": pairings.screens[0].id}
        assert from_tablet(app, "/screens", "POST", form, origin=origin, cookie=cookie)[0] == 403
    assert len(pairings.screens) == 1


def test_guessing_is_stopped(static: Path, file: Path) -> None:
    pairings = Pairings(file)
    app = make_app(Hub(MadeSource()), static=static, pairings=pairings)
    code = pairings.invite("act").code
    got = [from_tablet(app, "/pair", "POST", {"code": f"{(int(code) + 1 + i) % 10**8:08d}"})[0] for i in range(8)]
    assert got == [403] * 5 + [429] * 3
    assert from_tablet(app, "/pair", "POST", {"code": code})[0] == 429


def test_what_comes_from_outside_is_shown_as_text(static: Path, file: Path) -> None:
    pairings = Pairings(file)
    app = make_app(Hub(MadeSource()), static=static, pairings=pairings)
    paired(pairings, name="<script>alert(1)</script>")
    _, _, body = ask(app, "/screens", host="127.0.0.1:8440")
    assert b"<script" not in body and b"&lt;script" in body
    _, _, body = ask(app, "/pair", client=TABLET, host=HELM, query='with="><script>x')
    assert b"<script" not in body


def test_the_skipper_invites_and_lets_go_on_the_page(static: Path, file: Path) -> None:
    pairings = Pairings(file)
    pairings.keep_address("http://192.0.2.1:8440/")
    app = make_app(Hub(MadeSource()), static=static, pairings=pairings)
    own = {"host": "127.0.0.1:8440", "origin": "http://127.0.0.1:8440"}
    _, _, body = ask(app, "/screens", method="POST", body=b"invite=look", **own)
    code = re.search(r'class="code">(\d{4} \d{4})<', body.decode())
    assert code is not None and b"http://192.0.2.1:8440/pair" in body and b"<svg" in body
    screen, cookie = accepted(pairings, code[1], "phone")
    assert screen.role == "look"
    assert from_tablet(app, "/screens", cookie=f"moonless_screen={cookie}")[0] == 403
    _, _, body = ask(app, "/screens", method="POST", body=f"let_go={screen.id}".encode(), **own)
    assert b"phone is refused from now on" in body and pairings.screens == ()


def test_a_screen_that_only_looks_changes_nothing(static: Path, file: Path, tmp_path: Path) -> None:
    pairings = Pairings(file)
    source = MadeSource()
    hub = Hub(source, setup=SetupService(tmp_path / "helm.toml", HelmSettings()))
    app = make_app(hub, static=static, pairings=pairings)
    looks = "moonless_screen=" + paired(pairings, "look")
    acts = "moonless_screen=" + paired(pairings, "act")
    assert from_tablet(app, "/", cookie=looks)[0] == 200
    own = {"host": HELM, "origin": f"http://{HELM}"}
    assert ask(app, "/live", client=TABLET, kind="websocket", cookie=looks, **own)[0] == 101
    status, _, body = from_tablet(app, "/setup/ask", "POST", cookie=looks)
    assert status == 403 and b"only looks" in body
    assert from_tablet(app, "/setup/ask", "POST", cookie=acts)[0] == 400  # let in; the question itself is empty


# ---- the QR code ----------------------------------------------------------------------------------------------------


def test_the_qr_code_on_the_terminal_is_read_by_another_library(file: Path) -> None:
    cv2 = pytest.importorskip("cv2", reason="read back by OpenCV's own reader")
    # One secret: the other library's reader fails on some pictures whatever draws them.
    invitation = replace(Pairings(file).invite("act"), secret="Vn3oWq0c5tRk8mZy1uHsBd7eLx2aGj4p")
    address = pair_address("http://192.0.2.1:8440/", invitation)
    rows: list[list[int]] = []
    for line in in_terminal(address).splitlines():
        if line.strip("\n"):
            rows.append([255 if block in "█▀" else 0 for block in line])
            rows.append([255 if block in "█▄" else 0 for block in line])
    width = max(map(len, rows))
    picture = np.array([row + [255] * (width - len(row)) for row in rows], dtype=np.uint8)
    picture = np.kron(picture, np.ones((8, 8), dtype=np.uint8))
    picture = cv2.copyMakeBorder(picture, 40, 40, 40, 40, cv2.BORDER_CONSTANT, value=255)
    assert cv2.QRCodeDetector().detectAndDecode(picture)[0] == address
