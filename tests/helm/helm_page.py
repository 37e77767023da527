"""One page in a real browser, and how bright it is."""

from __future__ import annotations

import io
import time
from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image

# As web/src/look/table.ts states them.
NIGHT_GREEN_MAX = 24
NIGHT_BLUE_MAX = 12
HAS_PICTURE = (
    "moonless.store.state.reading !== null && moonless.screen.scan.newestAt > 0 && moonless.store.state.chart !== null"
)

# A new screen: nothing open, nothing in hand, a range that stays.
AT_REST = """(change => {
  document.getElementById('ask')?.remove();
  moonless.box.leave();
  moonless.drawers.close();
  document.activeElement?.blur();
  moonless.screen.eye.back();
  const { store } = moonless;
  store.send({ type: 'trial', trial: null });
  store.send({ type: 'lock', locked: false });
  store.send({ type: 'touch', echo: null });
  store.send({ type: 'set', change: {
    look: null, up: 'head', lay: 'over', rangeIndex: 6, rangeHeld: true, radarStrength: 0.8, dim: 0, hand: null,
    parallel: null, trails: 'off', tones: false, ...change,
  } });
})"""

# A page that draws a few times a second: where a processor draws for the graphics card every frame takes it a tenth of
# a second, and each key that a test presses waits for the frame before it.
FEW_FRAMES = """(() => {
  const soon = requestAnimationFrame.bind(window), live = new Set();
  let n = 0;
  window.requestAnimationFrame = draw => {
    const id = ++n;
    live.add(id);
    setTimeout(() => soon(now => live.delete(id) && draw(now)), 150);
    return id;
  };
  window.cancelAnimationFrame = id => live.delete(id);
})()"""


class Page:
    """One page with a record of what it asked for and complained of."""

    def __init__(
        self, browser: Any, address: str, width: int = 1024, height: int = 700, few_frames: bool = False
    ) -> None:
        self.address = address
        self.context = browser.new_context(viewport={"width": width, "height": height})
        if few_frames:
            self.context.add_init_script(FEW_FRAMES)
        self.page = self.context.new_page()
        self.complaints: list[str] = []
        self.asked: list[str] = []
        self.page.on("console", lambda m: self.complaints.append(m.text) if m.type in ("error", "warning") else None)
        self.page.on("pageerror", lambda e: self.complaints.append(str(e)))
        self.page.on("request", lambda r: self.asked.append(r.url))
        self.page.on("websocket", lambda w: self.asked.append(w.url))

    def open(self, wait_s: float = 120.0) -> Page:
        self.page.goto(self.address)
        self.until(HAS_PICTURE, wait_s)
        # Asked once on a new screen, and answered here: tests of other things begin after it.
        self.page.evaluate("moonless.store.send({ type: 'set', change: { tones: false } })")
        return self

    def state(self, what: str) -> Any:
        return self.page.evaluate(f"moonless.store.state.{what}")

    def rest(self, **change: Any) -> None:
        """Put the screen back to how a new one begins."""
        self.page.evaluate(AT_REST, change)

    def press(self, *keys: str) -> None:
        for key in keys:
            self.page.keyboard.press(key)

    def until(self, condition: str, wait_s: float = 60.0) -> None:
        """Wait for a condition.  Playwright's own way needs eval, which the page's policy forbids."""
        for _ in range(int(wait_s * 10)):
            if self.page.evaluate(f"Boolean({condition})"):
                return
            self.page.wait_for_timeout(100)
        raise AssertionError(f"still not so after {wait_s:g} s: {condition}")

    def drawn(self) -> None:
        """Wait until what has come until now is drawn: the frame begun before, and one more."""
        self.until(f"moonless.screen.frames >= {self.page.evaluate('moonless.screen.frames')} + 2", 60.0)

    def picture(self) -> NDArray[np.uint8]:
        """Return the rendered pixels, (height, width, 3).  A page just asked for has none yet: asked again a while."""
        from playwright.sync_api import Error

        for left in range(20, -1, -1):
            try:
                shot = self.page.screenshot()
                break
            except Error as problem:
                if left == 0 or "Unable to capture" not in str(problem):
                    raise
                time.sleep(0.1)
        return np.asarray(Image.open(io.BytesIO(shot)).convert("RGB"))

    def until_it_shows(self, what: Callable[[NDArray[np.uint8]], bool], wait_s: float = 60.0) -> NDArray[np.uint8]:
        """Take pictures until one shows it; the last one taken, whatever it shows."""
        ends = time.monotonic() + wait_s
        while not what(picture := self.picture()) and time.monotonic() < ends:
            self.page.wait_for_timeout(100)
        return picture


def luminance(picture: NDArray[np.uint8]) -> NDArray[np.float64]:
    """Relative luminance, 0..1.  Source: WCAG 2.2, "relative luminance" (sRGB)."""
    s = picture.astype(np.float64) / 255.0
    linear = np.where(s <= 0.04045, s / 12.92, ((s + 0.055) / 1.055) ** 2.4)
    weighted: NDArray[np.float64] = linear @ np.array([0.2126, 0.7152, 0.0722])
    return weighted


def assert_night(picture: NDArray[np.uint8]) -> None:
    assert picture[..., 1].max() <= NIGHT_GREEN_MAX
    assert picture[..., 2].max() <= NIGHT_BLUE_MAX
    light = luminance(picture)
    # Own choice: what is shouted may be as bright as the display's red, the sheet as a whole next to nothing.
    assert light.max() <= 0.23
    assert light.mean() <= 0.012
