"""What the server answers and to whom: its own addresses, the password, headers, files by known name, uploads."""

from __future__ import annotations

import base64
import json
import os
import time
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any, NamedTuple

import pytest
from anyio import create_task_group, fail_after, move_on_after, sleep, sleep_forever
from anyio.from_thread import start_blocking_portal
from fastapi import FastAPI

from app.records import RecordsError, open_records
from app.records.book import Book
from app.services.home import MOST_FAULTS, home
from app.web import network
from app.web.context import Context
from app.web.faults import errors_as_notices, write_fault
from app.web.frame import FormError, fault, for_pages
from app.web.message import read_message
from app.web.network import MOST_WRONG, Password, PasswordError, ask_password, checked
from app.web.new_photos import pending, take_files
from app.web.request_filter import CALL, PRESS, UPLOAD, RequestFilter
from app.web.security_headers import SecurityHeaders
from app.web.serving import _lifespan, make_app, set_up_gradio
from app.web.side_pages import SIDE_PAGES, SidePage
from app.web.uploads import Uploads, plain_name
from model.control import Control
from model.identify import Key
from tests.app.page_visitor import Person, context_of

WORD = "dandelion-clock-77"
CANARY = b"no page hands this out"


class Answer(NamedTuple):
    """What came back to one request."""

    status: int
    headers: dict[str, str]
    body: bytes


def ask(app: Any, path: str = "/", method: str = "GET", near: str = "127.0.0.1", **headers: str) -> Answer:
    """One request to an application, its path as it is written here."""
    given = {"host": "127.0.0.1:7860", **headers}
    path, _, query = path.partition("?")
    scope = {
        "type": "http",
        "method": method,
        "path": path,
        "raw_path": path.encode(),
        "query_string": query.encode(),
        "root_path": "",
        "scheme": "http",
        "headers": [(name.replace("_", "-").encode(), value.encode()) for name, value in given.items()],
        "client": (near, 5),
        "server": ("10.1.2.3", 7860),
    }
    sent: list[Any] = []

    async def send(message: Any) -> None:
        sent.append(message)

    async def receive() -> Any:
        return {"type": "http.request", "body": b"{}"}

    with start_blocking_portal() as portal:  # a browser of other tests may have a loop in this thread
        portal.call(app, scope, receive, send)
    found = {name.decode().lower(): value.decode() for name, value in sent[0]["headers"]}
    return Answer(sent[0]["status"], found, b"".join(message.get("body", b"") for message in sent[1:]))


async def behind(scope: Any, receive: Any, send: Any) -> None:
    """What the filter would let a request through to."""
    await send({"type": "http.response.start", "status": 299, "headers": []})
    await send({"type": "http.response.body", "body": b""})


def filtered(folder: Path, password: str = "") -> RequestFilter:
    return RequestFilter(behind, Uploads(folder), {}, {}, Password(password) if password else None)


@pytest.fixture
def context(key: Key, control: Control) -> Context:
    return context_of(key, control)


@pytest.fixture(scope="module")
def app(key: Key, control: Control, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Any]:
    """The whole application, with files around it that a handler which follows dots would find."""
    home = tmp_path_factory.mktemp("around") / "home"
    for lies in (home, home / "records", home.parent):
        lies.mkdir(exist_ok=True)
        for name in ("records.jpg", "pyproject.jpg", "passwd", "x"):
            (lies / name).write_bytes(CANARY)
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("SWARDKEY_HOME", str(home))
        patch.setenv("GRADIO_TEMP_DIR", str(home / "uploads"))
        yield make_app(context_of(key, control), home / "uploads")


def all_routes(routes: Iterable[Any]) -> Iterator[Any]:
    """Routes, and those of what is included or mounted among them."""
    for route in routes:
        inner = getattr(route, "original_router", None) or route
        yield from all_routes(inner.routes) if getattr(inner, "routes", None) else (route,)


def test_of_gradios_addresses_only_those_of_the_pages_and_the_api_are_there(app: Any, tmp_path: Path) -> None:
    """Also those that a later gradio brings."""
    used = {"/", "/theme.css", "/favicon.ico", "/robots.txt", "/manifest.json", "/pwa_icon", "/assets/{path:path}"}
    used |= {"/static/{path:path}", "/config", "/gradio_api/app_id", "/gradio_api/info", "/gradio_api/queue/data"}
    used |= {f"/{place}{end}" for place in ("flora", "records", "own", "training", "key") for end in ("", "/")}
    others = 0
    for route in all_routes(app.routes):
        path, methods = str(getattr(route, "path", "")), getattr(route, "methods", None) or {"GET"}
        ours = path.startswith(("/photo/", "/figure/", "/kept/", "/waiting/", "/collected/", "/paper/"))
        for method in methods:
            if ours or path in (used if method in ("GET", "HEAD") else {PRESS, CALL, UPLOAD}):
                continue
            others += 1
            plain = path.replace("{", "").replace("}", "").replace(":", "_")
            assert ask(filtered(tmp_path), plain, method).status in (404, 405), (method, path)
    assert others > 50


def basic(word: str) -> str:
    return "Basic " + base64.b64encode(f"any:{word}".encode()).decode()


def test_with_a_password_nothing_is_there_without_it(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    async def at_once(seconds: float) -> None:
        return None

    monkeypatch.setattr(network.asyncio, "sleep", at_once)
    shut = filtered(tmp_path, WORD)
    for path in ("/gradio_api/startup-events", "/no-such", "/gradio_api/file=/etc/passwd"):
        assert ask(shut, path).status == ask(shut, path, "PUT").status == 401
    for path in ("/", "/records", "/theme.css", "/paper/all/findings.csv", "/config"):
        assert ask(shut, path).status == 401
        assert ask(shut, path, authorization=basic(WORD)).status == 299
    guesses = [ask(shut, authorization=basic("guess"), near="10.9.9.9").status for _ in range(MOST_WRONG + 1)]
    assert guesses[-2:] == [401, 429]
    assert ask(shut, authorization=basic(WORD), near="10.9.9.9").status == 429
    assert ask(shut, authorization=basic(WORD), near="10.9.9.8").status == 299


def test_a_right_password_does_not_forget_the_wrong_ones(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    async def at_once(seconds: float) -> None:
        return None

    monkeypatch.setattr(network.asyncio, "sleep", at_once)
    shut = filtered(tmp_path, WORD)
    words = ["guess"] * 5 + [WORD] + ["guess"] * 5
    answers = [ask(shut, authorization=basic(word), near="10.9.9.9").status for word in words]
    assert answers == [401] * 5 + [299] + [401] * 3 + [429] * 2
    assert ask(shut, authorization=basic(WORD), near="10.9.9.8").status == 299
    monkeypatch.setattr(network, "MOST_WRONG_IN_ALL", 12)
    for number in range(4):
        assert ask(shut, authorization=basic("guess"), near=f"10.8.8.{number}").status == 401
    assert ask(shut, authorization=basic(WORD), near="10.8.8.9").status == 429, "many machines that guess a little each"
    assert ask(shut, authorization=basic(WORD), near="10.9.9.8").status == 299, "who was in before is still let in"


def test_whoever_has_gone_is_not_waited_for(tmp_path: Path) -> None:
    async def never(scope: Any, receive: Any, send: Any) -> None:
        await sleep_forever()

    press = {"session_hash": "a", "component_id": 1, "fn_name": "open_page", "data": "?q=a"}
    came = [{"type": "http.request", "body": json.dumps(press).encode()}, {"type": "http.disconnect"}]

    async def receive() -> Any:
        return came.pop(0)

    async def answered() -> None:
        filter_ = RequestFilter(never, Uploads(tmp_path), {1: frozenset({"open_page"})}, {})
        headers = [(b"host", b"localhost"), (b"content-type", b"application/json")]
        scope = {"type": "http", "method": "POST", "path": PRESS, "headers": headers}
        with fail_after(20):
            await filter_(scope, receive, lambda message: None)

    with start_blocking_portal() as portal:
        portal.call(answered)


def test_opened_to_the_network_it_answers_to_the_address_it_was_reached_by(tmp_path: Path) -> None:
    opened, shut = filtered(tmp_path, WORD), filtered(tmp_path)
    assert ask(opened, host="10.1.2.3:7860", authorization=basic(WORD)).status == 299
    assert ask(opened, host="10.1.2.4:7860", authorization=basic(WORD)).status == 400
    assert ask(shut, host="10.1.2.3:7860").status == ask(shut, host="evil.example").status == 400
    assert ask(shut, host="localhost:7860").status == 299


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
    assert "Nothing is encrypted" in said and "see and change everything" in said and WORD not in said
    monkeypatch.setattr(network.sys, "stdin", type("Shut", (), {"isatty": lambda self: False})())
    with pytest.raises(PasswordError, match="needs a password"):
        ask_password()


def test_the_page_allows_nothing_from_elsewhere(app: Any) -> None:
    page = ask(app)
    assert page.status == 200 and b"swardkey" in page.body and b"fonts.googleapis.com/css" not in page.body
    policy = page.headers["content-security-policy"]
    assert "default-src 'none'" in policy and "unsafe-inline" not in policy.split(";")[1]
    assert "http" not in policy and "*" not in policy
    nonce = policy.split("'nonce-")[1].split("'")[0].encode()
    assert page.body.count(b"<script") == page.body.count(b'<script nonce="' + nonce) > 3
    assert page.headers["x-content-type-options"] == "nosniff" and page.headers["referrer-policy"] == "no-referrer"


@pytest.mark.parametrize(
    "path",
    [
        f"/photo/{'a' * 22}/0123456789abcdef.jpg",
        "/figure/leaf_build/no_such.svg",
        "/kept/../../records.jpg",
        "/waiting/../../x/passwd",
        "/paper/jNFu8ENlG3kHgfuPlJxxUQ/advice",
        "/paper/all/records.sqlite",
        "/gradio_api/file=/etc/passwd",
    ],
)
def test_no_file_but_its_own_is_handed_out(app: Any, path: str) -> None:
    answer = ask(app, path)
    assert (answer.status, answer.body) == (404, b"There is nothing at this address.")
    assert answer.headers["content-type"].startswith("text/plain")


def test_drawings_papers_and_tables_are_handed_out(app: Any) -> None:
    drawing, key = ask(app, "/figure/leaf_build/grassy.svg"), ask(app, "/paper/key?month=6")
    assert drawing.headers["content-type"] == "image/svg+xml" and drawing.body.startswith(b"<svg")
    assert key.headers["content-type"] == "application/pdf" and key.body.startswith(b"%PDF-")
    for name in ("follow-ups.ics", "treatments.csv", "findings.csv"):
        assert ask(app, f"/paper/all/{name}").status == 200


@pytest.mark.parametrize("given", ["9" * 25, "9" * 5000, "²", "abc", "0"])
def test_a_paper_of_no_record_is_one_sentence(app: Any, given: str) -> None:
    for path in (f"/paper/visit/{given}/advice", f"/paper/treatment/{given}"):
        answer = ask(app, path)
        assert answer.status == 409 and b"here is no " in answer.body and b" in the records" in answer.body
    assert not list((home() / "faults").glob("*"))


def test_faults_do_not_fill_the_disk(monkeypatch: pytest.MonkeyPatch) -> None:
    said = [write_fault(ZeroDivisionError(str(number))) for number in range(MOST_FAULTS + 5)]
    kept = sorted((home() / "faults").iterdir())
    assert len(kept) == MOST_FAULTS and kept[-1].name in said[-1], "the latest stay"

    def full(*_: Any, **__: Any) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Path, "write_text", full)
    assert "could not be written down" in write_fault(ZeroDivisionError())


def test_messages_on_pages_do_not_tell_the_folders_of_this_machine() -> None:
    token = "a-b_c" * 4
    for folder in ("", "backups/", f"uploads/{token}/", f"uploads/waiting/{token}/"):
        assert fault(f"{home()}/{folder}trip.zip: is not a zip; use another") == "trip.zip: is not a zip; use another."


def test_a_fault_becomes_a_sentence_and_a_file() -> None:
    notices: list[str] = []
    with errors_as_notices(notices):
        raise ZeroDivisionError("secret path")
    assert "ZeroDivisionError" in notices[0] and "secret path" not in notices[0]


HALF = "\ud800"  # of a character, as only a broken script sends it


@pytest.mark.parametrize(
    "sent",
    [
        {"do": HALF, "with": "1", "address": f"?visit={HALF}"},
        {"do": "search", "fields": {"q": [HALF], HALF: [HALF]}, "address": f"?{HALF}={HALF}"},
    ],
)
def test_half_a_character_comes_back_as_a_page_that_can_be_sent(
    sent: dict[str, Any], context: Context, tmp_path: Path
) -> None:
    for place in ("Records", "Own", "Flora"):
        SidePage(context, SIDE_PAGES[place]).press(read_message(sent, Uploads(tmp_path))).encode()


def test_what_fails_after_its_answer_gets_no_second_end() -> None:
    ends = []

    async def behind(scope: Any, receive: Any, send: Any) -> None:
        await send({"type": "http.response.start", "status": 200, "headers": []})
        await send({"type": "http.response.body", "body": b"whole"})
        raise ValueError

    async def send(message: Any) -> None:
        if message["type"] == "http.response.body":
            ends.append(message["body"])

    with start_blocking_portal() as portal:
        portal.call(SecurityHeaders(behind), {"type": "http"}, None, send)
    assert ends == [b"whole"] and len(list((home() / "faults").iterdir())) == 1


def test_options_of_the_command_line_are_not_on_pages() -> None:
    assert for_pages("told; give the state (--state), or --month") == "told; give the state, or month"


def test_settings_of_gradio_come_from_nowhere_else(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(os, "environ", {"GRADIO_SHARE": "True", "GRADIO_ALLOWED_PATHS": "/", "OTHER": "1"})
    set_up_gradio(tmp_path)
    assert not {"GRADIO_SHARE", "GRADIO_ALLOWED_PATHS"} & set(os.environ) and os.environ["OTHER"] == "1"
    assert os.environ["GRADIO_RUN_HISTORY"] == "False" and os.environ["GRADIO_TEMP_DIR"] == str(tmp_path)


@pytest.mark.parametrize(
    ("given", "kept"),
    [("a/b\\c.jpg", "c.jpg"), ("..", "photo"), ("", "photo"), ("nul", "_nul"), ("a\0\n:b.jpg", "a___b.jpg")],
)
def test_names_of_uploads_are_plain(given: str, kept: str) -> None:
    assert plain_name(given) == kept
    assert len(plain_name("é" * 500 + ".jpg")) <= 101 and plain_name("é" * 500 + ".jpg").endswith(".jpg")


def test_an_upload_is_claimed_once_and_nothing_else_is(tmp_path: Path) -> None:
    uploads = Uploads(tmp_path / "uploads")
    sent, other = uploads.folder / "hash" / "ticket.bin", tmp_path / "other"
    sent.parent.mkdir(parents=True)
    sent.write_bytes(b"x")
    other.write_bytes(b"x")
    (sent.parent / "link").symlink_to(other)
    for path in (
        str(other),
        str(sent.parent / "link"),
        f"{sent.parent}/../../other",
        "http://127.0.0.1/",
        "\0",
        None,
        3,
    ):
        with pytest.raises(FormError, match="did not arrive"):
            uploads.claim(path, "leaf.jpg")
    claimed = uploads.claim(str(sent), "../leaf.jpg")
    assert claimed.name == "leaf.jpg" and claimed.parent.parent == uploads.folder and not sent.exists()
    with pytest.raises(FormError, match="did not arrive"):
        uploads.claim(str(sent), "leaf.jpg")


def test_what_nobody_took_in_goes_after_an_hour(tmp_path: Path) -> None:
    old, new, waiting = tmp_path / "a", tmp_path / "b", tmp_path / "waiting" / "c"
    for folder in (old, new, waiting):
        folder.mkdir(parents=True)
        (folder / "leaf.jpg").write_bytes(b"x")
    (tmp_path / "half").write_bytes(b"x")
    for path in (old, waiting, waiting.parent, tmp_path / "half"):
        os.utime(path, (time.time() - 3700,) * 2)

    async def swept() -> None:
        with move_on_after(20):
            async with create_task_group() as tasks:
                tasks.start_soon(Uploads(tmp_path).sweep)
                while old.exists() or (tmp_path / "half").exists() or waiting.exists():
                    await sleep(0.01)
                tasks.cancel_scope.cancel()

    with start_blocking_portal() as portal:
        portal.call(swept)
    assert sorted(path.name for path in tmp_path.rglob("*")) == ["b", "leaf.jpg", "waiting"]


def test_uploads_go_when_the_server_ends(tmp_path: Path) -> None:
    uploads = Uploads(tmp_path / "uploads")

    async def served() -> None:
        async with _lifespan(uploads, (uploads.folder / "hash").mkdir)(FastAPI()):
            (uploads.folder / "hash" / "leaf.jpg").write_bytes(b"x")

    uploads.folder.mkdir()
    with start_blocking_portal() as portal:
        portal.call(served)
    assert not uploads.folder.exists()


def test_photos_of_one_name_are_all_taken(tmp_path: Path) -> None:
    files = []
    for number in range(3):
        files.append(tmp_path / str(number) / "image.jpg")
        files[-1].parent.mkdir()
        files[-1].write_bytes(b"%d" % number)
    address, _ = take_files({}, files)
    assert pending(address) == ["image-2.jpg", "image-3.jpg", "image.jpg"]
    assert not any(file.parent.exists() for file in files)


def test_a_visit_is_kept_whole_or_not_at_all(context: Context, monkeypatch: pytest.MonkeyPatch) -> None:
    person = Person(context)
    person.press("look").prove()
    person.press("onward").press("make_plan", lawn="buffalo", place="lawn", month="11", state="NSW").choose_a_spray()
    person.press("to_record")
    given = {"day": "2026-11-25", "who": "Sam", "client": "Whole", "address": "1 Rill Street", "state": "NSW"}

    def broken(*_: Any) -> None:
        raise RecordsError("the disk is full")

    with monkeypatch.context() as patch:
        patch.setattr(Book, "add_plan", broken)
        assert "disk is full" in person.press("keep", **given).notices[0]
    with open_records() as records:
        assert (records.visits(), records.clients()) == ((), ())
    assert person.press("keep", **given).title == "The record of the visit"
    with open_records() as records:
        assert len(records.visits()) == 1 and records.draft(person.plant).visit == 1
