"""The whole set-up in a real browser, made radar and instruments over UDP: from nothing to a live picture."""

from __future__ import annotations

import json
import os
import re
import shutil
import socket
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import pytest
from helm_page import HAS_PICTURE, Page, assert_night
from helm_server import HERE, Server

from moonless.boat.file import read_boat
from moonless.helm.setup.settings import read_settings
from moonless.scene.file import demo_folder

pytestmark = pytest.mark.browser

AXE = HERE.parents[1] / "web" / "node_modules" / "axe-core" / "axe.min.js"
# In the middle of the invented waters.
AT = "-12.40,-118.30"
SIZES = [(1440, 900), (1024, 700), (800, 1280), (390, 844)]


# The screen's clock in its own zone; the real time of day must decide no test.
CLOCK_AT = (
    "{{ const t = new Date(); const behind = t.getUTCHours() * 60 + t.getUTCMinutes() - {hour} * 60;"
    " Date.prototype.getTimezoneOffset = () => behind; }}"
)


class Fitting(NamedTuple):
    """A helm that nothing is connected to, what is sent beside it, and one page of it."""

    page: Page
    home: Path
    ports: tuple[int, int, int]
    server: Server

    @property
    def config(self) -> Path:
        return self.home / ".config" / "moonless"


def free_ports(count: int) -> list[int]:
    socks = [socket.socket(socket.AF_INET, socket.SOCK_DGRAM) for _ in range(count)]
    for sock in socks:
        sock.bind(("127.0.0.1", 0))
    ports = [sock.getsockname()[1] for sock in socks]
    for sock in socks:
        sock.close()
    return ports


def helm_at(home: Path) -> Server:
    """Start ``moonless helm`` without any argument but a free port, for a person with this home."""
    setting = {
        "HOME": str(home), "XDG_CONFIG_HOME": str(home / ".config"), "XDG_DATA_HOME": str(home / ".local"),
        "XDG_CACHE_HOME": str(home / ".cache"),
    }  # fmt: skip
    words = "import os, sys; os.environ.update({}); from moonless.cli import main; main(['helm', '--port', '0'])"
    return Server("-c", words.format(json.dumps(setting)))


@pytest.fixture(scope="module")
def fitting(browser: Any, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Fitting]:
    home = tmp_path_factory.mktemp("home")
    (home / "charts").mkdir()
    shutil.copy(demo_folder() / "waters.gpkg", home / "charts" / "waters.gpkg")
    radar, nmea, second = free_ports(3)
    sender = subprocess.Popen(
        [sys.executable, str(HERE / "helm_senders.py"), str(radar), str(nmea), str(second), f"--at={AT}"],
        env=dict(os.environ),
    )
    server = helm_at(home)
    page = Page(browser, server.address)
    page.context.add_init_script(CLOCK_AT.format(hour=0))
    page.page.goto(server.address, wait_until="commit")
    # Looked at while it loads: night from the first paint.
    for _ in range(4):
        assert_night(page.picture())
        page.page.wait_for_timeout(120)
    page.page.wait_for_selector("#setup:not([hidden]) .route")
    yield Fitting(page, home, (radar, nmea, second), server)
    page.context.close()
    server.stop()
    sender.kill()
    sender.wait()


def text(page: Page) -> str:
    return str(page.page.inner_text("#setup .page"))


def reach(page: Page, words: str) -> None:
    """Go to a control by the keyboard alone, as a person does: Tab until it has the focus."""
    for _ in range(120):
        now = page.page.evaluate("document.activeElement?.innerText ?? ''")
        if words in now.replace("\n", " ") and page.page.evaluate(
            "document.activeElement instanceof HTMLButtonElement"
        ):
            return
        page.press("Tab")
    raise AssertionError(f"Tab never came to {words!r}")


def go_to(page: Page, leg: str) -> None:
    page.page.click(f"#setup .route [data-leg={leg}]")
    page.page.wait_for_timeout(250)


def hear(fitting: Fitting) -> None:
    """Have the made senders' ports listened to."""
    page = fitting.page
    page.page.wait_for_timeout(1200)  # what is shown is what is heard now
    for port in fitting.ports:
        if f"udp://0.0.0.0:{port}" in text(page):
            continue
        reach(page, "name a port")
        page.press("Enter")
        page.page.keyboard.type(str(port))
        reach(page, "listen there")
        page.press("Enter")
        page.until(f"document.getElementById('setup').innerText.includes('udp://0.0.0.0:{port}')")
    page.page.wait_for_selector("#setup .place canvas")
    page.until("document.querySelector('#setup .ticker code') !== null")


def test_what_is_heard_is_shown_as_it_comes(fitting: Fitting) -> None:
    page = fitting.page
    hear(fitting)
    page.until("document.getElementById('setup').innerText.includes('384 cells')")
    page.until("document.getElementById('setup').innerText.includes('NMEA 0183 and AIS')")
    # What is sent: 24 turns, one RMC a second, five HDT a second.  A busy computer sends and takes unevenly, and a
    # source that was held up is for a while none: until a while of it was even enough.
    rates = ((r"([\d.]+) turns a minute", 24.0), (r"GPRMC ([\d.]+)/s", 1.0), (r"HEHDT ([\d.]+)/s", 5.0))
    # Two receivers and two headings: which is taken, and why.
    why = ("RMC goes before GGA", "a true heading goes before a compass")
    for _ in range(600):
        shown = text(page)
        found = [re.search(what, shown) for what, _ in rates]
        pairs = zip(found, rates, strict=True)
        is_even = all(f and float(f[1]) == pytest.approx(sent, rel=0.2) for f, (_, sent) in pairs)
        if is_even and all(words in shown for words in why):
            break
        page.page.wait_for_timeout(100)
    else:
        raise AssertionError(shown)
    assert "360 a turn" in shown and "NMEA 0183 and AIS" in shown, shown
    assert "$HEHDT," in shown, "each sentence is shown as it came"
    before = page.page.evaluate("[...document.querySelectorAll('#setup .ticker code')].map(c => c.textContent).join()")
    page.until(f"[...document.querySelectorAll('#setup .ticker code')].map(c => c.textContent).join() !== {before!r}")
    drawn = "document.querySelector('#setup .spokes').toDataURL()"
    page.until(f"{drawn} !== {page.page.evaluate(drawn)!r}")  # the fan does not stand still


@pytest.mark.parametrize("leg", ["hear", "charts", "boat", "start"])
def test_night_stays_night_and_targets_are_for_a_thumb(fitting: Fitting, leg: str) -> None:
    page = fitting.page
    go_to(page, leg)
    for width, height in SIZES:
        page.page.set_viewport_size({"width": width, "height": height})
        page.page.wait_for_timeout(250)
        assert_night(page.picture())
        small = page.page.evaluate(
            """[...document.querySelectorAll('#setup button:not([disabled])')].filter(b => b.offsetParent !== null)
              .map(b => [b.innerText, b.getBoundingClientRect()])
              .filter(([, r]) => r.width < 76 || r.height < 76).map(([t, r]) => `${t}: ${r.width} x ${r.height}`)"""
        )
        # 12 mm on a tablet of 160 page pixels an inch (common practice, no source) is 75.6.
        assert small == [], f"at {width} x {height}"
        wide = page.page.evaluate("document.querySelector('#setup .page').scrollWidth")
        assert wide <= width, f"{leg} is wider than {width}"
    page.page.set_viewport_size({"width": 1024, "height": 700})


def test_it_opens_light_at_noon(fitting: Fitting, browser: Any) -> None:
    page = Page(browser, fitting.server.address)
    page.context.add_init_script(CLOCK_AT.format(hour=12))
    page.page.goto(fitting.server.address, wait_until="commit")
    page.until("document.documentElement.dataset.look === 'day'")
    page.context.close()


@pytest.mark.parametrize("leg", ["hear", "charts", "boat", "start"])
def test_axe_finds_nothing_serious_in_the_set_up(fitting: Fitting, leg: str) -> None:
    if not AXE.exists():
        pytest.skip("web/node_modules has no axe-core (npm ci)")
    page = fitting.page
    page.page.evaluate("moonless.store.send({ type: 'set', change: { look: 'day' } })")
    go_to(page, leg)
    page.page.evaluate(AXE.read_text(encoding="utf-8"))
    found = page.page.evaluate("axe.run(document.getElementById('setup'), { resultTypes: ['violations'] })")
    page.page.evaluate("moonless.store.send({ type: 'set', change: { look: null } })")
    serious = [
        (v["id"], [n["html"][:120] for n in v["nodes"]])
        for v in found["violations"]
        if v["impact"] in ("serious", "critical")
    ]
    assert serious == []


def test_a_radar_by_its_screen_is_looked_at_asked_about_and_offered(fitting: Fitting) -> None:
    cv2, av = pytest.importorskip("cv2"), pytest.importorskip("av")
    page = fitting.page
    # A camera that was not there: two seconds of an invented scope, four rings and a heading line, no figure.
    scope = np.zeros((480, 640, 3), np.uint8)
    for ring in range(1, 5):
        cv2.circle(scope, (320, 240), 55 * ring, (90, 110, 60), 1, cv2.LINE_AA)
    cv2.line(scope, (320, 240), (320, 20), (90, 110, 60), 1, cv2.LINE_AA)
    with av.open(str(fitting.home / "camera.mp4"), "w") as video:
        stream = video.add_stream("mpeg4", rate=5, width=640, height=480, pix_fmt="yuv420p", bit_rate=8_000_000)
        for _ in range(10):
            video.mux(stream.encode(av.VideoFrame.from_ndarray(scope, format="bgr24")))
        video.mux(stream.encode())
    go_to(page, "hear")
    page.page.get_by_role("button", name="radar by its screen").click()
    page.page.get_by_role("button", name="another, by its name").click()
    page.page.keyboard.type(str(fitting.home / "camera.mp4"))
    page.page.get_by_role("button", name="look", exact=True).click()
    said = "document.getElementById('setup').innerText"
    page.until(f"{said}.includes('How far is the outermost ring?')", 60.0)
    assert "take it" not in text(page)
    page.page.get_by_role("radio", name="1.5 NM").click()
    page.until(f"{said}.includes('This was found. Is it so?')", 60.0)
    page.until("document.querySelector('#setup .shown img').naturalWidth > 0")
    page.page.get_by_role("button", name="take it").wait_for()
    go_to(page, "hear")


def test_the_controls_come_to_the_free_hand(fitting: Fitting) -> None:
    page = fitting.page
    go_to(page, "boat")
    for hand, is_right in (("left", False), ("right", True)):
        page.page.evaluate(f"moonless.store.send({{ type: 'set', change: {{ hand: '{hand}' }} }})")
        boxes = (
            "[...document.querySelectorAll('#setup .hand button:not([hidden])')].map(b => b.getBoundingClientRect().x)"
        )
        page.until(f"{boxes}.every(x => (x > 512) === {str(is_right).lower()})")
    page.page.evaluate("moonless.store.send({ type: 'set', change: { hand: null } })")


def test_from_nothing_to_a_live_picture_by_keyboard_alone(fitting: Fitting) -> None:
    page = fitting.page
    radar, nmea, _ = fitting.ports
    go_to(page, "hear")
    hear(fitting)
    for port in (radar, nmea):
        reach(page, f"udp://0.0.0.0:{port}")
        page.press("Enter")
        taken = "[...document.querySelectorAll('#setup .pick[aria-checked=true]')]"
        page.until(f"{taken}.some(pick => pick.innerText.includes('{port}'))")
    reach(page, "follow HC HDG")
    page.press("Enter")
    page.until("document.getElementById('setup').innerText.includes('because you chose it')")
    # On to the charts.
    page.press("PageDown")
    page.until("document.querySelector('#setup .folders .folder') !== null")
    reach(page, "charts")
    while "1 chart" not in page.page.evaluate("document.activeElement.innerText"):
        page.press("Tab")
    page.press("Enter")
    page.until("document.querySelector('#setup .where').innerText.endsWith('charts')")
    reach(page, "take this folder")
    page.press("Enter")
    page.until("document.querySelector('#setup .cells li') !== null", 60.0)
    shown = text(page)
    assert "waters 1:12 000" in shown and "Not for navigation" in shown and "miles" in shown
    # The questions: a few answered, one refused, the rest skipped or left at their defaults.
    page.press("PageDown")
    page.until("document.querySelector('#setup .questions h2') !== null")
    seen: list[str] = []
    for _ in range(60):
        if page.page.evaluate("document.querySelector('#setup .start') !== null"):
            break
        ask = page.page.inner_text("#setup .questions h2")
        if ask in seen:
            raise AssertionError(f"stuck at {ask!r}: {page.page.inner_text('#setup .say')}")
        seen.append(ask)
        if ask == "What is she called?":
            page.page.keyboard.type("Plover 2")
        elif ask == "How long is she over all?":
            page.page.keyboard.type("920")
            page.press("PageDown")
            page.until("document.querySelector('#setup .say').innerText.includes('more than 60 metres')")
            page.press("Backspace", "Backspace", ".", "2")
        elif ask == "In how many metres does she stop?":
            page.page.keyboard.type("10")
            reach(page, "she runs on for")
            page.press("Enter")
            page.page.keyboard.type("38")
        elif ask == "What kind of radar is it?":
            reach(page, "a larger dome")
            page.press("Enter")
        page.press("PageDown")
        page.until(
            "document.querySelector('#setup .start') !== null || "
            f"document.querySelector('#setup .questions h2').innerText !== {ask!r}"
        )
    assert len(seen) > 30
    shown = text(page)
    assert "Ready to keep the watch?" in shown and "1.5 metres is assumed" in shown and str(radar) in shown
    boat = read_boat(fitting.config / "boat.toml")
    assert (boat.name, boat.length_m, boat.radar.kind) == ("Plover 2", 9.2, "larger radome")
    assert boat.stopping[0].distance_m == 38 and "draught_m" in boat.assumed and "length_m" not in boat.assumed
    settings = read_settings(fitting.config / "helm.toml")
    assert settings.radar == f"udp://0.0.0.0:{radar}"
    assert settings.prefer["heading"][1] == "HC"
    # And the start: a live picture.
    page.press("PageDown")
    page.until("moonless.store.state.hello.source === 'live'")
    page.until("document.getElementById('setup').hidden")
    page.until(HAS_PICTURE, 180.0)
    # The clock here is the real one, and by day the look would follow the sun.
    page.page.evaluate("moonless.store.send({ type: 'set', change: { look: 'night' } })")
    page.drawn()
    assert_night(page.picture())
    assert "draught, air draught assumed" in page.page.inner_text("#word")
    # Opened again over the watch, what the watch reads is shown and not opened twice.
    page.press("1")
    page.until("document.getElementById('setup').innerText.includes('Read by the watch now')")
    page.until("document.querySelector('#setup .spokes') !== null")
    page.press("Escape")
    assert page.page.evaluate("document.getElementById('setup').hidden")
    # The bow mark: no shore of the chart is where the made radar has it, and that is said.
    page.press("z")
    page.until("document.querySelector('#setup .bow h2')?.innerText.length > 10")
    assert page.page.evaluate("moonless.store.state.reading.bow.new_deg") is None
    page.press("Escape")
    assert [c for c in page.complaints if "400" not in c] == []


def test_started_again_without_a_word_it_uses_what_was_kept(fitting: Fitting, browser: Any) -> None:
    if not (fitting.config / "helm.toml").exists():
        pytest.skip("nothing was kept: the test before it did not come to its end")
    fitting.server.stop()
    again = helm_at(fitting.home)
    try:
        page = Page(browser, again.address)
        page.page.goto(again.address)
        page.until("moonless.store.state.hello !== null")
        assert page.state("hello.source") == "live" and page.state("hello.boat.name") == "Plover 2"
        page.until("moonless.store.state.reading !== null", 180.0)
        page.context.close()
    finally:
        again.stop()
