"""Every paper is downloaded by its button, and half-filled forms are still there after a reload and a mistake."""

from __future__ import annotations

import io
import zipfile
from pathlib import Path
from typing import Any

from tests.browser.conftest import Served
from tests.browser.walking import Visitor


def downloaded(page: Any, button: str) -> tuple[str, bytes]:
    """What comes of pressing a link or button: the name of the file, and what is in it."""
    with page.expect_download() as coming:
        page.click(button)
    file = coming.value
    return file.suggested_filename, Path(file.path()).read_bytes()


def test_every_paper_is_downloaded(served: Served, browser: Any) -> None:
    visitor = Visitor(browser, served.url)
    page = visitor.page
    visitor.to_record()
    for kind in ("advice", "job"):
        name, data = downloaded(page, f'a[href$="/{kind}"] >> visible=true')
        assert name == f"swardkey-{kind}.pdf" and data.startswith(b"%PDF-")
    page.fill("#f-client", "Papers")
    page.fill("#f-address", "2 Test Street")
    page.fill("#f-who", "Sam")
    visitor.press("keep", 'button[data-do="sign_visit"]')
    for words in ("Advice sheet", "Job sheet", "The record as PDF"):
        assert downloaded(page, f'a:has-text("{words}") >> visible=true')[1].startswith(b"%PDF-")
    page.fill("#f-what", "Survivors")
    visitor.press("follow_up", ".dues")
    visitor.open("/records")
    page.click("summary:has-text('Export')")
    for words, starts in (
        ("calendar", b"BEGIN:VCALENDAR"),
        ("Treatments", b"\xef\xbb\xbftreatment"),
        ("Findings", b""),
    ):
        data = downloaded(page, f'.papers a:has-text("{words}")')[1]
        assert (data.startswith(starts) and b"Survivors" in data) or b"2 Test Street" in data
    page.click("summary:has-text('open portal')")
    page.fill("#f-by", "Own Lawns")
    name, data = downloaded(page, 'button[name="as"][value="zip"]')
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        text = archive.read("occurrence.txt").decode()
    assert "Taraxacum officinale" in text and "Test Street" not in text and "Papers" not in text
    assert downloaded(page, 'button[name="as"][value="csv"]')[1].startswith(b"\xef\xbb\xbfoccurrenceID")
    visitor.open("/key")
    name, data = downloaded(page, 'button:has-text("Get the PDF")')
    assert name.startswith("swardkey-key-") and data.startswith(b"%PDF-")
    assert visitor.faults == [] and visitor.elsewhere == []
    visitor.close()


def test_half_filled_forms_outlive_a_reload_and_a_mistake(served: Served, browser: Any) -> None:
    visitor = Visitor(browser, served.url)
    page = visitor.page
    visitor.to_lawn()
    page.fill("#f-cover", "35")
    page.check('input[name="near"][value="pond"]')
    page.reload()
    page.wait_for_selector("#f-cover")
    page.wait_for_function("document.querySelector('#f-cover').value === '35'")
    assert page.is_checked('input[name="near"][value="pond"]')
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
    visitor.close()


def test_what_one_tab_half_filled_is_not_in_another(served: Served, browser: Any) -> None:
    one, other = Visitor(browser, served.url), Visitor(browser, served.url, "desk")
    for visitor in (one, other):
        visitor.to_lawn()
    one.page.fill("#f-cover", "12")
    other.page.reload()
    other.page.wait_for_selector("#f-cover")
    assert other.page.input_value("#f-cover") == "" and one.page.input_value("#f-cover") == "12"
    one.close()
    other.close()
