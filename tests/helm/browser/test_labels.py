"""Words over turns of the demo: none over another, none over the own boat, and what is called always on the sheet."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest
from helm_page import Page
from helm_server import Server

pytestmark = pytest.mark.browser

TURNS = 24
STATE = """(() => {
  const { screen, store } = moonless, p = screen.layout.picture, { reading } = store.state;
  const called = reading.instruction?.echo ?? null;
  const echo = reading.echoes.find(e => e.id === called);
  return {
    turn: reading.turn,
    words: screen.written,
    boat: screen.pixelOf(screen.boat.latDeg, screen.boat.lonDeg),
    picture: [p.x, p.y, p.x + p.width, p.y + p.height],
    called: echo === undefined ? null : screen.pixelOf(echo.lat, echo.lon),
  };
})()"""


@pytest.fixture(scope="module")
def demo(browser: Any) -> Iterator[str]:
    server = Server("-m", "moonless", "demo", "--port", "0", "--no-browser", "--speed", "4")
    yield server.address
    server.stop()


def overlap(a: dict[str, float], b: dict[str, float]) -> float:
    wide = min(a["x"] + a["w"], b["x"] + b["w"]) - max(a["x"], b["x"])
    high = min(a["y"] + a["h"], b["y"] + b["h"]) - max(a["y"], b["y"])
    return max(0.0, wide) * max(0.0, high)


@pytest.mark.parametrize(("width", "height"), [(1280, 800), (390, 844)])
def test_no_word_lies_on_another_and_what_is_called_is_on_the_sheet(
    browser: Any, demo: str, width: int, height: int
) -> None:
    page = Page(browser, demo, width, height).open(wait_s=300.0)
    page.rest(rangeHeld=False)
    seen = words = 0
    off: list[int] = []
    last = -1
    while seen < TURNS:
        page.until(f"moonless.store.state.reading !== null && moonless.store.state.reading.turn > {last}", 120.0)
        # After the frame that drew this turn.
        page.drawn()
        now = page.page.evaluate(STATE)
        last = now["turn"]
        seen += 1
        boxes = now["words"]
        words += len(boxes)
        for i, a in enumerate(boxes):
            for b in boxes[i + 1 :]:
                # A hair is allowed for rounding: boxes that touch.
                assert overlap(a, b) < 0.01, (a, b)
        x, y = now["boat"]
        hull = {"x": x - 9, "y": y - 16, "w": 18, "h": 28}
        assert all(overlap(hull, box) == 0 for box in boxes), "words on the own boat"
        if now["called"] is not None:
            left, top, right, bottom = now["picture"]
            cx, cy = now["called"]
            off.append(0 if left < cx < right and top < cy < bottom else 1)
    assert words > 5 * TURNS, "there is next to nothing to be in the way"
    # The range needs a breath to follow a call that has only come: never two turns together without what is called.
    assert "11" not in "".join(map(str, off)), off
    page.context.close()
