"""The gate without a server: gradio's own addresses, the password, where uploads lie; and what is kept whole."""

from __future__ import annotations

import asyncio
import base64
import os
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any

import pytest

from app.records import RecordsError, open_records
from app.web import learning_page as learning
from app.web import network
from app.web.context import Context
from app.web.gate import STARTED, Gate
from app.web.network import MOST_WRONG, Password, PasswordError, ask_password, checked
from app.web.page import build_page
from app.web.serving import settle_gradio
from app.web.uploads import drop_old, plain_name
from model.control import Control
from model.identify import Key
from tests.app.page_visitor import Person, context_of

WORD = "dandelion-clock-77"


@pytest.fixture
def context(key: Key, control: Control) -> Context:
    return context_of(key, control)


async def behind(scope: Any, receive: Any, send: Any) -> None:
    """What the gate would let a request through to."""
    await send({"type": "http.response.start", "status": 299, "headers": []})
    await send({"type": "http.response.body", "body": b""})


def ask(gate: Gate, path: str = "/", method: str = "GET", near: str = "127.0.0.1", **headers: str) -> int:
    """The status of one request; 299 where it was let in."""
    told = {"host": "127.0.0.1:7860", **headers}
    raw = [(name.replace("_", "-").encode(), value.encode()) for name, value in told.items()]
    scope = {
        "type": "http",
        "method": method,
        "path": path,
        "headers": raw,
        "client": (near, 5),
        "server": ("10.1.2.3", 7860),
    }
    said: list[int] = []

    async def send(message: Any) -> None:
        if message["type"] == "http.response.start":
            said.append(message["status"])

    async def receive() -> Any:
        return {"type": "http.request", "body": b"{}"}

    asyncio.run(gate(scope, receive, send))
    return said[0]


def all_routes(routes: Iterable[Any]) -> Iterator[Any]:
    """Routes, and those of what is included among them."""
    for route in routes:
        inner = getattr(route, "original_router", None) or route
        yield from all_routes(inner.routes) if getattr(inner, "routes", None) else (route,)


def basic(word: str) -> str:
    return "Basic " + base64.b64encode(f"any:{word}".encode()).decode()


def test_of_gradios_addresses_only_those_of_the_pages_are_there(context: Context, tmp_path: Path) -> None:
    """Also those that a later gradio brings."""
    from gradio.routes import App

    gate = Gate(behind, tmp_path, {})
    used = {"/", "/theme.css", "/favicon.ico", "/robots.txt", "/manifest.json", "/pwa_icon", "/assets/{path:path}"}
    used |= {"/static/{path:path}", "/gradio_api/startup-events", "/gradio_api/app_id", "/gradio_api/queue/data"}
    used |= {"/gradio_api/heartbeat/{session_hash}", "/gradio_api/queue/join", "/gradio_api/upload"}
    used |= {f"/{place}{end}" for place in ("flora", "records", "training", "key") for end in ("", "/")}
    others = 0
    for route in all_routes(App.create_app(build_page(context)).routes):
        path, methods = str(getattr(route, "path", "")), getattr(route, "methods", None) or {"GET"}
        if path in used:
            continue
        for method in methods:
            others += 1
            assert ask(gate, path.replace("{", "").replace("}", "").replace(":", "_"), method) in (404, 405), path
    assert others > 50


def test_with_a_password_nothing_is_there_without_it(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    async def at_once(seconds: float) -> None:
        return None

    monkeypatch.setattr(network.asyncio, "sleep", at_once)
    gate = Gate(behind, tmp_path, {}, Password(WORD))
    for path in ("/", "/records", "/theme.css", "/paper/all/findings.csv"):
        assert ask(gate, path) == 401
        assert ask(gate, path, authorization=basic(WORD)) == 299
    assert [ask(gate, STARTED, near=near) for near in ("127.0.0.1", "10.9.9.9")] == [299, 401]
    assert [ask(gate, authorization=basic("guess"), near="10.9.9.9") for _ in range(MOST_WRONG + 1)][-2:] == [401, 429]
    assert ask(gate, authorization=basic(WORD), near="10.9.9.9") == 429
    assert ask(gate, authorization=basic(WORD), near="10.9.9.8") == 299


def test_opened_to_the_network_it_answers_to_the_address_it_was_reached_by(tmp_path: Path) -> None:
    gate, shut = Gate(behind, tmp_path, {}, Password(WORD)), Gate(behind, tmp_path, {})
    assert ask(gate, host="10.1.2.3:7860", authorization=basic(WORD)) == 299
    assert ask(gate, host="10.1.2.4:7860", authorization=basic(WORD)) == 400
    assert ask(shut, host="10.1.2.3:7860") == 400 and ask(shut, host="localhost:7860") == 299


@pytest.mark.parametrize("word", ["", "short", "aaaaaaaaaaaaaaaa", "abababababab"])
def test_an_easy_password_is_refused(word: str) -> None:
    with pytest.raises(PasswordError, match="too easy"):
        checked(word)


def test_opening_to_the_network_says_what_that_means(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("SWARDKEY_PASSWORD", WORD)
    assert ask_password() == WORD
    said = capsys.readouterr().err
    assert "Nothing is encrypted" in said and "sees and changes everything" in said and WORD not in said
    monkeypatch.setattr(network.sys, "stdin", type("Shut", (), {"isatty": lambda self: False})())
    with pytest.raises(PasswordError, match="takes a password"):
        ask_password()


def test_settings_of_gradio_come_from_nowhere_else(tmp_path: Path) -> None:
    before = dict(os.environ)
    try:
        os.environ.update({"GRADIO_SHARE": "True", "GRADIO_ALLOWED_PATHS": "/", "GRADIO_SERVER_NAME": "0.0.0.0"})
        settle_gradio(tmp_path)
        found = {name for name in os.environ if name.startswith("GRADIO_")}
        assert not found & {"GRADIO_SHARE", "GRADIO_ALLOWED_PATHS", "GRADIO_SERVER_NAME"}
        assert os.environ["GRADIO_RUN_HISTORY"] == "False" and os.environ["GRADIO_TEMP_DIR"] == str(tmp_path)
    finally:
        os.environ.clear()
        os.environ.update(before)


@pytest.mark.parametrize(
    ("given", "kept"),
    [
        ("a/b\\c.jpg", "c.jpg"),
        ("..", "photo"),
        ("", "photo"),
        ("nul", "_nul"),
        ("a\0\n:b.jpg", "a___b.jpg"),
        ("x. . ", "x"),
    ],
)
def test_names_of_uploads_are_plain(given: str, kept: str) -> None:
    assert plain_name(given) == kept
    assert len(plain_name("é" * 500 + ".jpg")) <= 101 and plain_name("é" * 500 + ".jpg").endswith(".jpg")


def test_what_nobody_took_in_goes_after_a_day(tmp_path: Path) -> None:
    old, new, waiting = tmp_path / "a", tmp_path / "b", tmp_path / "waiting" / "c"
    for folder in (old, new, waiting):
        folder.mkdir(parents=True)
        (folder / "leaf.jpg").write_bytes(b"x")
    for folder in (old, waiting, waiting.parent):
        os.utime(folder, (1e9, 1e9))
    drop_old(tmp_path)
    assert (old.exists(), new.exists(), waiting.exists(), waiting.parent.exists()) == (False, True, False, True)


def test_photos_of_one_name_are_all_taken(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    files = []
    for number in range(3):
        folder = tmp_path / str(number)
        folder.mkdir()
        (folder / "image.jpg").write_bytes(b"%d" % number)
        files.append(str(folder / "image.jpg"))
    address, _ = learning.take_files({}, files)
    names = learning.pending(address)
    assert learning.take_files({}, []) == ({}, [])
    assert names == ["image-2.jpg", "image-3.jpg", "image.jpg"]
    assert not any((tmp_path / str(number)).exists() for number in range(3))


def test_a_visit_is_kept_whole_or_not_at_all(context: Context, monkeypatch: pytest.MonkeyPatch) -> None:
    from app.records.book import Book

    person = Person(context)
    person.press("look").prove()
    person.press("onward").press("make_plan", lawn="buffalo", place="lawn", month="11", state="NSW").choose_a_spray()
    person.press("to_record")
    told = {"day": "2026-11-25", "who": "Sam", "client": "Whole", "address": "1 Rill Street", "state": "NSW"}

    def broken(*_: Any) -> None:
        raise RecordsError("the disk is full")

    with monkeypatch.context() as patch:
        patch.setattr(Book, "add_plan", broken)
        assert "disk is full" in person.press("keep", **told).notices[0]
    with open_records() as records:
        assert (records.visits(), records.clients()) == ((), ())
    assert person.press("keep", **told).title == "The record of the visit"
    with open_records() as records:
        assert len(records.visits()) == 1 and records.draft(person.plant).visit == 1
