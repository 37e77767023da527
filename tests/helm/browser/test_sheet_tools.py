"""The sheet's tools in a real browser: by finger, by keys, by night, locked, on a phone."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
import pytest
from helm_made import TURN_S
from helm_page import HAS_PICTURE, Page, assert_night
from numpy.typing import NDArray

pytestmark = pytest.mark.browser

# A trial as the helm tells one: course east of the boat's, one track that would come inside, one that would not.
TRIAL = """(() => {
  const { store } = moonless, r = store.state.reading, o = r.own;
  const off = (e, n) => [o.lon + e / (111120 * Math.cos(o.lat * Math.PI / 180)), o.lat + n / 111120];
  const vessels = r.echoes.filter(e => e.is === 'vessel');
  store.send({ type: 'trial', trial: {
    is_own: true, say: 'A boat would come within 150 metres.',
    course_deg: 80, speed_kn: 8, turn_deg: 56, delay_s: 60, horizon_s: 720,
    path: [off(0, 0), off(100, 220), off(3000, 720)], keep_off_m: 463, clears: false,
    echoes: vessels.map((e, i) => ({ id: e.id, cpa_m: i ? 900 : 150, tcpa_s: 200, inside: i === 0,
      own: off(700, 400), her: i ? off(700, 1300) : off(700, 550) })),
    chart: { what: 'land', distance_m: 800, lat: off(800, 300)[1], lon: off(800, 300)[0], say: 'land in 3 minutes' },
    hidden: null, refused: null,
  } });
})()"""


@pytest.fixture(scope="module")
def shared(browser: Any, made_helm: str) -> Iterator[Page]:
    page = Page(browser, made_helm, 1280, 800, few_frames=True).open()
    yield page
    page.context.close()


@pytest.fixture
def opened(shared: Page) -> Page:
    shared.page.set_viewport_size({"width": 1280, "height": 800})
    shared.rest(up="north")
    shared.page.evaluate("moonless.tools.route.draft.clear()")
    shared.until(HAS_PICTURE)
    shared.drawn()
    return shared


def words(page: Page) -> str:
    return str(page.page.inner_text("#tool"))


def points(page: Page) -> int:
    return int(page.page.evaluate("moonless.tools.route.draft.points.length"))


def test_a_route_is_drawn_by_finger_and_nothing_is_kept_by_itself(opened: Page) -> None:
    opened.press("q")
    assert points(opened) == 1, "it begins at the boat"
    opened.page.mouse.click(700, 150)
    opened.page.mouse.click(500, 120)
    assert points(opened) == 3
    # A drag moves the point that was touched, and one step back undoes the whole drag.
    before = opened.page.evaluate("moonless.tools.route.draft.points[2]")
    opened.page.mouse.move(500, 120)
    opened.page.mouse.down()
    for x in range(505, 600, 10):
        opened.page.mouse.move(x, 160)
    opened.page.mouse.up()
    assert points(opened) == 3
    assert opened.page.evaluate("moonless.tools.route.draft.points[2]") != before
    opened.page.locator("[data-name=undo]").click()
    assert opened.page.evaluate("moonless.tools.route.draft.points[2]") == before
    # The sheet stands still meanwhile, however the boat goes.
    at = opened.page.evaluate("moonless.screen.pixelOf(-38.0, -128.0)")
    opened.page.wait_for_timeout(1500)
    assert opened.page.evaluate("moonless.screen.pixelOf(-38.0, -128.0)") == pytest.approx(at, abs=0.01)
    assert opened.page.evaluate("document.querySelector('#ask')") is None
    opened.page.locator("[data-name=done]").click()
    assert opened.page.evaluate("moonless.box.now") is None
    # Put down, it is only put down: the drawing is there when it is taken up again.
    opened.press("q")
    assert points(opened) == 3


def test_a_locked_screen_draws_nothing(opened: Page) -> None:
    opened.press("q")
    opened.page.mouse.click(700, 150)
    assert points(opened) == 2
    opened.page.evaluate("moonless.store.send({ type: 'lock', locked: true })")
    opened.page.mouse.click(600, 200)
    opened.press("ArrowUp", "Enter", "Backspace")
    assert points(opened) == 2
    opened.page.evaluate("moonless.store.send({ type: 'lock', locked: false })")
    opened.page.mouse.click(600, 200)
    assert points(opened) == 3


def test_a_second_finger_and_a_palm_do_nothing(opened: Page) -> None:
    opened.press("q")
    opened.page.evaluate(
        """(() => {
          const sheet = document.getElementById('sheet');
          for (const type of ['pointerdown', 'pointerup']) {
            const at = { isPrimary: false, pointerId: 7, clientX: 600, clientY: 200, bubbles: true };
            sheet.dispatchEvent(new PointerEvent(type, at));
          }
        })()"""
    )
    assert points(opened) == 1


def test_measure_by_finger(opened: Page) -> None:
    opened.press("m")
    assert "touch a place" in words(opened)
    opened.page.mouse.click(700, 200)
    assert words(opened).startswith("From the boat:")
    opened.page.mouse.move(500, 200)
    opened.page.mouse.down()
    opened.page.mouse.move(600, 200)
    opened.page.mouse.move(800, 200)
    opened.page.mouse.up()
    assert words(opened).startswith("Between the two:") and "090° true" in words(opened)


def test_a_trial_is_never_like_the_present(opened: Page) -> None:
    plain = opened.picture()
    opened.press("c")
    opened.page.evaluate(TRIAL)
    opened.drawn()
    tried = opened.picture()
    assert_night(tried)
    assert words(opened).startswith("Trial ")
    assert opened.page.locator("#tool").get_attribute("class") == "loud", "what would come inside is shouted"
    # By form: a broken frame runs round the sheet where nothing stood.
    edge_before, edge_now = (p[20:400, 4:9, 0].max(axis=1) > 90 for p in (plain, tried))
    assert edge_before.mean() < 0.1 and 0.4 < edge_now.mean() < 0.9
    # What is read is drawn fainter meanwhile; the sentence at the foot stays the present's.
    assert "boat on the starboard bow" in opened.page.inner_text("#say")
    opened.press("Escape", "Escape")
    assert opened.page.evaluate("moonless.box.now") is None
    opened.page.evaluate("moonless.store.send({ type: 'trial', trial: null })")
    opened.drawn()
    assert (opened.picture()[20:400, 4:9, 0].max(axis=1) > 90).mean() < 0.1


def test_a_trial_of_another_screen_is_told_here_and_is_no_answer_to_our_own(opened: Page) -> None:
    of_another = TRIAL.replace("is_own: true", "is_own: false")
    opened.press("c")
    opened.page.evaluate(of_another)
    opened.until("document.getElementById('tool').innerText.startsWith('Trial now')")
    opened.drawn()
    assert words(opened).startswith("Trial now") and "150 metres" not in words(opened)
    opened.press("Escape", "Escape")
    opened.page.evaluate(of_another)
    opened.until("document.getElementById('tool').innerText.startsWith('On another screen.')")


def test_tools_go_away_by_themselves(opened: Page) -> None:
    opened.press("c")
    opened.page.evaluate("moonless.box.tick(performance.now() + 61000)")
    assert opened.page.evaluate("moonless.box.now") is None
    assert opened.page.is_hidden("#held")


def test_a_drag_round_the_boat_turns_the_trial(opened: Page) -> None:
    opened.press("c")
    first = int(words(opened).split(": ")[1][:3])
    x, y = opened.page.evaluate(
        "(() => { const b = moonless.screen.boat; return moonless.screen.pixelOf(b.latDeg, b.lonDeg); })()"
    )
    opened.page.mouse.move(x, y - 150)
    opened.page.mouse.down()
    for k in range(1, 10):
        angle = np.radians(10 * k)
        opened.page.mouse.move(x + 150 * np.sin(angle), y - 150 * np.cos(angle))
    opened.page.mouse.up()
    turned = (int(words(opened).split(": ")[1][:3]) - first) % 360
    assert turned == pytest.approx(90, abs=4)
    assert opened.page.evaluate("moonless.store.state.touched") is None, "no echo was touched by it"


@pytest.mark.parametrize(("width", "height"), [(1280, 800), (800, 1280), (390, 844)])
@pytest.mark.parametrize("key", ["c", "q", "m", "i"])
def test_a_tools_controls_fit_a_thumb_and_leave_the_call_in_sight(
    opened: Page, key: str, width: int, height: int
) -> None:
    opened.page.set_viewport_size({"width": width, "height": height})
    opened.press(key)
    opened.drawn()
    rect = "getBoundingClientRect().toJSON()"
    drawer, band, blades = opened.page.evaluate(
        f"[document.getElementById('held').{rect}, document.getElementById('band').{rect}, "
        f"[...document.querySelectorAll('#held .blade')].map(b => b.{rect})]"
    )
    assert blades
    assert drawer["bottom"] <= band["top"] and drawer["right"] <= width
    for box in blades:
        assert box["width"] >= 76 and box["height"] >= 76
        assert box["left"] >= 0 and box["right"] <= width
        assert box["bottom"] <= drawer["bottom"] and box["top"] >= drawer["top"], "a control has to be looked for"
    assert_night(opened.picture())


def test_one_list_holds_all_that_the_five_do_not(opened: Page) -> None:
    opened.page.locator("#bar [data-name=more]").click()
    rows = "[...document.querySelectorAll('#list .blade:not([hidden])')]"
    names = opened.page.evaluate(f"{rows}.map(b => b.dataset.name)")
    assert {"measure", "draw", "routes", "lines", "trails", "lock", "keys", "silence", "light", "view"} <= set(names)
    # It stays until it is closed: nothing goes away while a finger is on its way.
    opened.page.evaluate("moonless.box.tick(performance.now() + 600000)")
    assert opened.page.is_visible("#list")
    opened.page.locator("#list [data-name=close]").click()
    assert opened.page.is_hidden("#list")


def test_index_lines_by_finger_stay_until_they_are_taken_away(opened: Page) -> None:
    opened.press("i")
    opened.page.mouse.click(640, 300)
    first = opened.state("settings.parallel.offM")
    opened.page.mouse.click(720, 300)
    assert opened.state("settings.parallel.offM") > first
    opened.page.locator("[data-name=done]").click()
    assert opened.state("settings.parallel") is not None
    opened.press("i")
    opened.page.locator("[data-name=none]").click()
    assert opened.state("settings.parallel") is None


def test_both_index_lines_are_drawn_in_the_same_ink(opened: Page) -> None:
    opened.page.evaluate(
        "moonless.store.send({ type: 'set', change: { parallel: { bearingDeg: 0, offM: 500, isBoth: true } } })"
    )
    opened.drawn()
    # The brightest of each line, looked for across it over a stretch longer than a gap of its strokes.
    light = opened.page.evaluate(
        """[-500, 500].map(off => {
          const { screen } = moonless, { boat } = screen;
          const lon = boat.lonDeg + off / (111120 * Math.cos(boat.latDeg * Math.PI / 180));
          const [x, y] = screen.pixelOf(boat.latDeg, lon), p = screen.layout.picture;
          const data = document.getElementById('ink').getContext('2d')
            .getImageData(Math.round(x - p.x) - 3, Math.round(y - p.y) - 120, 7, 80).data;
          let most = 0;
          for (let i = 0; i < data.length; i += 4) most = Math.max(most, data[i] * data[i + 3] / 255);
          return most;
        })"""
    )
    assert min(light) > 100, light


def test_a_mover_leaves_a_trail_over_the_ground_and_what_stands_leaves_none(opened: Page) -> None:
    # The made boat 11 goes 6 knots, 8 m a turn: every place on her way lies under her echo for three turns and more,
    # which is what a trail asks. (A faster one leaves places marked once only, and those are none.)
    opened.rest(up="north", trails="long", rangeIndex=7)
    seen = "(() => { const r = moonless.store.state.reading, at = id => { const e = r.echoes.find(e => e.id === id); \
return [e.lat, e.lon]; }; return [Date.parse(r.time) / 1000, at(11), at(7)]; })()"
    # Turns are counted by the story's own time: a starved page is given as long as its turns take to come.
    way: dict[int, tuple[float, float]] = {}
    begun, _, still = opened.page.evaluate(seen)
    for _ in range(3000):
        now, place, _ = opened.page.evaluate(seen)
        way[round((now - begun) / TURN_S)] = place
        if max(way) >= 20:
            break
        opened.page.wait_for_timeout(100)
    # Marks had their turns (not the first ones, half marked), and she has since gone 8 turns, 60 m: no echo lies there.
    gone = [place for turn, place in way.items() if 4 <= turn <= 12]
    assert len(gone) >= 3, way
    # Nothing but the trails may differ between two pictures: the story stands still, and the ink is taken away.
    opened.press("p")
    opened.until("moonless.store.state.affairs.paused")
    opened.page.evaluate("document.getElementById('ink').style.visibility = 'hidden'")

    def patches(places: list[tuple[float, float]], on: str) -> NDArray[np.float64]:
        opened.page.evaluate(f"moonless.store.send({{ type: 'set', change: {{ trails: '{on}' }} }})")
        opened.drawn()
        picture = opened.picture()
        points = [opened.page.evaluate(f"moonless.screen.pixelOf({lat}, {lon})") for lat, lon in places]
        return np.array([picture[int(y) - 4 : int(y) + 5, int(x) - 4 : int(x) + 5, 0].mean() for x, y in points])

    # Light that goes when trails go off.
    beside = [(lat + 0.003, lon + 0.003) for lat, lon in gone]
    asked = [*gone, *beside, tuple(still)]
    light = patches(asked, "long") - patches(asked, "off")
    opened.page.evaluate("document.getElementById('ink').style.visibility = ''")
    opened.press("p")
    n = len(gone)
    where_it_was = float(np.median(light[:n]))
    assert where_it_was > 3.0, light
    assert np.abs(light[n : 2 * n]).max() < 0.25 * where_it_was, light
    assert abs(light[-1]) < 0.5 * where_it_was, light
