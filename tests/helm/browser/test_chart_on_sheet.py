"""The chart on the sheet, in a real browser: drawn from tiles, told by form, back by itself after what goes wrong."""

from __future__ import annotations

import base64
import io
from collections.abc import Iterator
from typing import Any

import numpy as np
import pytest
from helm_page import NIGHT_BLUE_MAX, NIGHT_GREEN_MAX, Page, assert_night
from helm_server import HERE, Server
from numpy.typing import NDArray
from PIL import Image

pytestmark = pytest.mark.browser

WHOLE = "moonless.screen.isChartWhole && moonless.screen.things.marks.length > 0"


@pytest.fixture(scope="module")
def page(browser: Any, made_helm: str) -> Iterator[Page]:
    page = Page(browser, made_helm).open()
    # The boat stands still, so that everything of the made waters stays on the sheet.
    page.press("p")
    page.rest()
    page.until(WHOLE, 60.0)
    yield page
    page.context.close()


class Watched:
    """Every frame the page shows, looked at for light that is not night's."""

    def __init__(self, page: Page) -> None:
        self.frames = 0
        self.worst = (0, 0)
        self._cdp = page.context.new_cdp_session(page.page)
        self._cdp.on("Page.screencastFrame", self._take)
        self._cdp.send("Page.startScreencast", {"format": "png", "everyNthFrame": 1})

    def _take(self, event: Any) -> None:
        picture = np.asarray(Image.open(io.BytesIO(base64.b64decode(event["data"]))).convert("RGB"))
        self.frames += 1
        self.worst = (
            max(self.worst[0], int(picture[..., 1].max())), max(self.worst[1], int(picture[..., 2].max()))
        )  # fmt: skip
        self._cdp.send("Page.screencastFrameAck", {"sessionId": event["sessionId"]})

    def end(self) -> None:
        self._cdp.send("Page.stopScreencast")
        assert self.frames > 0
        assert self.worst[0] <= NIGHT_GREEN_MAX and self.worst[1] <= NIGHT_BLUE_MAX


def land_share(page: Page) -> float:
    """Return the share of the sheet that is drawn as land."""
    return land_of(page.picture())


def land_of(picture: NDArray[np.uint8]) -> float:
    """Return the share of a picture that is land's colour (as web/src/look/table.ts has it at night)."""
    return float((np.abs(picture.astype(int) - (66, 3, 1)).max(axis=-1) <= 1).mean())


def test_tiles_are_drawn_and_say_what_stands_where(page: Page) -> None:
    page.until("moonless.screen.things.dangers.length === 3")
    names = page.page.evaluate("moonless.screen.things.marks.map(m => m.name)")
    assert sorted(n for n in names if n is not None) == ["Gannet beacon", "Petrel beacon", "Tern beacon"]
    dangers = page.page.evaluate("moonless.screen.things.dangers.map(d => [d.object, d.depthM, d.aroundM])")
    assert sorted(dangers) == [["OBSTRN", 2.1, 5.0], ["UWTROC", 0.6, 5.0], ["WRECKS", 1.8, 5.0]]
    (bridge,) = page.page.evaluate("moonless.screen.things.bridges.map(b => [b.name, b.clearM, b.widthM])")
    assert bridge == ["Heron bridge", 7.5, 30.0]
    lights = page.page.evaluate("moonless.screen.things.lights.flatMap(l => l.sectors.map(s => s.colours))")
    assert sorted(lights) == ["G", "R", "W"]
    assert land_share(page) > 0.01
    assert any(url.endswith(".mvt") for url in page.asked)


def test_what_no_cell_covers_is_told(page: Page) -> None:
    page.page.evaluate("moonless.store.send({ type: 'set', change: { rangeIndex: 11, rangeHeld: true } })")
    page.until(WHOLE)
    # Cross-hatching: strokes of the contour's ink in both directions, where the sheet would else be plain.
    hatched = page.until_it_shows(lambda picture: 0.04 < (picture[60:160, 40:200, 0] > 20).mean() < 0.5)
    assert 0.04 < (hatched[60:160, 40:200, 0] > 20).mean() < 0.5
    page.page.evaluate("moonless.store.send({ type: 'set', change: { rangeIndex: 6 } })")
    page.until(WHOLE)


def test_dangers_are_told_apart_by_form_alone(page: Page) -> None:
    page.rest(rangeIndex=5, lay="beside")
    page.until(WHOLE)
    page.drawn()
    patches = page.page.evaluate(
        """() => {
          const ctx = document.getElementById('ink').getContext('2d'), out = {};
          const lat = u => Math.atan(Math.sinh((0.5 - u) * 2 * Math.PI)) * 180 / Math.PI;
          for (const d of moonless.screen.things.dangers) {
            const [x, y] = moonless.screen.pixelOf(lat(d.uy), (d.ux - 0.5) * 360);
            const data = ctx.getImageData(Math.round(x) - 9, Math.round(y) - 9, 19, 19).data;
            out[d.object] = Array.from({ length: 361 }, (_, i) => (data[4 * i + 3] > 70 ? 1 : 0));
          }
          return out;
        }"""
    )
    page.page.evaluate("moonless.store.send({ type: 'set', change: { rangeIndex: 6, lay: 'over' } })")
    stencils = {kind: np.array(cells, bool) for kind, cells in patches.items()}
    assert len(stencils) == 3
    kinds = list(stencils)
    for i, a in enumerate(kinds):
        assert stencils[a].sum() >= 8, f"{a} draws next to nothing"
        for b in kinds[i + 1 :]:
            shared = (stencils[a] & stencils[b]).sum() / (stencils[a] | stencils[b]).sum()
            assert shared < 0.75, f"{a} and {b} look alike ({shared:.2f} of their ink is shared)"


@pytest.mark.parametrize("comes_back", [True, False])
def test_a_lost_context_flashes_nothing_and_the_chart_comes_back(page: Page, comes_back: bool) -> None:
    before = land_share(page)
    watched = Watched(page)
    page.page.evaluate(
        """(() => {
          window.lost = document.querySelector('#chart canvas').getContext('webgl2').getExtension('WEBGL_lose_context');
          lost.loseContext();
        })()"""
    )
    page.until("!moonless.screen.isChartWhole")
    page.page.wait_for_timeout(300)
    if comes_back:
        page.page.evaluate("lost.restoreContext()")
    page.until(WHOLE)
    page.until_it_shows(lambda picture: land_of(picture) > 0.6 * before)
    watched.end()
    assert_night(page.picture())
    assert land_share(page) > 0.6 * before, "the chart did not come back"


def test_a_tile_that_did_not_come_is_asked_for_again(browser: Any) -> None:
    server = Server(str(HERE / "helm_made.py"))
    page = Page(browser, server.address)
    refused: list[str] = []

    def refuse(route: Any) -> None:
        refused.append(route.request.url)
        route.abort()

    page.context.route("**/*.mvt", refuse)
    page.open()
    for _ in range(600):
        if refused:
            break
        page.page.wait_for_timeout(100)
    assert refused and page.page.evaluate("moonless.screen.things.marks.length") == 0
    page.context.unroute("**/*.mvt")
    page.until("moonless.screen.things.marks.length > 0")
    page.context.close()
    server.stop()


def test_a_link_that_was_lost_brings_the_chart_it_could_not(browser: Any) -> None:
    server = Server(str(HERE / "helm_made.py"))
    page = Page(browser, server.address).open()
    page.until(WHOLE, 60.0)
    server.process.send_signal(19)  # SIGSTOP: a helm that answers nothing, as on a link gone silent
    page.page.evaluate("moonless.store.send({ type: 'set', change: { rangeIndex: 9, rangeHeld: true } })")
    page.page.wait_for_timeout(1500)
    server.process.send_signal(18)  # SIGCONT
    page.until(WHOLE, 90.0)
    assert page.page.evaluate("moonless.screen.things.soundings.length") > 0
    server.stop()
    page.context.close()
