"""The door's pages in a browser: a code typed, a code read by a camera, and light that is night's alone."""

from __future__ import annotations

import io
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from helm_child import Child
from PIL import Image

from moonless.helm.door.address import own_addresses
from moonless.helm.door.pairing import Pairings

pytestmark = pytest.mark.browser
# As web/src/look/table.ts has them; what night's light may hold is held against the sheet's own test.
NIGHT_GREEN_MAX, NIGHT_BLUE_MAX = 24, 12


@pytest.fixture(scope="module")
def helm(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Child]:
    if not own_addresses():
        pytest.skip("this computer is on no network")
    made = Child(tmp_path_factory.mktemp("helm"), host="0.0.0.0")
    yield made
    made.kill()


def picture(page: Any) -> np.ndarray:
    return np.asarray(Image.open(io.BytesIO(page.screenshot())).convert("RGB"))


def is_nights(page: Any) -> bool:
    shown = picture(page)
    return bool(shown[..., 1].max() <= NIGHT_GREEN_MAX and shown[..., 2].max() <= NIGHT_BLUE_MAX and shown.max() > 150)


def test_a_tablet_is_paired_by_what_the_helm_shows(browser: Any, helm: Child) -> None:
    own, tablet = browser.new_page(), browser.new_context().new_page()
    own.goto(f"http://127.0.0.1:{helm.port}/screens")
    own.get_by_text("pair one that may act").click()
    own.wait_for_selector(".code")
    assert is_nights(own)
    tablet.goto(helm.address)
    assert tablet.url == helm.address + "pair" and is_nights(tablet)
    tablet.fill("input[name=code]", "0000 0000")
    tablet.click("button")
    tablet.wait_for_selector(".said")
    tablet.fill("input[name=code]", own.inner_text(".code"))
    tablet.fill("input[name=name]", "cockpit")
    assert is_nights(tablet)
    tablet.click("button")
    tablet.wait_for_url(helm.address)
    own.goto(f"http://127.0.0.1:{helm.port}/screens")
    assert "cockpit: may act" in own.inner_text("main")
    own.get_by_text("let go").click()
    own.wait_for_selector(".said")
    tablet.goto(helm.address)
    assert tablet.url == helm.address + "pair"


def test_the_code_on_the_page_is_read_by_another_library_and_pairs(browser: Any, helm: Child) -> None:
    cv2 = pytest.importorskip("cv2", reason="read back by OpenCV's own reader")
    own, phone = browser.new_page(), browser.new_context().new_page()
    own.goto(f"http://127.0.0.1:{helm.port}/screens")
    own.get_by_text("pair one that only looks").click()
    own.wait_for_selector("svg")
    read = ""
    for _ in range(40):  # until it has been painted
        read, _, _ = cv2.QRCodeDetector().detectAndDecode(picture(own)[..., ::-1].copy())
        if read:
            break
        own.wait_for_timeout(250)
    assert read.startswith(helm.address + "pair?with=")
    phone.goto(read)
    assert "The code has been read" in phone.inner_text("main")
    phone.click("button")
    phone.wait_for_url(helm.address)
    assert [one.role for one in Pairings(Path(helm.screens)).screens] == ["look"]
