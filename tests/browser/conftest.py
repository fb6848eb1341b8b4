"""A server of the pages in a process of its own, and a browser; both are there once for all tests of the folder."""

from __future__ import annotations

import os
import shutil
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from tests.browser.walking import Visitor
from tests.security.visitor import served as serving

CHROMIUM = os.environ.get("SWARDKEY_CHROMIUM") or shutil.which("chromium") or "/usr/bin/chromium"
UNSEEN = "so no page is tried in a browser: the path, reload, keyboard, accessibility, other hosts"
FLAGS = ["--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-component-update"]


@dataclass(frozen=True)
class Served:
    """Where the pages are, and the seconds until the first was there."""

    url: str
    ready: float
    home: Path


@pytest.fixture(scope="session")
def served(browser: Any, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """`swardkey serve` on a free port, with a home of its own; not started where there is no browser."""
    begun = time.monotonic()
    with serving(tmp_path_factory.mktemp("browser-home")) as server:
        yield Served(f"http://{server.name}", time.monotonic() - begun, server.home)


@pytest.fixture(scope="session")
def browser() -> Iterator[Any]:
    """A headless browser of this machine."""
    playwright = pytest.importorskip("playwright.sync_api", reason=f"playwright is not installed, {UNSEEN}")
    if not Path(CHROMIUM).is_file():
        pytest.skip(f"there is no chromium at {CHROMIUM}, {UNSEEN}")
    with playwright.sync_playwright() as running:
        found = running.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        yield found
        found.close()


@pytest.fixture
def visitor(served: Served, browser: Any) -> Iterator[Visitor]:
    """Someone with a phone, to whom nothing may go wrong and nothing may come from elsewhere."""
    found = Visitor(browser, served.url)
    yield found
    assert found.elsewhere == []
    assert found.faults == []
    found.close()
