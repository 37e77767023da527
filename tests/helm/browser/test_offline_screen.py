"""A screen whose helm has gone: opened from what it kept, it says so at once, and how old its picture is."""

from __future__ import annotations

from typing import Any

import pytest
from helm_page import Page, assert_night
from helm_server import HERE, Server

pytestmark = pytest.mark.browser

ALL_KEPT = """caches.open('moonless-2').then(c => c.keys()).then(keys => {
  const kept = new Set(keys.map(k => new URL(k.url).pathname));
  const all = performance.getEntriesByType('resource').map(e => new URL(e.name).pathname);
  const made = all.filter(path => path.includes('/assets/'));
  return ['/', '/icon.svg', '/manifest.webmanifest', ...made].every(path => kept.has(path));
})"""


@pytest.mark.parametrize(("width", "height"), [(1280, 800), (390, 844)])
def test_a_lost_link_is_said_with_the_age_of_the_picture(browser: Any, width: int, height: int) -> None:
    server = Server(str(HERE / "helm_made.py"))
    page = Page(browser, server.address, width, height).open()
    server.stop()
    page.until("document.getElementById('say').textContent.includes('link to the helm is lost')")
    first = page.page.inner_text("#say")
    assert "what you see is" in first and first.rstrip(".").endswith("old")
    page.until(f"document.getElementById('say').innerText !== {first!r}")  # the age of the picture does not stand still
    # What was the present no longer looks like it: no speed, and the picture fades.
    assert page.page.inner_text("#speed b") == "speed —"
    say = page.page.locator("#say").bounding_box()
    assert say is not None and say["y"] + say["height"] <= height and say["x"] >= 0
    assert_night(page.picture())
    page.context.close()


def test_on_a_phone_upright_the_call_and_the_speed_are_read_at_a_glance(browser: Any, made_helm: str) -> None:
    page = Page(browser, made_helm, 390, 844).open()
    page.until("document.getElementById('speed')?.textContent.includes('by sight')")
    # An order, as the helm gives one; the sentence of a call may be longer and stands smaller.
    size = page.page.evaluate(
        """(() => {
          const { store } = moonless, { reading } = store.state;
          store.send({ type: 'reading', at: performance.now(), reading: { ...reading, instruction: {
            do: 'turn', to_deg: 202, to_kn: null, say: 'TURN STARBOARD 90° to 202',
            because: 'Vessel, port bow, four cables, nearest one cable in one minute. Rule 17(a)(ii): act.' } } });
          return parseFloat(getComputedStyle(document.getElementById('say')).fontSize);
        })()"""
    )
    assert size >= 26, "too small for a phone at arm's length"
    because = page.page.inner_text("#because")
    # The order's course as the compass at the wheel shows it, then why, without the rule.
    assert because.partition("magnetic. ")[2].startswith("Vessel, port bow") and "Rule" not in because
    for what in ("#speed b", "#speed span", "#say", "#because"):
        box = page.page.locator(what).bounding_box()
        assert box is not None and box["x"] >= 0 and box["x"] + box["width"] <= 390 and box["y"] + box["height"] <= 844
    assert page.page.inner_text("#speed b") == "8 kn"
    page.context.close()


def test_it_opens_from_what_it_kept_when_no_helm_answers(browser: Any) -> None:
    server = Server(str(HERE / "helm_made.py"))
    page = Page(browser, server.address).open()
    page.until("navigator.serviceWorker.controller !== null")
    # The page tells its worker after some seconds what to keep: all that it is made of.
    for _ in range(1200):
        if page.page.evaluate(ALL_KEPT):
            break
        page.page.wait_for_timeout(100)
    server.stop()
    page.page.reload()
    page.until("document.getElementById('say')?.textContent.includes('does not answer, last heard')")
    assert "see that its computer is on" in page.page.inner_text("#words"), "a cause is told"
    assert page.page.evaluate("document.querySelectorAll('#speed').length") == 1
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
