"""A server of the pages in a process of its own, and a browser; both are there once for all tests of the folder."""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

ROOT = Path(__file__).resolve().parents[2]
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
    home = tmp_path_factory.mktemp("browser-home")
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    environment = {**os.environ, "SWARDKEY_HOME": str(home), "PYTHONPATH": str(ROOT)}
    command = [sys.executable, "-c", "from app.command_line import main; main()", "serve", "--port", str(port)]
    begun, url = time.monotonic(), f"http://127.0.0.1:{port}"
    with (home / "serve.log").open("wb") as log:
        server = subprocess.Popen(command, env=environment, cwd=home, stdout=log, stderr=log)
    try:
        _wait_for(url, server, home / "serve.log")
        yield Served(url, time.monotonic() - begun, home)
    finally:
        server.terminate()
        server.wait(20)


def _wait_for(url: str, server: subprocess.Popen[bytes], log: Path) -> None:
    for _ in range(1200):
        if server.poll() is not None:
            break
        try:
            with urllib.request.urlopen(url, timeout=5) as answer:
                answer.read()
            return
        except OSError:
            time.sleep(0.05)
    raise AssertionError(f"the pages were not served: {log.read_text(encoding='utf-8')[-2000:]}")


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
