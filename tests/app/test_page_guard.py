"""What the server hands out and to whom: loopback, headers, names of hosts, no file but its own."""

from __future__ import annotations

import http.client
from collections.abc import Iterator
from pathlib import Path

import pytest

from app.web.context import Context
from app.web.draft import new_id
from app.web.frame import for_pages
from app.web.guard import in_a_sentence
from app.web.page import build_page
from app.web.serving import serve_options
from model.control import Control
from model.identify import Key
from tests.app.page_visitor import context_of

CANARY = b"no page hands this out"


@pytest.fixture(scope="module")
def port(
    key: Key, control: Control, tmp_path_factory: pytest.TempPathFactory, request: pytest.FixtureRequest
) -> Iterator[int]:
    """The pages, served."""
    patch = pytest.MonkeyPatch()
    home = tmp_path_factory.mktemp("home")
    patch.setenv("SWARDKEY_HOME", str(home))
    # What a handler that follows dots would find, at whatever depth below the home its own folder lies.
    for lies in (home, home / "records", home.parent):
        lies.mkdir(exist_ok=True)
        for name in ("records.jpg", "pyproject.jpg", "passwd", "x"):
            (lies / name).write_bytes(CANARY)
    uploads = tmp_path_factory.mktemp("uploads")
    patch.setenv("GRADIO_TEMP_DIR", str(uploads))
    patch.chdir(tmp_path_factory.mktemp("empty"))
    context: Context = context_of(key, control)
    blocks = build_page(context)
    _, url, _ = blocks.launch(**serve_options(blocks, context, uploads), prevent_thread_lock=True)
    yield int(url.rstrip("/").rsplit(":", 1)[1])
    blocks.close()
    patch.undo()


def get(port: int, path: str, **headers: str) -> tuple[int, dict[str, str], bytes]:
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=20)
    connection.request("GET", path, headers={"Host": f"127.0.0.1:{port}", **headers})
    answer = connection.getresponse()
    found = answer.status, {k.lower(): v for k, v in answer.getheaders()}, answer.read()
    connection.close()
    return found


def test_it_is_served_on_loopback_only_and_nothing_is_shared_or_reported(
    key: Key, control: Control, tmp_path: Path
) -> None:
    context = context_of(key, control)
    options = serve_options(build_page(context), context, tmp_path)
    assert options["server_name"] == "127.0.0.1"
    for off in ("share", "show_error", "mcp_server", "enable_monitoring", "ssr_mode"):
        assert options[off] is False
    assert options["allowed_paths"] == []


def test_the_page_allows_nothing_from_elsewhere(port: int) -> None:
    status, headers, text = get(port, "/")
    assert status == 200 and b"swardkey" in text
    policy = headers["content-security-policy"]
    assert (
        "default-src 'none'" in policy
        and "unsafe-inline" not in policy.split(";")[1]
        and "http" not in policy
        and "*" not in policy
    )
    assert headers["x-content-type-options"] == "nosniff" and headers["referrer-policy"] == "no-referrer"
    assert b"fonts.googleapis.com/css" not in text


def test_another_name_of_this_machine_is_not_answered(port: int) -> None:
    assert get(port, "/", Host="evil.example")[0] == 400


@pytest.mark.parametrize(
    "path",
    [
        "/photo/../../etc/passwd",
        "/photo/%2e%2e/%2e%2e",
        f"/photo/{'a' * 22}/0123456789abcdef.jpg",
        f"/photo/{'a' * 22}/..%2f..%2frecords.sqlite",
        "/drawn/no_such_plant.jpg",
        "/drawn/..%2f..%2fpyproject.jpg",
        "/kept/" + "0" * 64 + ".jpg",
        "/kept/..%2f..%2frecords.jpg",
        "/waiting/..%2f..%2fx/passwd",
        "/collected/..%2f..%2frecords%2frecords.sqlite",
        f"/paper/{'b' * 22}/advice",
        "/paper/all/records.sqlite",
        "/paper/visit/1/../../x",
        "/gradio_api/file=/etc/passwd",
        "/gradio_api/file=../records/records.sqlite",
        "/gradio_api/file=C:\\\\Windows\\\\win.ini",
        "/file=/etc/passwd",
        "/static/../../../etc/passwd",
    ],
)
def test_no_file_but_its_own_is_handed_out(port: int, path: str) -> None:
    status, headers, text = get(port, path)
    assert (status, text) == (404, b"There is nothing at this address.")
    assert headers["content-type"].startswith("text/plain")


def test_drawings_and_the_printed_key_are_handed_out(port: int) -> None:
    status, headers, data = get(port, "/drawn/soliva_sessilis.jpg")
    assert (status, headers["content-type"]) == (200, "image/jpeg") and data[:2] == b"\xff\xd8"
    status, headers, data = get(port, "/paper/key?month=6")
    assert (status, headers["content-type"]) == (200, "application/pdf") and data.startswith(b"%PDF-")
    for name in ("follow-ups.ics", "treatments.csv", "findings.csv"):
        assert get(port, f"/paper/all/{name}")[0] == 200


def test_no_handler_is_offered_as_an_api(port: int) -> None:
    for path in ("/gradio_api/info", "/gradio_api/openapi.json", "/config", "/gradio_api/call/act", "/gradio_api/runs"):
        assert get(port, path)[0] == 404


def test_an_unknown_plant_has_no_paper(port: int) -> None:
    assert get(port, f"/paper/{new_id()}/advice")[0] == 404


def test_a_fault_becomes_a_sentence_and_a_file() -> None:
    notices: list[str] = []
    with in_a_sentence(notices):
        raise ZeroDivisionError("secret path")
    assert "ZeroDivisionError" in notices[0] and "secret path" not in notices[0]


def test_options_of_the_command_line_are_not_told_on_pages() -> None:
    assert for_pages("told; give the state (--state), or --month") == "told; give the state, or month"
