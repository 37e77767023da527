"""The time bar of a real recording, driven in a real browser: any place of it is gone on from, and told of."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import pytest
from bench.many_runs.record import record
from helm_page import Page
from helm_server import Server, need_browser

from moonless.chart.library import Chart
from moonless.scene.file import demo_folder
from moonless.scene.player import ScenePlayer
from moonless.scene.story import open_demo

pytestmark = pytest.mark.browser

# Waited for, not timed: the recording is made here, and the very first turn compiles.
PATIENCE_S = 240.0
LENGTH_S = 150.0


@pytest.fixture(scope="module")
def page(browser: Any, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Page]:
    need_browser()
    path = tmp_path_factory.mktemp("run") / "run.mcap"
    scene = open_demo()
    scene = replace(scene, duration_s=LENGTH_S, radar=replace(scene.radar, n_spoke=256, n_cell=192))
    record(ScenePlayer(scene), Chart.open(list(scene.waters.paths)), path, with_video=True)
    words = [
        "helm",
        str(path),
        "--chart",
        str(demo_folder() / "waters.gpkg"),
        "--boat",
        str(demo_folder() / "boat.toml"),
        "--port",
        "0",
    ]
    server = Server("-c", f"from moonless.cli import main; main({json.dumps(words)})")
    page = Page(browser, server.address, 1280, 800)
    page.page.goto(server.address)
    yield page
    page.context.close()
    server.stop()


STORY = "(moonless.store.state.affairs?.story_ms ?? 0)"
ECHOES = "(moonless.store.state.reading?.echoes ?? [])"


def go_to(page: Page, share: float) -> float:
    """Touch the bar at a share of its length; return the time that is meant, Unix ms."""
    box = page.page.query_selector("#timebar .track").bounding_box()
    page.page.mouse.click(box["x"] + share * box["width"], box["y"] + box["height"] / 2)
    first, last = page.page.evaluate("fetch('timebar').then(r => r.json()).then(b => [b.first_ms, b.last_ms])")
    return float(first + share * (last - first))


def arrived(page: Page, at_ms: float) -> list[int]:
    """Wait until the recording goes on from a place and echoes are told of it; return their numbers."""
    # It goes on meanwhile, at the pace of life: what matters is that it does so from there.
    page.until(f"{STORY} > {at_ms} - 5000 && {STORY} < {at_ms} + 45000 && {ECHOES}.length > 4", PATIENCE_S)
    page.until("document.querySelector('#timebar .say').textContent !== 'going there'", PATIENCE_S)
    return list(page.page.evaluate(f"{ECHOES}.map(e => e.id)"))


def test_a_place_not_played_yet_and_back_again(page: Page) -> None:
    page.until("window.moonless !== undefined && !document.getElementById('timebar').hidden", PATIENCE_S)
    page.until(f"{ECHOES}.length > 4", PATIENCE_S)
    later = go_to(page, 0.7)
    assert arrived(page, later)
    # While it is being read nothing of before is left standing: what is told is of this place.
    assert abs(page.page.evaluate("Date.parse(moonless.store.state.reading.time)") - later) < 45_000
    back = go_to(page, 0.15)
    arrived(page, back)
    assert page.page.evaluate(STORY) < later - 30_000
    assert page.complaints == []


def test_keys_go_to_the_end_and_a_minute_back(page: Page) -> None:
    page.page.focus("#timebar .track")
    page.page.keyboard.press("End")
    page.until(f"{STORY} > 0 && document.querySelector('#timebar .say').textContent !== 'going there'", PATIENCE_S)
    end = page.page.evaluate(STORY)
    page.page.focus("#timebar .track")
    page.page.keyboard.press("PageDown")  # a minute
    page.until(f"{STORY} < {end} - 30000 && {ECHOES}.length > 4", PATIENCE_S)
