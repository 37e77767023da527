"""Take every picture of the helm that docs/ shows, from the demo: `python design/helm_pictures.py [NAME...]`.

Needs the built screens and Debian's Chromium.  The story is let run to a moment with a boat closing, and stands still
while the pictures are taken.
"""

from __future__ import annotations

import os
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

ROOT = Path(__file__).parents[1]
sys.path.insert(0, str(ROOT / "tests" / "helm"))

from helm_page import Page  # noqa: E402
from helm_server import ARGS, CHROMIUM, Server  # noqa: E402

OUT = ROOT / "docs" / "pictures"
SIZES = {
    "desktop": (1440, 900), "tablet": (1280, 800), "tablet-upright": (800, 1280), "phone": (390, 844),
    "phone-lying": (844, 390),
}  # fmt: skip
# Turns after which the story is looked at: the first minutes have boats on three sides.
FROM_TURN = 40
CLOSING = (
    f"moonless.store.state.reading.turn > {FROM_TURN}"
    " && ['turn', 'slow', 'stop'].includes(moonless.store.state.reading.instruction?.do)"
    " && moonless.store.state.standing.some(c => c.echo !== null)"
    " && moonless.store.state.reading.echoes.filter(e => e.is === 'vessel' && e.cog_deg !== null).length > 1"
)
# As a screen is from the beginning, with a long trail.
REST: dict[str, Any] = {"rangeHeld": False, "trails": "long"}

Step = Callable[[Page], None]


def keys(*names: str) -> Step:
    """Press keys one after another."""

    def act(page: Page) -> None:
        for name in names:
            page.press(name)
            page.page.wait_for_timeout(250)

    return act


def settings(**change: Any) -> Step:
    """Change what the screen keeps."""

    def act(page: Page) -> None:
        page.page.evaluate("change => moonless.store.send({ type: 'set', change })", change)

    return act


def touch_loudest(page: Page) -> None:
    """Touch what the first call speaks of."""
    page.page.evaluate(
        """(() => {
          const { reading, standing } = moonless.store.state;
          const echo = reading.instruction?.echo ?? standing.find(c => c.echo !== null)?.echo ?? null;
          moonless.store.send({ type: 'touch', echo });
        })()"""
    )


def more(page: Page) -> None:
    """Open the list of controls."""
    page.page.locator("#bar [data-name=more]").click()


def trial(page: Page) -> None:
    """Try what is offered, else thirty degrees to starboard."""
    keys("c", *["ArrowRight"] * 6)(page)
    page.page.wait_for_timeout(1200)


def plan(page: Page) -> None:
    """Open the plan, until the leg that is run stands there as pictures."""
    keys("t")(page)
    page.until("document.querySelector('section[aria-label=Plan] svg') !== null", 90.0)


def route(page: Page) -> None:
    """Draw a route across what lies ahead, so that a leg is refused."""
    settings(up="north", rangeIndex=8, rangeHeld=True)(page)
    page.page.wait_for_timeout(900)
    keys("q")(page)
    width = page.page.viewport_size["width"]
    for x, y in ((0.44, 0.3), (0.3, 0.22), (0.22, 0.42)):
        page.page.mouse.click(width * x, 800 * y)
        page.page.wait_for_timeout(300)
    page.until("moonless.tools.route.unanswered === 0", 30.0)
    page.page.wait_for_timeout(400)


SHOTS: dict[str, tuple[str, list[Step]]] = {
    "night-desktop": ("desktop", []),
    "night-tablet": ("tablet", []),
    "night-tablet-upright": ("tablet-upright", []),
    "night-phone": ("phone", []),
    "night-phone-lying": ("phone-lying", []),
    "dusk-tablet": ("tablet", [settings(look="dusk")]),
    "day-tablet": ("tablet", [settings(look="day")]),
    "day-phone": ("phone", [settings(look="day")]),
    "north-desktop": ("desktop", [settings(up="north", rangeIndex=7, rangeHeld=True)]),
    "radar-tablet": ("tablet", [settings(lay="radar")]),
    "beside-tablet": ("tablet", [settings(lay="beside")]),
    "controls-tablet": ("tablet", [more]),
    "controls-phone": ("phone", [more]),
    "echo-tablet": ("tablet", [touch_loudest]),
    "echo-phone": ("phone", [touch_loudest]),
    "echo-phone-lying": ("phone-lying", [touch_loudest]),
    "said-tablet": ("tablet", [keys(".")]),
    "keys-tablet": ("tablet", [keys("?")]),
    "lock-tablet": ("tablet", [keys("x")]),
    "trial-tablet": ("tablet", [trial]),
    "trial-phone": ("phone", [trial]),
    "plan-tablet": ("tablet", [plan]),
    "route-tablet": ("tablet", [route]),
}


def rested(page: Page) -> None:
    """Put a page to rest."""
    page.page.evaluate("moonless.tools.route.draft.clear()")
    page.rest(**REST)


def take(page: Page, names: list[str]) -> None:
    """Take the named pictures, each from rest.  One page is enough: it is laid out anew for each size."""
    for name in names:
        size, steps = SHOTS[name]
        width, height = SIZES[size]
        page.page.set_viewport_size({"width": width, "height": height})
        rested(page)
        # Until the boat and the range have been eased to their places.
        page.page.wait_for_timeout(4000)
        page.until("moonless.screen.isChartWhole", 60.0)
        for step in steps:
            step(page)
        page.page.wait_for_timeout(1500)
        page.page.screenshot(path=OUT / f"helm-{name}.png")
        print(name, flush=True)
    rested(page)


def main(names: list[str]) -> None:
    """Run the demo and take the pictures."""
    from playwright.sync_api import sync_playwright

    names = names or list(SHOTS)
    with tempfile.TemporaryDirectory() as data:
        os.environ["XDG_DATA_HOME"] = data  # nothing kept in the pictures' folder of routes
        demo = Server("-m", "moonless", "demo", "--port", "0", "--no-browser", "--speed", "2")
        try:
            with sync_playwright() as playwright:
                browser = playwright.chromium.launch(executable_path=str(CHROMIUM), args=ARGS)
                page = Page(browser, demo.address, *SIZES["tablet"]).open(wait_s=300.0)
                page.until(CLOSING, 900.0)
                page.press("p")
                page.until("moonless.store.state.affairs.paused")
                take(page, sorted(names, key=lambda name: list(SHOTS).index(name)))
                browser.close()
        finally:
            demo.stop()


if __name__ == "__main__":
    main(sys.argv[1:])
