"""Every paper is downloaded by its button, and half-filled forms are still there after a reload and a mistake."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from app.web.draft import Drafts
from model.identify import Key
from tests.app.test_page_plan import proven
from tests.browser.conftest import Served
from tests.browser.walking import Visitor

Opened = Callable[..., Visitor]


@pytest.fixture
def at_the_lawn(served: Served, browser: Any, key: Key, monkeypatch: pytest.MonkeyPatch) -> Iterator[Opened]:
    """Opens the pages at the step of the lawn, with a dandelion that is proven."""
    monkeypatch.setenv("SWARDKEY_HOME", str(served.home))
    opened = []

    def visitor(size: str = "phone") -> Visitor:
        draft = proven(key)
        Drafts().save(draft)
        opened.append(Visitor(browser, served.url, size))
        opened[-1].open(f"/?plant={draft.id}")
        return opened[-1]

    yield visitor
    for one in opened:
        assert one.faults == [] and one.elsewhere == []
        one.close()


def downloaded(page: Any, button: str) -> tuple[str, bytes]:
    """What comes of pressing a link or button: the name of the file, and what is in it."""
    with page.expect_download() as coming:
        page.click(button)
    file = coming.value
    return file.suggested_filename, Path(file.path()).read_bytes()


def test_every_paper_is_downloaded(at_the_lawn: Opened) -> None:
    visitor = at_the_lawn()
    page = visitor.page
    visitor.press("make_plan", ".summary")
    page.locator('.option:has(.actives) input[name="choice"]').first.check()
    visitor.press("choose", "#f-temperature")
    visitor.press("to_record", 'button[data-do="keep"]')
    for kind in ("advice", "job"):
        name, data = downloaded(page, f'a[href$="/{kind}"] >> visible=true')
        assert name == f"swardkey-{kind}.pdf" and data.startswith(b"%PDF-")
    for field, text in (("client", "Papers"), ("address", "2 Test Street"), ("who", "Sam")):
        page.fill(f"#f-{field}", text)
    visitor.press("keep", 'button[data-do="sign_visit"]')
    for words in ("Advice sheet", "Job sheet", "The record as PDF"):
        assert downloaded(page, f'a:has-text("{words}") >> visible=true')[1].startswith(b"%PDF-")
    page.fill("#f-what", "Survivors")
    visitor.press("follow_up", ".dues")
    visitor.open("/records")
    page.click("summary:has-text('Export')")
    for words, starts, holds in (
        ("calendar", b"BEGIN:VCALENDAR", b"Survivors"),
        ("Treatments", b"\xef\xbb\xbftreatment", b"2 Test Street"),
        ("Findings", b"\xef\xbb\xbfvisit", b"2 Test Street"),
    ):
        data = downloaded(page, f'.papers a:has-text("{words}")')[1]
        assert data.startswith(starts) and holds in data
    page.click("summary:has-text('open portal')")
    page.fill("#f-by", "Own Lawns")
    name, data = downloaded(page, 'button[name="as"][value="zip"]')
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        text = archive.read("occurrence.txt").decode()
    assert "Taraxacum officinale" in text and "Test Street" not in text and "Papers" not in text
    assert downloaded(page, 'button[name="as"][value="csv"]')[1].startswith(b"\xef\xbb\xbfoccurrenceID")
    visitor.open("/key")
    visitor.press("make", 'a:has-text("Save the PDF")')
    name, data = downloaded(page, 'a:has-text("Save the PDF")')
    assert name.startswith("swardkey-key-") and data.startswith(b"%PDF-")


def test_half_filled_forms_outlive_a_reload_and_a_mistake_and_stay_in_their_tab(at_the_lawn: Opened) -> None:
    visitor, other = at_the_lawn(), at_the_lawn("desk")
    page = visitor.page
    page.fill("#f-cover", "35")
    page.check('input[name="near"][value="pond"]')
    for tab in (page, other.page):
        tab.reload()
        tab.wait_for_selector("#f-cover")
    page.wait_for_function("document.querySelector('#f-cover').value === '35'")
    assert page.is_checked('input[name="near"][value="pond"]') and other.page.input_value("#f-cover") == ""
    page.fill("#f-cover", "much")
    visitor.press("make_plan", ".notice")
    page.wait_for_function("document.querySelector('#f-cover').value === 'much'")
    page.fill("#f-cover", "30")
    visitor.press("make_plan", ".summary")
    visitor.press("to_record", 'button[data-do="keep"]')
    page.fill("#f-client", "Half & <Half>")
    page.fill("#f-who", "")
    visitor.press("keep", ".notice")
    page.wait_for_function("document.querySelector('#f-client').value === 'Half & <Half>'")
    assert page.evaluate("Object.keys(sessionStorage).filter((name) => name.includes('make_plan')).length") == 0
