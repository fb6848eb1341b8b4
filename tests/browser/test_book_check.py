"""The check for tampering on a phone: pressed, waited for, and read."""

from __future__ import annotations

import pytest

from app.records import open_records
from app.records.book_mark import mark_of_book
from tests.app.record_book import keep_some
from tests.browser.conftest import Served
from tests.browser.walking import Visitor


def test_the_check_says_what_it_found_and_what_it_cannot_prove(
    visitor: Visitor, served: Served, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("SWARDKEY_HOME", str(served.home))
    with open_records() as records:
        records.sign("treatment", keep_some(records).treatment.id, "Kim")
        mark = mark_of_book(records)
    page = visitor.page
    visitor.open("/records")
    page.click("a:has-text('Check for tampering')")
    page.wait_for_selector('button[data-do="check_book"]')
    visitor.settled()
    page.fill("#f-mark", mark)
    visitor.press("check_book", 'button[data-do="forget_check"]')
    said = page.inner_text("#work")
    assert "No tampering detected" in said and f"all that it held at the mark {mark}." in said
    assert "What this cannot prove" in said
    assert not visitor.is_too_wide()
