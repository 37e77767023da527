"""The whole in a real browser: what is drawn, how bright, reached by whom, and what leaves the page (nothing)."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import numpy as np
import pytest
from helm_page import HAS_PICTURE, Page, assert_night, luminance
from helm_server import HERE, STATIC, Server

pytestmark = pytest.mark.browser

AXE = HERE.parents[1] / "web" / "node_modules" / "axe-core" / "axe.min.js"


@pytest.fixture(scope="module")
def shared(browser: Any, made_helm: str) -> Iterator[Page]:
    page = Page(browser, made_helm, few_frames=True).open()
    yield page
    page.context.close()


@pytest.fixture
def opened(shared: Page) -> Page:
    """The one page that most tests share, put back to how a new screen begins."""
    shared.page.set_viewport_size({"width": 1024, "height": 700})
    shared.rest()
    shared.until(HAS_PICTURE)
    return shared


def test_the_demo_is_live_and_nothing_leaves_the_origin(browser: Any) -> None:
    demo = Server("-m", "moonless", "demo", "--port", "0", "--no-browser")
    try:
        page = Page(browser, demo.address).open(wait_s=120.0)
        page.until("moonless.store.state.reading !== null && moonless.store.state.reading.echoes.length > 0", 60.0)
        assert page.state("hello.source") == "demo"
        assert "not for navigation" in page.page.inner_text("#word")
        first = page.state("reading.turn")
        page.until(f"moonless.store.state.reading.turn > {first}")
        picture = page.picture()
        assert (picture[..., 0] > 60).mean() > 0.005, "the sheet is all but empty"
        assert_night(picture)
        page.press("p")
        page.until("moonless.store.state.affairs.paused")
        page.press("p", "f")
        page.until("!moonless.store.state.affairs.paused && moonless.store.state.affairs.speed === 2")
        page.press("0")
        page.page.keyboard.press("Shift+Tab")
        page.page.keyboard.press("Enter")
        page.until("moonless.store.state.reading !== null && moonless.store.state.reading.turn >= 1")
        origin = urlsplit(demo.address)
        assert {urlsplit(url).netloc for url in page.asked} == {origin.netloc}
        assert {urlsplit(url).scheme for url in page.asked} <= {"http", "ws"}
        assert page.complaints == []
        page.context.close()
    finally:
        demo.stop()


def test_night_is_red_and_dim_from_the_first_paint(browser: Any, made_helm: str) -> None:
    page = Page(browser, made_helm)
    # The page is looked at before it has loaded anything, while it loads, and when it is whole.
    page.page.goto(made_helm, wait_until="commit")
    for _ in range(4):
        assert_night(page.picture())
        page.page.wait_for_timeout(120)
    page.until(HAS_PICTURE)
    assert_night(page.picture())
    page.context.close()


@pytest.mark.parametrize(
    "keys", [["Enter"], ["n"], ["?"], ["0"], ["x"], ["l"], ["l", "l"], ["u"], ["m"], ["c"], ["q"], ["i"], ["j"], ["y"]]
)
def test_night_stays_night_whatever_is_opened(opened: Page, keys: list[str]) -> None:
    opened.press(*keys)
    opened.drawn()
    assert_night(opened.picture())


def test_the_dimmer_takes_light_away(opened: Page) -> None:
    before = luminance(opened.picture()).mean()
    opened.press("d", "d", "d", "d")
    opened.drawn()
    # A black veil of 80 % leaves a fifth of each value; in linear light far less than a fifth.
    assert luminance(opened.picture()).mean() < 0.2 * before


def test_kinds_are_told_apart_by_form_alone(opened: Page) -> None:
    # The ink round one echo of each kind, as a black and white stencil: colour and strength are gone.
    patches = opened.page.evaluate(
        """() => {
          const { store, screen } = moonless;
          const ink = document.getElementById('ink'), ctx = ink.getContext('2d');
          const out = {};
          for (const kind of ['charted', 'bridge', 'uncharted', 'vessel', 'false', 'clutter', 'missing']) {
            const thing = kind === 'missing' ? store.state.reading.missing[0]
              : store.state.reading.echoes.find(e => e.is === kind);
            const [x, y] = screen.pixelOf(thing.lat, thing.lon);
            const data = ctx.getImageData(Math.round(x) - 14, Math.round(y) - 14, 29, 29).data;
            out[kind] = Array.from({ length: 29 * 29 }, (_, i) => (data[4 * i] > 70 && data[4 * i + 3] > 70 ? 1 : 0));
          }
          return out;
        }"""
    )
    stencils = {kind: np.array(cells, bool) for kind, cells in patches.items()}
    for kind, stencil in stencils.items():
        assert stencil.sum() >= 5, f"{kind} draws next to nothing"
    names = list(stencils)
    for i, a in enumerate(names):
        for b in names[i + 1 :]:
            common = (stencils[a] & stencils[b]).sum() / (stencils[a] | stencils[b]).sum()
            assert common < 0.7, f"{a} and {b} look alike ({common:.2f} of their ink is shared)"


def test_a_touch_opens_the_card_and_an_answer_goes_out(opened: Page) -> None:
    x, y = opened.page.evaluate(
        """(() => {
          const e = moonless.store.state.reading.echoes.find(e => e.is === 'uncharted');
          return moonless.screen.pixelOf(e.lat, e.lon);
        })()"""
    )
    opened.page.mouse.click(x, y)
    opened.page.wait_for_selector("#card:not([hidden])")
    assert "Not charted" in opened.page.inner_text("#card")
    opened.page.get_by_role("button", name="I see it: it is …").click()
    opened.page.get_by_role("button", name="float or pot").click()
    opened.until("moonless.store.state.answer === 'noted: float or pot'")
    assert opened.page.is_hidden("#card")


def test_everything_by_keyboard_alone(opened: Page) -> None:
    range_before = opened.state("settings.rangeIndex")
    opened.press("-")
    assert opened.state("settings.rangeIndex") == range_before + 1
    opened.press("+", "+")
    assert opened.state("settings.rangeIndex") == range_before - 1
    for up in ("course", "north", "head"):
        opened.press("u")
        assert opened.state("settings.up") == up
    for lay in ("beside", "radar", "over"):
        opened.press("l")
        assert opened.state("settings.lay") == lay
    for look in ("night", "dusk", "day", None):
        opened.press("k")
        assert opened.state("settings.look") == look
    opened.press("n")
    assert opened.state("touched") == 9, "the oncoming boat is what matters most"
    opened.press("Escape")
    assert opened.state("touched") is None
    # Every control is a button that Tab reaches and Enter presses.
    opened.press("Enter")
    names = opened.page.evaluate("[...document.querySelectorAll('#bar .blade')].map(b => b.dataset.name)")
    assert names == ["nearer", "farther", "heard", "trial", "more"], "five controls first"
    assert opened.page.evaluate("document.activeElement.dataset.name") == "nearer"
    opened.press("Tab", "Enter")
    assert opened.state("settings.rangeIndex") == range_before
    opened.press("Tab", "Tab", "Tab", "Enter")
    rows = "[...document.querySelectorAll('#list .blade:not([hidden])')]"
    listed = opened.page.evaluate(f"{rows}.map(b => b.dataset.name)")
    assert {"silence", "light", "lock", "measure", "keys", "echoes"} <= set(listed)
    opened.press("Escape")
    assert opened.page.is_hidden("#list")
    assert opened.page.evaluate("document.activeElement.dataset.name") == "more", "back to where the finger was"
    opened.press("x")
    assert opened.state("locked")
    opened.press("n")
    assert opened.state("touched") is None, "a locked screen takes nothing else"
    opened.press("Enter", "Tab", "Enter")
    assert not opened.state("locked")


def test_hands_and_sizes(opened: Page) -> None:
    boxes = "[...document.querySelectorAll('#bar .blade')].map(b => b.getBoundingClientRect().toJSON())"
    for box in opened.page.evaluate(boxes):
        # 12 mm on a tablet of 160 page pixels an inch (common practice, no source) is 75.6.
        assert box["width"] >= 76 and box["height"] >= 76
        assert box["left"] >= 512 and box["right"] <= 1024
    opened.press("h")
    opened.until("[...document.querySelectorAll('#bar .blade')].every(b => b.getBoundingClientRect().right < 512)")


@pytest.mark.parametrize(("width", "height"), [(1440, 900), (1280, 800), (800, 1280), (390, 844)])
def test_words_fit_every_screen(opened: Page, width: int, height: int) -> None:
    opened.page.set_viewport_size({"width": width, "height": height})
    opened.drawn()
    for what in ("#say", "#word", "#bar", "#speed", "#figures"):
        box = opened.page.locator(what).bounding_box()
        assert box is not None and box["width"] > 0
        assert box["x"] >= -1 and box["y"] >= -1
        assert box["x"] + box["width"] <= width + 1 and box["y"] + box["height"] <= height + 1


def test_a_lost_link_is_said_and_comes_back_by_itself(browser: Any) -> None:
    server = Server(str(HERE / "helm_made.py"))
    page = Page(browser, server.address).open()
    server.stop()
    page.until("document.getElementById('say').textContent.includes('link to the helm is lost')")
    assert page.page.locator("#say").get_attribute("data-urgency") == "4"
    # What moved is somewhere else by now: neither it nor its figures stay, and the clock is told as the picture's.
    page.until("!moonless.screen.written.some(w => / kn|cable|mile/.test(w.text))")
    assert not page.page.evaluate("moonless.screen.written.some(w => w.text.includes('MADE TENDER'))")
    assert "picture of" in page.page.inner_text("#word")
    assert set(page.page.locator("#figures dd:not(.beside)").all_inner_texts()) == {"—"}
    # Nor does a heading by the compass stay beside the dash.
    assert set(page.page.locator("#figures dd.beside").all_inner_texts()) == {""}
    assert_night(page.picture())
    page.context.close()


def test_a_withdrawn_reading_is_shown_as_withdrawn(browser: Any) -> None:
    server = Server(str(HERE / "helm_made.py"), "--faulty")
    try:
        page = Page(browser, server.address).open()
        page.until("document.getElementById('say').textContent.includes('position is silent')")
        assert page.state("reading.echoes") == []
        assert page.state("reading.speed.advised_kn") is None
        assert "no speed can be said" in (page.page.locator("#speed title").text_content() or "")
        page.context.close()
    finally:
        server.stop()


@pytest.mark.parametrize("opening", [[], ["Enter"], ["n"], ["?"]])
def test_axe_finds_nothing_serious(opened: Page, opening: list[str]) -> None:
    if not AXE.exists():
        pytest.skip("web/node_modules has no axe-core (npm ci)")
    # By day, where the contrast rule is meant to hold; the night look trades contrast for dark-adapted eyes, and its
    # contrast is held by web/src/look/table.test.ts.
    opened.press("k", "k", "k", *opening)
    opened.drawn()
    opened.page.evaluate(AXE.read_text(encoding="utf-8"))
    found = opened.page.evaluate("axe.run(document, { resultTypes: ['violations'] })")
    serious = [
        (v["id"], [n["html"][:120] for n in v["nodes"]])
        for v in found["violations"]
        if v["impact"] in ("serious", "critical")
    ]
    assert serious == []


def test_a_second_screen_keeps_its_own_view(browser: Any, made_helm: str, opened: Page) -> None:
    other = Page(browser, made_helm).open()
    other.rest()
    other.press("-", "-", "u")
    assert opened.state("settings.up") == "head"
    assert other.state("settings.rangeIndex") == opened.state("settings.rangeIndex") + 2
    assert other.state("affairs.screens") >= 2
    other.context.close()


def test_a_lost_graphics_context_comes_back(opened: Page) -> None:
    opened.page.evaluate(
        """(() => {
          window.lost = document.getElementById('scan').getContext('webgl2').getExtension('WEBGL_lose_context');
          lost.loseContext();
        })()"""
    )
    opened.until("!moonless.screen.scan.works")
    opened.page.evaluate("lost.restoreContext()")
    opened.until("moonless.screen.scan.works")
    opened.complaints.clear()
    opened.drawn()
    assert opened.complaints == []


def test_static_files_hold_no_foreign_address() -> None:
    static = HERE.parents[1] / "src" / "moonless" / "helm" / "static"
    page = (static / "index.html").read_text() if (static / "index.html").exists() else ""
    assert "//" not in page.replace("<!doctype", "").replace("</", ""), "the page names an address"


def test_first_load_beyond_the_map_library_is_small() -> None:
    if not STATIC.exists():
        pytest.skip("the helm's screens are not built (make web)")
    import gzip

    static = Path(__file__).parents[3] / "src" / "moonless" / "helm" / "static"
    size = sum(
        len(gzip.compress(path.read_bytes()))
        for path in static.rglob("*")
        if path.is_file() and not path.name.startswith(("map-", "maplibre"))
    )
    # The limit: 1 MB gzipped beyond the map library.
    assert size < 1_000_000
