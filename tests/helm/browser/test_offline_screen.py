"""A screen whose helm has gone: opened from what it kept, it says so at once, and how old its picture is."""

from __future__ import annotations

from typing import Any

import pytest
from helm_page import Page, assert_night
from helm_server import HERE, Server

pytestmark = pytest.mark.browser


@pytest.mark.parametrize(("width", "height"), [(1280, 800), (390, 844)])
def test_a_lost_link_is_said_with_the_age_of_the_picture(browser: Any, width: int, height: int) -> None:
    server = Server(str(HERE / "helm_made.py"))
    page = Page(browser, server.address, width, height).open()
    server.stop()
    page.until("document.getElementById('say').textContent.includes('link to the helm is lost')", 8.0)
    first = page.page.inner_text("#say")
    assert "what you see is" in first and first.rstrip(".").endswith("old")
    page.page.wait_for_timeout(4000)
    assert page.page.inner_text("#say") != first, "the age of the picture stands still"
    # What was the present no longer looks like it: no speed, and the picture fades.
    assert page.page.evaluate("document.querySelector('#arc text.loud')?.textContent ?? ''") == ""
    say = page.page.locator("#say").bounding_box()
    assert say is not None and say["y"] + say["height"] <= height and say["x"] >= 0
    assert_night(page.picture())
    page.context.close()


def test_on_a_phone_upright_the_call_and_the_speed_are_read_at_a_glance(browser: Any, made_helm: str) -> None:
    page = Page(browser, made_helm, 390, 844).open()
    page.until("document.getElementById('arc')?.textContent.includes('goes with what is seen')")
    size = page.page.evaluate("parseFloat(getComputedStyle(document.getElementById('say')).fontSize)")
    assert size >= 26, "too small for a phone at arm's length"
    texts = page.page.evaluate("[...document.querySelectorAll('#arc text')].map(t => t.textContent)")
    assert any("8 kn" in t for t in texts) and any("6.5 kn goes with what is seen" in t for t in texts)
    for text in page.page.locator("#arc text").all():
        box = text.bounding_box()
        assert box is None or (box["x"] >= 0 and box["x"] + box["width"] <= 390)
    page.context.close()


def test_it_opens_from_what_it_kept_when_no_helm_answers(browser: Any) -> None:
    server = Server(str(HERE / "helm_made.py"))
    page = Page(browser, server.address).open()
    page.until("navigator.serviceWorker.controller !== null")
    # The page tells its worker after some seconds what to keep.
    page.page.wait_for_timeout(9000)
    server.stop()
    page.page.reload()
    page.until("document.getElementById('say')?.textContent.includes('Looking for the helm')", 15.0)
    assert page.page.evaluate("document.querySelectorAll('#arc').length") == 1
    assert_night(page.picture())
    # And nothing that the helm told was kept.
    kept = page.page.evaluate(
        "caches.open('moonless-2').then(c => c.keys()).then(keys => keys.map(k => new URL(k.url).pathname))"
    )
    assert "/" in kept and not any("chart" in path or "live" in path or ".mvt" in path for path in kept)
    assert not any("key=" in path for path in kept)
    page.context.close()


def test_what_is_needed_to_install_it_is_there(browser: Any, made_helm: str) -> None:
    page = Page(browser, made_helm).open()
    manifest = page.page.evaluate("fetch('manifest.webmanifest').then(r => r.json())")
    assert manifest["display"] == "fullscreen" and manifest["start_url"] and manifest["icons"]
    assert manifest["background_color"] == manifest["theme_color"] == "#000000", "an opening app would flash"
    assert page.page.evaluate(f"fetch('{manifest['icons'][0]['src']}').then(r => r.ok)")
    page.context.close()
