"""Where nothing can be saved, every page is read and says so once; and uploads that no page takes do not lie about."""

from __future__ import annotations

import json
import os
import shutil
from pathlib import Path
from typing import Any

import pytest
from anyio.from_thread import start_blocking_portal

from app.records import RecordsError, open_records
from app.records.database import Database
from app.services.home import home, why_unsaved
from app.services.paper_making import paper_of_visit, record_of_treatment
from app.web.context import Context
from app.web.faults import errors_as_notices
from app.web.frame import FormError
from app.web.message import read_address, read_message
from app.web.page import Pages, _pressed
from app.web.request_filter import UPLOAD, RequestFilter
from app.web.side_pages import SIDE_PAGES, SidePage
from app.web.upload_types import LEFT, is_supported, truncate_unsupported
from app.web.uploads import TEMPORARY_PREFIX, Uploads, make_upload_folder
from model.control import Control
from model.identify import Key
from tests.app.page_visitor import Person, context_of
from tests.app.record_book import book
from tests.security.forked import as_a_stranger
from tests.security.visitor import PHOTO, multipart

SAVED_NOT = "because the disk is full: make room on it. Weeds can still be named, and records read and printed."
SAYS = "Nothing can be saved now, because the folder of your data cannot be written to"
ADDRESSES = {
    "": ("", "?way=known", "?way=sums", "?way=check", "?way=known&visit=1"),
    "Flora": ("",),
    "Records": ("", "?visit=1", "?site=1", "?q=bindii", "?backup=list"),
    "Own": ("",),
    "Learn": ("",),
    "Key": ("",),
}
PRESSES: tuple[tuple[str, dict[str, Any]], ...] = (
    ("Own", {"do": "keep_details", "fields": {"applicator": ["Kim"]}}),
    ("Records", {"address": "?visit=1", "do": "sign", "with": "1", "fields": {"name": ["Kim"]}}),
    ("", {"plant": "a" * 22, "address": "?way=sums", "do": "sum", "with": "tank", "fields": {"tank": ["10"]}}),
)
CSV = b"hour,temperature,humidity,wind\n6,20,60,8\n"


@pytest.fixture
def places(key: Key, control: Control) -> dict[str, Any]:
    """All pages, by name; that of a plant has none."""
    context: Context = context_of(key, control)
    return {"": Pages(context), **{name: SidePage(context, module) for name, module in SIDE_PAGES.items()}}


@pytest.mark.skipif(
    os.name == "nt", reason="without another user to be, a page that fails on a read-only disk goes unseen"
)
def test_where_nothing_can_be_saved_each_page_is_read_and_says_so(places: dict[str, Any], tmp_path: Path) -> None:
    kept = book(home() / "records")
    with open_records() as records:
        records.sign("treatment", kept.treatment.id, "Kim")
    read, write = os.pipe()
    for name, addresses in ADDRESSES.items():  # what they need is loaded by now
        for address in addresses:
            assert SAYS not in places[name].open(read_address(address))
    paper_of_visit("advice", 1, key=places[""].context.key), record_of_treatment(1)

    def work() -> None:
        uploads = Uploads(make_upload_folder())
        assert uploads.folder.name.startswith(TEMPORARY_PREFIX) and uploads.folder.stat().st_mode & 0o077 == 0
        lines = [why_unsaved()]
        for name, addresses in ADDRESSES.items():
            for address in addresses:
                page = places[name].open(read_address(address))
                faults = page.count('class="notice"')
                lines.append(f"{name} {address}: {page.count(SAYS)} {faults}")
        for name, sent in PRESSES:
            lines.append(f"{name}: {places[name].press(read_message(sent, uploads)).count('fault of the program')}")
        shutil.rmtree(uploads.folder)
        made = paper_of_visit("advice", 1, key=places[""].context.key), record_of_treatment(1)
        lines.append(f"{made[0][:4]!r} {made[1][:4]!r}")
        os.write(write, "\n".join(lines).encode())

    ended = as_a_stranger(tmp_path, home(), tmp_path / "elsewhere", work)
    assert ended.status == 0, ended.err
    said, *lines = os.read(read, 9999).decode().splitlines()
    assert said.startswith(SAYS)
    pages = sum(len(addresses) for addresses in ADDRESSES.values())
    assert [line.partition(": ")[2] for line in lines[:pages]] == ["1 0"] * pages, lines
    assert [line.rpartition(" ")[2] for line in lines[pages:-1]] == ["0"] * len(PRESSES), lines
    assert lines[-1] == "b'%PDF' b'%PDF'"


def test_on_a_full_disk_it_is_said_too(monkeypatch: pytest.MonkeyPatch, places: dict[str, Any]) -> None:
    usage = shutil.disk_usage(home().parent)
    assert "Nothing can be saved" not in places["Flora"].open({})
    monkeypatch.setattr(shutil, "disk_usage", lambda path: usage._replace(free=1000))
    assert "because the disk is full: make room on it" in places["Flora"].open({})


def test_on_a_full_disk_a_weed_is_named_and_what_was_entered_is_saved_once_there_is_room(
    monkeypatch: pytest.MonkeyPatch, key: Key, control: Control, tmp_path: Path
) -> None:
    context = context_of(key, control)
    context.drafts.elsewhere = tmp_path / "elsewhere"
    with monkeypatch.context() as full:
        usage = shutil.disk_usage(home().parent)
        full.setattr(shutil, "disk_usage", lambda path: usage._replace(free=1000))
        full.setattr(Database, "writing", no_room)
        person = Person(context).add_photos(Path(shutil.copy(PHOTO, tmp_path / "leaf.jpg")))
        assert person.title == "What it could be" and SAVED_NOT in person.text
        assert Person(context, {"plant": person.plant}).prove().title == "dandelion"
        assert not (home() / "drafts").exists() and list((tmp_path / "elsewhere" / person.plant).iterdir())
    Person(context, {"plant": person.plant}).press("onward")
    again = Person(context_of(key, control), {"plant": person.plant})
    assert again.title == "This lawn" and list((home() / "drafts" / person.plant).iterdir())


def no_room(database: Database) -> None:
    raise RecordsError("the disk is full")


def test_what_the_disk_refuses_is_one_sentence_and_no_fault_of_the_program() -> None:
    notices: list[str] = []
    with errors_as_notices(notices):
        raise PermissionError(13, "Permission denied", str(home() / "drafts" / "a.jpg"))
    assert notices == ["drafts/a.jpg: Permission denied; make room or fix its permissions, and try again."]
    assert not (home() / "faults").exists()


@pytest.mark.parametrize(
    ("content", "taken"),
    [
        (b"\xff\xd8\xff\xe0 and a JPEG", True),
        (b"\x89PNG\r\n\x1a\n and more of it", True),
        (b"RIFF0000WEBPVP8 and more", True),
        (b"\0\0\0\x18ftypheic and more", True),
        (b"PK\x03\x04 and the rest of a zip", True),
        (CSV, True),
        ("hour;temp\N{DEGREE SIGN};wind\n6;20;8\n".encode("latin-1"), True),
        (b"\xef\xbb\xbf" + CSV, True),
        (b"\0\0\0\x18ftypmp42, a film", False),
        (b"GIF89a\x01\0,\0 and the rest of it", False),
        (b"\x7fELF\x02\x01\x01, a program", False),
        (b"%PDF-1.7, a document of one page", False),
        (b"<!doctype html><script>a, b</script>", False),
        (b"#!/bin/sh\necho a, b; echo c\n", False),
        (b"a line without any column\n", False),
        (CSV + b"\0" * 9, False),
        (CSV * 30_000, False),
    ],
)
def test_an_upload_is_what_its_content_says(content: bytes, taken: bool, tmp_path: Path) -> None:
    (tmp_path / "a.jpg").write_bytes(content)
    assert is_supported(tmp_path / "a.jpg") == taken
    truncate_unsupported(tmp_path / "a.jpg")
    assert (tmp_path / "a.jpg").read_bytes() == (content if taken else content[:LEFT])


def test_what_no_page_takes_is_cut_short_before_anybody_hears_where_it_lies(tmp_path: Path) -> None:
    """And half an upload that breaks off goes at once."""
    files = {"photo": PHOTO.read_bytes(), "program": b"\x7fELF" + b"\0" * 5000}
    heard: dict[str, int] = {}

    async def behind(scope: Any, receive: Any, send: Any) -> None:
        (tmp_path / "half").write_bytes(b"\xff\xd8\xff")
        paths = []
        for name, data in files.items():
            (tmp_path / name).mkdir()
            (tmp_path / name / "x.bin").write_bytes(data)
            paths.append(str(tmp_path / name / "x.bin"))
        await send({"type": "http.response.start", "status": 200, "headers": []})
        await send({"type": "http.response.body", "body": json.dumps(paths).encode()})

    async def send(message: Any) -> None:
        for path in json.loads(message.get("body", b"[]")):
            heard[Path(path).parent.name] = Path(path).stat().st_size

    kind, body = multipart([("x.bin", b"x")])
    headers = {"host": "127.0.0.1:7860", "content-type": kind, "content-length": str(len(body))}
    scope = {
        "type": "http", "method": "POST", "path": UPLOAD, "server": ("127.0.0.1", 7860), "client": ("127.0.0.1", 5),
        "headers": [(name.encode(), value.encode()) for name, value in headers.items()],
    }  # fmt: skip
    with start_blocking_portal() as portal:
        portal.call(RequestFilter(behind, Uploads(tmp_path), {}, {}), scope, None, send)
    assert heard == {"photo": len(files["photo"]), "program": LEFT}
    assert not (tmp_path / "half").exists()


@pytest.mark.parametrize("place", ["Own", "Flora", "Records", ""])
def test_a_file_that_the_page_does_not_take_is_not_kept(place: str, places: dict[str, Any], tmp_path: Path) -> None:
    folder = tmp_path / "uploads"
    sent = {"plant": "a" * 22, "do": "look", "files": [upload(folder, "one"), upload(folder, "two")]}
    _pressed(places[place], sent, Uploads(folder))
    assert [path for path in folder.rglob("*") if path.is_file()] == []


def test_of_files_of_which_one_did_not_arrive_none_is_kept(tmp_path: Path) -> None:
    with pytest.raises(FormError, match="did not arrive"):
        read_message({"files": [upload(tmp_path, "one"), {"path": "elsewhere", "name": "b.jpg"}]}, Uploads(tmp_path))
    assert [path for path in tmp_path.rglob("*") if path.is_file()] == []


def upload(folder: Path, name: str) -> dict[str, str]:
    """A photo that was uploaded, as a message names it."""
    (folder / name).mkdir(parents=True)
    return {"path": str(shutil.copy(PHOTO, folder / name / "x.bin")), "name": "leaf.jpg"}
