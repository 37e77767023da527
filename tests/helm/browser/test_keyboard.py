"""The whole demo by keyboard alone, and by what a knob or remote sends: arrows, Enter, Escape.  No pointer is used."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from helm_page import Page
from helm_server import Server

from moonless.passage.way.route import read_gpx

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """Where the helm keeps routes: not the tester's own folder."""
    folder = tmp_path_factory.mktemp("data")
    before = os.environ.get("XDG_DATA_HOME")
    os.environ["XDG_DATA_HOME"] = str(folder)
    yield folder / "moonless" / "demo-routes"
    if before is None:
        del os.environ["XDG_DATA_HOME"]
    else:
        os.environ["XDG_DATA_HOME"] = before


@pytest.fixture(scope="module")
def page(browser: Any, kept: Path) -> Iterator[Page]:
    demo = Server("-m", "moonless", "demo", "--port", "0", "--no-browser")
    page = Page(browser, demo.address, 1280, 800, few_frames=True).open(wait_s=180.0)
    page.until("moonless.store.state.reading.echoes.length > 0", 90.0)
    yield page
    page.context.close()
    demo.stop()


@pytest.fixture(autouse=True)
def at_rest(page: Page) -> None:
    """Each test begins where a skipper would: nothing open.  By keys as well."""
    for _ in range(4):
        page.press("Escape")
    page.page.evaluate("document.activeElement?.blur()")


def focused(page: Page) -> str:
    return str(page.page.evaluate("document.activeElement?.dataset?.name ?? document.activeElement?.textContent ?? ''"))


def words(page: Page) -> str:
    return str(page.page.inner_text("#tool"))


def choose(page: Page, name: str) -> None:
    """Go to a control as a knob does: among the five, else on in the list behind the last of them."""
    page.press("Enter")
    five = page.page.evaluate("[...document.querySelectorAll('#bar .blade')].map(b => b.dataset.name)")
    names = five
    for target in [name] if name in five else ["more", name]:
        for _ in range(len(names) + 1):
            if focused(page) == target:
                break
            page.press("ArrowRight")
        assert focused(page) == target, f"no control is called {target}"
        page.press("Enter")
        names = page.page.evaluate("[...document.querySelectorAll('#list .blade')].map(b => b.dataset.name)")


def test_every_control_is_reached_with_arrows_and_enter(page: Page) -> None:
    before = page.state("settings.rangeIndex")
    for name, condition in (
        ("farther", f"moonless.store.state.settings.rangeIndex === {before + 1}"),
        ("range", "!moonless.store.state.settings.rangeHeld"),
        ("light", "moonless.store.state.settings.look === 'night'"),
        ("trails", "moonless.store.state.settings.trails === 'short'"),
        ("sight", "moonless.store.state.affairs.sight !== 'unsure'"),
        ("pause", "moonless.store.state.affairs.paused"),
    ):
        choose(page, name)
        page.until(condition)
        # What was chosen by hand is put back last by going back, and the range with it.
        for _ in range(2):
            page.press("Escape")
        page.page.evaluate("document.activeElement?.blur()")
    page.press("p")
    page.until("!moonless.store.state.affairs.paused")


def test_an_echo_is_found_asked_and_answered(page: Page) -> None:
    page.press("ArrowRight")
    page.until("moonless.store.state.touched !== null")
    assert page.page.locator("#card h2").inner_text() != ""
    page.press("Enter")
    assert focused(page).startswith("I see it")
    page.press("Enter")
    page.until("!(document.activeElement?.textContent ?? 'I see it').startsWith('I see it')")
    # The answers: boat, buoy ...; one step on from the first.
    first = focused(page)
    page.press("ArrowRight")
    assert focused(page) not in ("", first)
    page.press("Enter")
    page.until("moonless.store.state.answer !== null && /noted|kept/.test(moonless.store.state.answer)")


def test_a_measure(page: Page) -> None:
    choose(page, "measure")
    page.press("ArrowUp", "ArrowUp", "ArrowRight")
    assert words(page).startswith("From the boat:")
    page.press("Enter", "ArrowRight", "ArrowRight")
    assert words(page).startswith("Between the two:")
    page.press("Escape", "Enter")
    assert page.page.evaluate("moonless.box.now") is None


def test_index_lines(page: Page) -> None:
    choose(page, "lines")
    before = page.state("settings.parallel.offM")
    page.press("ArrowRight", "ArrowRight")
    assert page.state("settings.parallel.offM") > before
    page.press("Escape")
    for _ in range(6):
        if focused(page) == "none":
            break
        page.press("ArrowLeft")
    page.press("Enter")
    assert page.state("settings.parallel") is None


def test_a_trial(page: Page) -> None:
    choose(page, "trial")
    first = words(page)
    page.press("ArrowRight", "ArrowRight", "ArrowUp", "Enter")
    assert words(page) != first and "Trial in 1 min" in words(page)
    page.press("Escape", "Escape")
    assert page.page.evaluate("moonless.box.now") is None
    page.until("moonless.store.state.trial === null")


def test_a_route_is_drawn_checked_kept_and_followed(page: Page, kept: Path) -> None:
    choose(page, "draw")
    for _ in range(6):
        page.press("ArrowUp")
    page.press("Enter")
    for _ in range(3):
        page.press("ArrowLeft")
    page.press("Enter")
    assert page.page.evaluate("moonless.tools.route.draft.points.length") == 3
    page.until("moonless.tools.route.unanswered === 0", 40.0)
    assert "Route, 3 points" in words(page)
    # Back once goes to the tool's controls; the arrows go among them.
    page.press("Escape")
    for _ in range(6):
        if focused(page) == "save":
            break
        page.press("ArrowLeft")
    page.press("Enter")
    assert focused(page) == "save", "the name stands already: one press keeps it"
    assert not kept.exists() or not list(kept.iterdir()), "nothing is kept before it is asked for"
    page.press("ArrowRight", "Enter")
    page.until("moonless.store.state.reading?.plan?.route.length === 3", 40.0)
    files = list(kept.iterdir())
    assert len(files) == 1 and len(read_gpx(files[0]).waypoints) == 3
    page.press("j")
    page.until("document.querySelector('.sheet-over:not([hidden])')?.textContent.includes('Followed now')")
    page.press("ArrowRight")
    assert focused(page) == "follow none"
    page.press("Enter")
    page.until("document.querySelector('.sheet-over:not([hidden])')?.textContent.includes('No route is followed')")
    page.press("Escape")


def test_the_lock_and_the_sheets(page: Page) -> None:
    page.press("?")
    assert page.page.evaluate("document.querySelector('.sheet-over:not([hidden]) h2').textContent") == "Keys"
    # It opens at its beginning, on its own button.
    assert page.page.evaluate("document.querySelector('section[aria-label=Keys]').scrollTop") == 0
    page.press("Escape", "x")
    assert page.state("locked")
    page.press("ArrowRight", "q", "c")
    assert page.state("touched") is None and page.page.evaluate("moonless.box.now") is None
    page.press("Enter", "Tab", "Enter")
    assert not page.state("locked")


def test_every_key_of_the_sheet_of_keys_is_one_of_the_manual(page: Page) -> None:
    shown = page.page.evaluate("[...document.querySelectorAll('section[aria-label=Keys] dt')].map(d => d.textContent)")
    manual = (Path(__file__).parents[3] / "docs" / "helm.md").read_text(encoding="utf-8")
    rows = {line.split("|")[1] for line in manual.splitlines() if line.startswith("| `")}
    told = {key.strip(" `,") for row in rows for key in row.replace(",", " ").split()}
    assert len(shown) == len(set(shown)), "a key is told twice"
    missing = [s for s in shown if len(s) == 1 and s not in told]
    assert missing == [], "the manual does not tell these keys"
