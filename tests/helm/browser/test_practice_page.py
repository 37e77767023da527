"""The page of practice driven end to end in a real browser: asked, answered in every way, marked, remembered."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any, NamedTuple

import pytest
from helm_page import Page, assert_night
from helm_server import Server, need_browser

from moonless.boat.file import default_boat
from moonless.practice.ladder import make
from moonless.practice.store import read_answers
from moonless.practice.types import Exercise
from moonless.practice.waters import PracticeWaters, open_waters
from moonless.scene.file import demo_folder

pytestmark = pytest.mark.browser

# Waited for, not timed: the very first exercise compiles the model.
PATIENCE_S = 240.0


class Practice(NamedTuple):
    """A page, its server and the record it writes to."""

    page: Page
    address: str
    record: Path

    def ask(self, step: str, seed: int) -> dict[str, Any]:
        """Open one exercise."""
        self.page.page.goto(f"{self.address}practice.html?step={step}&seed={seed}")
        self.page.until("window.practice !== undefined && practice.stage === 'asked'", PATIENCE_S)
        return dict(self.page.page.evaluate("practice.exercise"))

    def marked(self) -> dict[str, Any]:
        """Wait for the mark."""
        self.page.until("practice.stage === 'marked'", PATIENCE_S)
        return dict(self.page.page.evaluate("practice.marked"))


@pytest.fixture(scope="module")
def practice(browser: Any, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Practice]:
    need_browser()
    record = tmp_path_factory.mktemp("practice") / "practice.json"
    words = ["practice", "--port", "0", "--no-browser", "--record", str(record)]
    server = Server("-c", f"from moonless.cli import main; main({json.dumps(words)})")
    page = Page(browser, server.address, 1280, 800)
    yield Practice(page, server.address, record)
    page.context.close()
    server.stop()


@pytest.fixture(scope="module")
def waters() -> PracticeWaters:
    return open_waters([demo_folder() / "waters.gpkg"], default_boat().draught_m)


def exercise(step: str, seed: int, waters: PracticeWaters) -> Exercise:
    """The same exercise here: it hangs on step, seed and waters alone."""
    return make(step, seed, waters, default_boat())


def touch(practice: Practice, canvas: str, pixel: tuple[float, float]) -> None:
    box = practice.page.page.query_selector(canvas).bounding_box()
    practice.page.page.mouse.click(box["x"] + pixel[0], box["y"] + pixel[1])


def scope_pixel(practice: Practice, one: Exercise, place: tuple[float, float]) -> tuple[float, float]:
    """Where a place lies on the scope, by its own geometry: bow up, the picture's rim 36 pixels inside the box."""
    import math

    assert one.pictures is not None
    last = one.pictures.last
    side = practice.page.page.evaluate("document.querySelector('canvas.scope').clientWidth")
    east, north = place[0] - last.east_m, place[1] - last.north_m
    radius = (side / 2 - 36) * math.hypot(east, north) / (one.pictures.scale_nm * 1852.0)
    turn = math.atan2(east, north) - last.shown_heading_rad
    return side / 2 + radius * math.sin(turn), side / 2 - radius * math.cos(turn)


def test_a_touch_on_the_right_echo_is_right_and_kept(practice: Practice, waters: PracticeWaters) -> None:
    one = exercise("boat_or_beacon", 0, waters)
    body = practice.ask("boat_or_beacon", 0)
    assert body["form"] == "touch" and "because" not in body
    assert_night(practice.page.picture())
    place = one.key.right.place
    assert place is not None
    touch(practice, "canvas.scope", scope_pixel(practice, one, place))
    practice.page.page.click("button.answer")
    found = practice.marked()
    assert found["points"] == pytest.approx(1.0) and found["verdict"] == "Right."
    kept = read_answers(practice.record)
    assert kept[-1].step == "boat_or_beacon" and kept[-1].points == pytest.approx(1.0)
    shown = practice.page.page.inner_text("#practice .mark")
    assert one.because in shown
    assert_night(practice.page.picture())


def test_the_same_place_typed_by_keyboard_alone(practice: Practice, waters: PracticeWaters) -> None:
    import math

    one = exercise("not_charted", 1, waters)
    practice.ask("not_charted", 1)
    assert one.pictures is not None and one.key.right.place is not None
    last, place = one.pictures.last, one.key.right.place
    east, north = place[0] - last.east_m, place[1] - last.north_m
    page = practice.page.page
    for words, value in (
        ("range", math.hypot(east, north) / 1852.0),
        ("relative bearing", math.degrees(math.atan2(east, north) - last.heading_rad) % 360.0),
    ):
        for _ in range(40):
            if words in page.evaluate("document.activeElement?.parentElement?.textContent ?? ''") and page.evaluate(
                "document.activeElement instanceof HTMLInputElement"
            ):
                break
            practice.page.press("Tab")
        page.keyboard.type(f"{value:.4f}")
    practice.page.press("Tab", "Enter")
    assert practice.marked()["points"] == pytest.approx(1.0)
    # The next exercise is one key away.
    assert page.evaluate("document.activeElement.textContent") == "next"


def test_a_word_figures_and_leaving_it_open(practice: Practice, waters: PracticeWaters) -> None:
    one = exercise("rain_or_land", 0, waters)
    practice.ask("rain_or_land", 0)
    page = practice.page.page
    wrong = next(word for word in one.words if word != one.key.right.word)
    page.click(f"button.word:text-is('{wrong}')")
    assert practice.marked()["points"] == 0.0
    assert page.inner_text("button.right").endswith(str(one.key.right.word))
    figures = next(seed for seed in range(30) if exercise("rings", seed, waters).figures)
    right = exercise("rings", figures, waters).key.right.figures
    practice.ask("rings", figures)
    for box, value in zip(page.query_selector_all("#practice form input"), right, strict=True):
        box.fill(f"{value:.3f}")
    practice.page.press("Enter")
    assert practice.marked()["points"] == pytest.approx(1.0)
    open_one = exercise("sea_or_float", 1, waters)
    practice.ask("sea_or_float", 1)
    page.click("button.withheld")
    found = practice.marked()
    expected = 1.0 if open_one.key.right.is_withheld else 1.0 - open_one.knowable
    assert found["withheld"] and found["points"] == pytest.approx(expected, abs=0.01)


def test_knobs_turned_by_hand(practice: Practice, waters: PracticeWaters) -> None:
    one = exercise("by_hand", 0, waters)
    best = one.key.right.knobs
    assert best is not None
    practice.ask("by_hand", 0)
    page = practice.page.page
    drawn = "document.querySelector('canvas.scope').toDataURL().length"
    before = page.evaluate(drawn)
    for name in ("gain", "sea", "rain"):
        page.evaluate(
            f"(() => {{ const i = document.querySelector('input[data-knob={name}]'); i.value = {getattr(best, name)}; "
            "i.dispatchEvent(new Event('input', {bubbles: true})); })()"
        )
    assert page.evaluate(drawn) != before, "the picture did not follow the knobs"
    page.click("button.answer")
    assert practice.marked()["points"] == pytest.approx(1.0)


def test_the_place_found_on_the_chart(practice: Practice, waters: PracticeWaters) -> None:
    one = exercise("find_place", 0, waters)
    body = practice.ask("find_place", 0)
    assert body["map"]["boat"] is None, "the chart tells where the picture was taken"
    place, frame = one.key.right.place, waters.chart.frame
    assert place is not None
    middle = frame.to_plane(waters.chart.centre_lat_deg, waters.chart.centre_lon_deg)
    side = practice.page.page.evaluate("document.querySelector('canvas.chart').clientWidth")
    metres = 2.04 * waters.chart.radius_m / side
    touch(
        practice,
        "canvas.chart",
        (side / 2 + (place[0] - middle[0]) / metres, side / 2 - (place[1] - middle[1]) / metres),
    )
    practice.page.page.click("button.answer")
    assert practice.marked()["points"] > 0.95


def test_the_ladder_shows_what_was_answered_and_says_never_a_licence(practice: Practice) -> None:
    practice.ask("lights", 2)
    page = practice.page.page
    page.click("button.to-ladder")
    practice.page.until("practice.progress !== null && document.querySelectorAll('.steps li').length === 15")
    text = page.inner_text("#practice .ladder")
    assert "never a licence" in text and "by day" in text.lower() and "STCW A-II/1" in text
    assert page.get_attribute("li[data-step=boat_or_beacon]", "data-word") == "begun"
    assert page.get_attribute("li[data-step=speed]", "data-word") == "new"
    assert "ready to try" not in page.inner_text("#practice .levels")
    page.click("li[data-step=rings] button")
    practice.page.until("practice.stage === 'asked' && practice.exercise.step === 'rings'", PATIENCE_S)


def test_next_follows_the_ladder(practice: Practice) -> None:
    practice.page.page.goto(f"{practice.address}practice.html")
    practice.page.until("window.practice !== undefined && practice.stage === 'asked'", PATIENCE_S)
    first = practice.page.page.evaluate("practice.exercise.id")
    practice.page.page.click("button.withheld")
    practice.marked()
    practice.page.page.click("button.next")
    practice.page.until(f"practice.stage === 'asked' && practice.exercise.id !== '{first}'", PATIENCE_S)


def test_nothing_was_complained_of_and_nothing_asked_elsewhere(practice: Practice) -> None:
    assert practice.page.complaints == []
    assert all(url.startswith(practice.address) for url in practice.page.asked)


def test_a_lost_link_is_said_and_nothing_is_marked(practice: Practice) -> None:
    practice.ask("lights", 7)
    kept = len(read_answers(practice.record))
    practice.page.context.set_offline(True)
    practice.page.page.click("button.withheld")
    practice.page.until("document.querySelector('.problem').textContent !== ''")
    assert "link" in practice.page.page.inner_text(".problem")
    assert practice.page.page.evaluate("practice.stage") == "asked" and len(read_answers(practice.record)) == kept
    practice.page.context.set_offline(False)
    practice.page.page.click("button.withheld")
    practice.marked()
    assert len(read_answers(practice.record)) == kept + 1


def test_on_a_phone_nothing_is_cut_off_and_beside_the_scope_the_chart_is_whole(practice: Practice) -> None:
    page = practice.page.page
    practice.ask("boat_or_beacon", 3)
    box = page.query_selector("canvas.chart").bounding_box()
    assert box["y"] + box["height"] <= 800, "the chart ends within the screen"
    try:
        page.set_viewport_size({"width": 390, "height": 844})
        practice.page.until("innerWidth === 390", PATIENCE_S)
        wide = page.evaluate("[document.querySelector('#practice').scrollWidth, innerWidth]")
        assert wide[0] <= wide[1]
    finally:
        page.set_viewport_size({"width": 1280, "height": 800})
