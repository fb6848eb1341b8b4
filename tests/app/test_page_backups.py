"""Backups on the page of records: made, listed, brought back, and refused in one sentence."""

from __future__ import annotations

import re
import shutil
from pathlib import Path

import pytest

from app.records import Client, open_records
from app.services.home import home
from app.web import backups
from app.web import records_page as records
from app.web.background import Work
from app.web.context import Context
from app.web.message import Message
from app.web.side_pages import SidePage
from model.control import Control
from model.identify import Key
from tests.app.page_visitor import context_of
from tests.app.test_page_learning import ended
from tests.app.test_page_places import address_in, page, press

AT = {"backup": "list"}


@pytest.fixture
def context(key: Key, control: Control) -> Context:
    return context_of(key, control)


@pytest.fixture(autouse=True)
def work(monkeypatch: pytest.MonkeyPatch) -> Work:
    monkeypatch.setattr(backups, "work", fresh := Work())
    return fresh


def add(name: str) -> None:
    with open_records() as book:
        book.add_client(Client(name=name))


def clients() -> list[str]:
    with open_records() as book:
        return [client.name for client in book.clients()]


def made(context: Context, work: Work) -> str:
    """The name of a backup that was made on the page."""
    press(context, records, AT, "make_backup")
    ended(work)
    assert work.state.result, work.state.fault
    return str(work.state.result["made"])


def test_a_backup_is_made_saved_and_restored_from_the_page(context: Context, work: Work) -> None:
    assert "/records?backup=list" in page(context, records) and str(home()) in page(context, records, **AT)
    add("Mara")
    name = made(context, work)
    shown = page(context, records, **AT)
    assert "The backup is made" in shown and f'href="/paper/backup/{name}"' in shown
    assert backups.file_of(name).parent == home() / "backups"
    add("Sam")
    shown = press(context, records, AT, "choose_backup", name)
    assert f"Restore {name}?" in shown and "holds the records" in shown and "set aside and kept" in shown
    assert clients() == ["Mara", "Sam"], "nothing is changed before a person has said so"
    press(context, records, address_in(shown), "restore", name)
    ended(work)
    assert "is restored" in page(context, records, **AT) and clients() == ["Mara"]
    press(context, records, AT, "clear")
    assert "is restored" not in page(context, records, **AT)


def test_a_backup_from_elsewhere_is_looked_at_before_it_is_kept(context: Context, work: Work, tmp_path: Path) -> None:
    add("Mara")
    name = made(context, work)
    place = SidePage(context, records)
    copy = Path(shutil.copy(backups.file_of(name), tmp_path / "from the van.zip"))
    shown = place.press(Message(AT, do="add_files", files=(copy,)))
    assert "Restore from the van.zip?" in shown and address_in(shown) == {"backup": "from the van.zip"}
    (tmp_path / "letter.zip").write_bytes(b"Dear all")
    shown = place.press(Message(AT, do="add_files", files=(tmp_path / "letter.zip",)))
    assert "letter.zip: is not a readable backup" in shown and f"{tmp_path}/letter" not in shown
    assert {file.name for file in backups.there()} == {name, "from the van.zip"}


def test_what_cannot_be_is_one_sentence_without_folders(context: Context, work: Work) -> None:
    press(context, records, AT, "make_backup")
    ended(work)
    shown = page(context, records, **AT)
    notice = re.search(r'class="notice" role="alert">([^<]*)', shown)
    assert notice is not None and "holds nothing yet" in notice[1]
    for do in ("choose_backup", "restore"):
        assert "no longer there" in press(context, records, AT, do, "../../x.zip")
    assert "up to date now" in press(context, records, AT, "done", "1")
    assert "no longer there" in page(context, records, backup="gone.zip")
