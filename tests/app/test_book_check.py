"""The check of the record book says the same in the terminal and on its page, and what it cannot prove."""

from __future__ import annotations

import html
import re
import sqlite3
from contextlib import closing

import pytest

from app.records import back_up, open_records
from app.records.book_mark import mark_of_book
from app.records.database import FILE
from app.services.book_check import LIMITS
from app.services.home import home
from app.web import book_checks
from app.web import records_page as records
from app.web.background import Work
from app.web.context import Context
from model.control import Control
from model.identify import Key
from tests.app.conftest import Run
from tests.app.page_visitor import context_of
from tests.app.record_book import keep_some
from tests.app.test_page_learning import ended
from tests.app.test_page_places import page, press

AT = {"check": "yes"}


@pytest.fixture
def context(key: Key, control: Control) -> Context:
    return context_of(key, control)


@pytest.fixture
def work(monkeypatch: pytest.MonkeyPatch) -> Work:
    monkeypatch.setattr(book_checks, "work", fresh := Work())
    return fresh


@pytest.fixture
def mark() -> str:
    """The mark of a book with a signed treatment; a backup of it lies with the others."""
    with open_records() as book:
        book.sign("treatment", keep_some(book).treatment.id, "Kim")
        found = mark_of_book(book)
    (home() / "backups").mkdir()
    back_up(home(), home() / "backups" / "first.zip")
    return found


def change_a_name() -> None:
    with closing(sqlite3.connect(home() / "records" / FILE)) as book:
        book.execute("UPDATE clients SET name = 'B. Wattle'")
        book.commit()


def words(shown: str) -> str:
    """A page as plain text."""
    return re.sub(r"\s+", " ", html.unescape(re.sub(r"<[^>]+>", " ", shown)))


def checked(context: Context, work: Work, **fields: str) -> str:
    """What the page says after a check."""
    press(context, records, AT, "check_book", **fields)
    ended(work)
    assert not work.state.fault, work.state.fault
    return words(page(context, records, **AT))


def test_the_page_checks_as_the_command_does(context: Context, work: Work, mark: str, run: Run) -> None:
    assert "/records?check=yes" in page(context, records)
    before = page(context, records, **AT)
    assert LIMITS in words(before) and 'value="first.zip"' in before
    shown = checked(context, work, mark=mark, against="first.zip")
    for one in ("No tampering detected", f"at the mark {mark}.", "when first.zip was made.", f"now: {mark}", LIMITS):
        assert one in shown, one
    told = run("records", "check", "--mark", mark, "--against", home() / "backups" / "first.zip")
    flat = " ".join(told.out.split())
    assert told.status == 0 and LIMITS in flat and "no tampering detected" in flat and f"mark: {mark}" in flat
    assert run("records", "check", "--json").json["limits"] == LIMITS
    press(context, records, AT, "forget_check")
    assert "No tampering" not in page(context, records, **AT)


def test_both_name_what_was_changed_and_what_is_no_longer_held(
    context: Context, work: Work, mark: str, run: Run
) -> None:
    change_a_name()
    lost = "9" + mark
    shown = checked(context, work, mark=lost, against="first.zip")
    assert "Client 1: was changed by another program" in shown and f"of the mark {lost} is no longer" in shown
    assert "No tampering" not in shown and "when first.zip was made." in shown
    told = run("records", "check", "--mark", lost)
    flat = " ".join(told.out.split())
    assert told.status == 1 and "client 1: was changed by another program" in flat and f"mark {lost} is no" in flat


def test_what_is_no_mark_is_one_sentence_on_the_page(context: Context, work: Work, mark: str) -> None:
    press(context, records, AT, "check_book", mark="12")
    ended(work)
    assert "12: is not a mark; copy it from the foot of a paper" in page(context, records, **AT)
