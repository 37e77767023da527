"""Five sizes of screen, each with a layout of its own, measured in the browser with every drawer open."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest
from helm_made import START_NS
from helm_page import Page, assert_night

pytestmark = pytest.mark.browser

SIZES = [(390, 844), (844, 390), (800, 1280), (1280, 800), (1440, 900), (360, 640)]
KINDS = {"phone-upright", "phone-lying", "tablet-upright", "tablet-lying", "desktop"}
# Each way to open something that lies over the sheet.
OPENINGS = {
    "nothing": "null",
    "controls": "document.querySelector('#bar [data-name=more]').click()",
    "echo": "moonless.store.send({ type: 'touch', echo: 9 })",
    "echoes": "document.querySelector('#list [data-name=echoes]').click()",
    "keys": "document.querySelector('#list [data-name=keys]').click()",
    "routes": "document.querySelector('#list [data-name=routes]').click()",
    "what is said": "document.getElementById('words').click()",
    "trial": "document.querySelector('#bar [data-name=trial]').click()",
    "route": "document.querySelector('#list [data-name=draw]').click()",
    "question": "document.querySelector('#list [data-name=\"start again\"]').click()",
}
MEASURED = """(() => {
  const rect = e => e.getBoundingClientRect().toJSON();
  const seen = [...document.querySelectorAll('.drawer, .sheet-over')].filter(e => e.offsetParent !== null);
  const words = [...document.querySelectorAll('#band p, #band b, #band span, #figures dt, #figures dd, #bar button')]
    .filter(e => e.offsetParent !== null && e.textContent !== '');
  return {
    kind: document.body.dataset.layout,
    sheet: rect(document.getElementById('sheet')),
    band: rect(document.getElementById('band')),
    drawers: seen.map(rect),
    words: words.map(e => [e.textContent, rect(e)]),
    wide: document.documentElement.scrollWidth,
  };
})()"""


@pytest.fixture(scope="module")
def page(browser: Any, made_helm: str) -> Iterator[Page]:
    page = Page(browser, made_helm).open()
    yield page
    page.context.close()


def sized(page: Page, width: int, height: int) -> None:
    """Give the screen a size and wait until it is laid out for it."""
    page.page.set_viewport_size({"width": width, "height": height})
    band = "document.getElementById('band').getBoundingClientRect()"
    page.until(f"Math.round({band}.width) === {width} && Math.round({band}.bottom) === {height}")


def seen_of(sheet: dict[str, float], drawers: list[dict[str, float]]) -> float:
    """Return how much of the sheet is seen, square pixels; drawers of one place lie over each other."""
    area: float = sheet["width"] * sheet["height"]
    cuts = {
        (
            max(0.0, min(sheet["right"], d["right"]) - max(sheet["left"], d["left"]))
            * max(0.0, min(sheet["bottom"], d["bottom"]) - max(sheet["top"], d["top"]))
        )
        for d in drawers
    }
    return area - max(cuts, default=0.0)


@pytest.mark.parametrize(("width", "height"), SIZES)
def test_half_is_picture_and_nothing_lies_over_the_order(page: Page, width: int, height: int) -> None:
    sized(page, width, height)
    for name, opening in OPENINGS.items():
        page.rest()
        page.page.evaluate(opening)
        page.drawn()
        found = page.page.evaluate(MEASURED)
        assert found["kind"] in KINDS
        assert found["wide"] <= width, f"{name}: the page is wider than the screen"
        band = found["band"]
        assert band["bottom"] <= height + 0.5 and band["right"] <= width + 0.5
        if name != "nothing":
            assert found["drawers"], f"{name} opened nothing"
        for drawer in found["drawers"]:
            apart = drawer["bottom"] <= band["top"] + 0.5 or drawer["right"] <= band["left"]
            assert apart, f"{name} lies over the order at {width} x {height}"
            assert drawer["left"] >= -0.5 and drawer["right"] <= width + 0.5 and drawer["top"] >= -0.5
        share = seen_of(found["sheet"], found["drawers"]) / (width * height)
        assert share >= 0.5, f"{name}: {share:.3f} of {width} x {height} is picture"
        for text, box in found["words"]:
            if box["width"] > 0:
                assert box["left"] >= -0.5 and box["right"] <= width + 0.5 and box["bottom"] <= height + 0.5, text
        say = page.page.evaluate(
            "[document.getElementById('words').scrollHeight, document.getElementById('words').clientHeight]"
        )
        assert say[0] <= say[1] + 1, "the order and its reason are cut"
    assert_night(page.picture())


def test_each_size_has_a_layout_of_its_own(page: Page) -> None:
    kinds = []
    for width, height in SIZES[:5]:
        sized(page, width, height)
        kinds.append(page.page.evaluate("document.body.dataset.layout"))
    assert set(kinds) == KINDS


def test_a_call_neither_moves_nor_scales_the_sheet(page: Page) -> None:
    sized(page, 1280, 800)
    page.rest()
    page.press("p")
    page.until("moonless.store.state.affairs.paused")
    boat = "moonless.screen.pixelOf(moonless.screen.boat.latDeg, moonless.screen.boat.lonDeg)"
    mark = "moonless.screen.pixelOf(-37.99, -128.0)"
    # What came before the pause is still being gone to: until three frames leave all where it was.
    before, settled = None, 0
    for _ in range(300):
        page.drawn()
        now = page.page.evaluate(f"[{boat}, {mark}, document.getElementById('band').offsetHeight]")
        settled = settled + 1 if now == before else 0
        before = now
        if settled == 3:
            break
    page.page.evaluate(
        """(() => {
          const { store } = moonless, { reading } = store.state;
          store.send({ type: 'reading', at: performance.now(), reading: { ...reading,
            instruction: { do: 'stop', to_deg: null, to_kn: 0, say: 'STOP', because: 'Vessel, dead ahead.', echo: 9 },
            standing: [{ key: 'echo 9', urgency: 4, say: 'Stop', echo: 9 }] } });
        })()"""
    )
    page.until("document.getElementById('say').innerText === 'STOP.'")
    page.drawn()
    page.drawn()
    after = page.page.evaluate(f"[{boat}, {mark}, document.getElementById('band').offsetHeight]")
    for was, now in zip(before[:2], after[:2], strict=True):
        assert now == pytest.approx(was, abs=1.0)
    assert before[2] == after[2]
    page.press("p")


def test_the_sheet_is_dragged_and_there_is_a_way_back(page: Page) -> None:
    sized(page, 1280, 800)
    page.rest()
    page.page.evaluate("moonless.store.send({ type: 'set', change: { rangeHeld: false } })")
    page.drawn()
    boat = "moonless.screen.pixelOf(moonless.screen.boat.latDeg, moonless.screen.boat.lonDeg)"
    assert page.page.is_hidden("#back")
    x, y = page.page.evaluate(boat)
    page.page.mouse.move(300, 300)
    page.page.mouse.down()
    page.page.mouse.move(400, 250, steps=6)
    page.page.mouse.up()
    page.drawn()
    dragged = page.page.evaluate(boat)
    assert dragged == pytest.approx([x + 100, y - 50], abs=25)
    assert page.state("touched") is None, "a drag is no touch"
    assert page.page.inner_text("#back") == "to the boat"
    page.page.locator("#back").click()
    page.until("document.getElementById('back').hidden")
    page.drawn()
    assert page.page.evaluate(boat) == pytest.approx([x, y], abs=25)


def test_the_range_goes_by_itself_and_holds_what_is_called(browser: Any, young_helm: str) -> None:
    # Later in the story the boat that is called has passed, and lies abaft of what is shown.
    page = Page(browser, young_helm).open()
    sized(page, 1280, 800)
    page.rest()
    # So near that the boat that is called lies off the sheet.
    page.page.evaluate("moonless.store.send({ type: 'set', change: { rangeIndex: 2, rangeHeld: false } })")
    held = """(() => {
      const { store, screen } = moonless, e = store.state.reading?.echoes.find(e => e.id === 9);
      if (e === undefined) return false;
      const [x, y] = screen.pixelOf(e.lat, e.lon), p = screen.layout.picture;
      return x > p.x && y > p.y && x < p.x + p.width && y < p.y + p.height;
    })()"""
    page.until(held, 90.0)
    page.press("+")
    page.until("moonless.store.state.settings.rangeHeld")  # a range chosen by hand stays
    page.press("Home")
    page.until("!moonless.store.state.settings.rangeHeld")
    page.context.close()


def test_a_screen_reader_finds_every_echo_in_words(page: Page) -> None:
    sized(page, 390, 844)
    page.rest()
    page.press("/")
    lines = page.page.locator("#echoes li").all_inner_texts()
    told = [e for e in page.state("reading.echoes") if e["is"] not in ("shore", "clutter")]
    assert len(lines) == len(told) + len(page.state("reading.missing"))
    assert lines[0].startswith("A boat") and "12 kn" in lines[0], "what is called comes first"
    assert any("not seen" in line for line in lines)
    page.page.locator("#echoes li button").first.click()
    assert page.state("touched") == 9
    page.press("Escape")


# Ten minutes of a recording, from where the made story begins: a call, and a vessel close by.
BEGIN_MS = START_NS // 10**6
BAR = {
    "first_ms": BEGIN_MS, "last_ms": BEGIN_MS + 600_000, "is_whole": True,
    "marks": [
        {"at_ms": BEGIN_MS + 200_000, "kind": "call", "urgency": 4, "say": "Turn starboard 40, to one six five."},
        {"at_ms": BEGIN_MS + 480_000, "kind": "closest", "urgency": 4, "say": "A vessel came within 60 m."},
    ],
}  # fmt: skip
STORY_S = f"(moonless.store.state.affairs.story_ms - {BEGIN_MS}) / 1000"


def test_the_time_bar_lies_free_and_goes_where_it_is_touched(page: Page) -> None:
    """Of a recording: beside an open drawer and under the boat, never over or under either; last, for it moves time."""
    page.page.route("**/timebar", lambda route: route.fulfill(json=BAR))
    assert page.page.locator("#timebar").is_hidden(), "only a recording has one"
    page.rest()
    page.page.evaluate(
        "moonless.store.send({ type: 'hello', hello: { ...moonless.store.state.hello, source: 'replay' } })"
    )
    page.until("!document.getElementById('timebar').hidden")
    page.press("p")  # the boat stays where she is
    page.until("moonless.store.state.affairs.paused")
    measured = """(() => {
      const rect = e => e.getBoundingClientRect().toJSON(), { boat } = moonless.screen;
      const drawer = [...document.querySelectorAll('.drawer')].find(e => e.offsetParent !== null && e.id !== 'echoes');
      return {
        bar: rect(document.getElementById('timebar')), sheet: rect(document.getElementById('sheet')),
        drawer: drawer === undefined ? null : rect(drawer), boat: moonless.screen.pixelOf(boat.latDeg, boat.lonDeg),
        hands: [...document.querySelectorAll('#timebar button')].filter(e => e.offsetParent !== null).map(rect),
      };
    })()"""
    for width, height in SIZES:
        sized(page, width, height)
        for echo in ("null", "9"):
            page.page.evaluate(f"moonless.store.send({{ type: 'touch', echo: {echo} }})")
            page.page.evaluate("moonless.screen.eye.jump()")
            # The sheet is drawn anew for its size, in a time of its own on a busy machine.
            page.until(
                f"(m => m.boat[1] < m.bar.top && (m.drawer === null) === {str(echo == 'null').lower()})({measured})"
            )
            found = page.page.evaluate(measured)
            bar, sheet, drawer = found["bar"], found["sheet"], found["drawer"]
            assert sheet["left"] - 0.5 <= bar["left"] and bar["right"] <= sheet["right"] + 0.5
            assert bar["bottom"] <= sheet["bottom"] + 0.5 and bar["width"] >= 200
            assert (drawer is None) == (echo == "null")
            if drawer is not None:
                apart = drawer["left"] >= bar["right"] - 0.5 or drawer["right"] <= bar["left"] + 0.5
                assert apart or drawer["top"] >= bar["bottom"] - 0.5, f"under a drawer at {width} x {height}"
            assert bar["left"] < found["boat"][0] < bar["right"] and found["boat"][1] < bar["top"]
            assert drawer is not None or len(found["hands"]) == 4
            for hand in found["hands"]:
                assert hand["left"] >= bar["left"] and hand["right"] <= bar["right"] + 0.5 and hand["height"] >= 44
    sized(page, 1280, 800)
    page.page.evaluate("moonless.store.send({ type: 'touch', echo: null })")
    track = page.page.locator("#timebar .track")
    box = track.bounding_box()
    assert box is not None
    page.page.mouse.click(box["x"] + 0.5 * box["width"], box["y"] + 20)
    page.until(f"Math.abs({STORY_S} - 300) < 2")
    track.focus()
    page.press("ArrowRight", "PageUp")  # up is on, as with any slider (WAI-ARIA)
    page.until(f"Math.abs({STORY_S} - 370) < 2")
    page.page.get_by_role("button", name="to the next mark").click()  # twenty seconds before it
    page.until(f"Math.abs({STORY_S} - 460) < 2")
    assert page.page.inner_text("#timebar .say") == "A vessel came within 60 m."
    page.page.get_by_role("button", name="to the mark before").click()
    page.until(f"Math.abs({STORY_S} - 180) < 2")
    page.until("document.querySelector('#timebar .say').textContent.startsWith('Turn starboard')")
    assert page.page.inner_text("#timebar .what").endswith("not now")
    assert_night(page.picture())
