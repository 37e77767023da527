"""A browser and servers to look at; skipped visibly where there is no Chromium."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest
from helm_server import ARGS, CHROMIUM, HERE, Server, need_browser


@pytest.fixture(scope="module")  # its driver keeps an event loop running, which must end with the browser's own tests
def browser() -> Iterator[Any]:
    # Of one module only: while it is open, playwright's loop runs in this thread and no test could run its own.
    need_browser()
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        chromium = playwright.chromium.launch(executable_path=str(CHROMIUM), args=ARGS)
        yield chromium
        chromium.close()


@pytest.fixture(scope="module")
def made_helm() -> Iterator[str]:
    need_browser()
    server = Server(str(HERE / "helm_made.py"))
    yield server.address
    server.stop()


@pytest.fixture
def young_helm() -> Iterator[str]:
    """A made helm of this test alone: its story has just begun, however slow the machine is."""
    need_browser()
    server = Server(str(HERE / "helm_made.py"))
    yield server.address
    server.stop()
