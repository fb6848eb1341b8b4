"""The whole path in a browser, at both sizes: photo, questions, finding, lawn, plan, spraying, record."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest

from tests.browser.conftest import Served
from tests.browser.walking import SIZES, Visitor


@pytest.fixture(params=list(SIZES))
def visitor(request: pytest.FixtureRequest, served: Served, browser: Any) -> Iterator[Visitor]:
    found = Visitor(browser, served.url, request.param)
    yield found
    assert found.elsewhere == []
    assert found.faults == []
    found.close()


def test_the_whole_path_from_photo_to_signed_record(visitor: Visitor) -> None:
    page = visitor.page
    visitor.open()
    visitor.add_photo()
    visitor.press("look", ".ranks")
    visitor.press("ask", ".ask")
    visitor.answer_all()
    assert visitor.title() == "The name is proven"
    visitor.press("conclude", ".verdict.confirmed")
    assert "dandelion" in visitor.title()
    visitor.press("onward", 'button[data-do="make_plan"]')
    page.check('input[name="lawn"][value="buffalo"]')
    page.select_option("#f-state", "NSW")
    visitor.press("make_plan", ".summary")
    page.locator('.option:has(.actives) input[name="choice"]').first.check()
    visitor.press("choose", "#f-temperature")
    for name, value in {"temperature": "22", "humidity": "60", "wind": "9", "hour": "11:00"}.items():
        page.fill(f"#f-{name}", value)
    visitor.press("weigh", ".window")
    page.click("summary:has-text('Tank mix')")
    for name, value in {"tank": "10", "output": "400", "rate": "3 L/ha"}.items():
        page.fill(f"#f-tank-{name}", value)
    visitor.press("sum", ".result", "tank")
    assert "75 mL" in page.inner_text(".result")
    visitor.press("to_record", 'button[data-do="keep"]')
    for kind in ("advice", "job"):
        answer = page.request.get(f"{visitor.url}/paper/{visitor.plant()}/{kind}")
        assert answer.status == 200 and answer.body().startswith(b"%PDF-")
    page.fill("#f-client", "A <b>client</b> ${7*7} {{7}}")
    page.fill("#f-address", "1 Test Street")
    page.fill("#f-who", "Sam")
    visitor.press("keep", 'button[data-do="sign_visit"]')
    assert (
        "A <b>client</b> ${7*7} {{7}}" in page.inner_text("#work")
        and page.locator("#work b:text-is('client')").count() == 0
    )
    visitor.press("sign_treatment", ".notice")
    assert "still missing" in page.inner_text(".notice")
    visitor.press("sign_visit", ".signed")
    assert not visitor.is_too_wide()


@pytest.mark.parametrize("visitor", ["phone"], indirect=True)
def test_a_label_that_was_read_unlocks_its_herbicide_and_is_taken_back(visitor: Visitor) -> None:
    page = visitor.page
    visitor.to_lawn()
    varieties = page.locator('input[name="cultivar"]').first
    page.check('input[name="lawn"][value="buffalo"]')
    assert varieties.is_visible()
    page.check('input[name="lawn"][value="zoysia"]')
    assert not varieties.is_visible()
    visitor.press("make_plan", ".summary")
    page.click("summary:has-text('I have read the label') >> nth=0")
    which = page.get_attribute('button[data-do="read_label"] >> visible=true', "data-with") or ""
    visitor.press("read_label", ".notice", which)
    assert "registration number" in page.inner_text(".notice")
    page.click("summary:has-text('I have read the label') >> nth=0")
    page.fill('input[name="number"] >> visible=true', "12345")
    page.fill('input[name="by"] >> visible=true', "Sam")
    page.keyboard.press("Enter")
    page.wait_for_selector(".told-so")
    assert f"Kept: {which} on zoysia, by the label, read by Sam" in page.inner_text(".told-so")
    assert "lawn: by the label" in page.inner_text(".options >> nth=-1")
    visitor.press("revoke", ".told-so:has-text('Taken back')", which)
    assert page.locator(".rating:has-text('by the label')").count() == 0
    assert not visitor.is_too_wide()
    page.set_viewport_size(dict(zip(("width", "height"), SIZES["desk"], strict=True)))
    assert not visitor.is_too_wide()


@pytest.mark.parametrize("visitor", ["phone"], indirect=True)
def test_reload_keeps_the_place_and_back_leads_to_the_step_before(visitor: Visitor) -> None:
    visitor.open()
    visitor.press("look", ".ask")
    visitor.answer()
    asked, address = visitor.title(), visitor.page.url
    visitor.page.reload()
    visitor.page.wait_for_selector(".ask")
    assert (visitor.title(), visitor.page.url) == (asked, address)
    visitor.page.go_back()
    visitor.page.wait_for_selector("h1:has-text('Photos of one plant')")


def test_the_questions_are_answered_with_the_keyboard_alone(served: Served, browser: Any) -> None:
    visitor = Visitor(browser, served.url, "desk")
    visitor.open()
    page = visitor.page
    page.locator('button[data-do="look"]').focus()
    page.keyboard.press("Enter")
    page.wait_for_selector(".ask")
    page.wait_for_function("document.activeElement?.tagName === 'H1'")
    # From the heading, Tab leads to the first answer, Space ticks it.
    page.keyboard.press("Tab")
    page.keyboard.press("Space")
    assert page.evaluate("document.activeElement.checked") is True
    page.keyboard.press("Space")
    visitor.answer_all(keyboard=True)
    assert visitor.title() == "The name is proven"
    page.wait_for_function("document.activeElement?.tagName === 'H1'")
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.dataset.do") == "conclude"
    page.keyboard.press("Enter")
    page.wait_for_selector(".verdict.confirmed")
    visitor.close()


def test_two_people_at_once_do_not_mix(served: Served, browser: Any) -> None:
    one, other = Visitor(browser, served.url), Visitor(browser, served.url, "desk")
    for visitor in (one, other):
        visitor.open()
        visitor.press("look", ".ask")
        visitor.see()
    one.answer()
    other.page.reload()
    other.page.wait_for_selector(".ask")
    assert one.plant() != other.plant()
    assert "Question 2" in one.page.inner_text(".count") and "Question 1" in other.page.inner_text(".count")
    one.close()
    other.close()


def test_an_answer_is_changed_and_taken_back(served: Served, browser: Any) -> None:
    visitor = Visitor(browser, served.url)
    visitor.open()
    visitor.press("look", ".ask")
    visitor.see()
    first = visitor.title()
    visitor.answer()
    visitor.page.click(".told summary")
    visitor.press("change", ".ask .count:has-text('Change an answer')")
    assert visitor.title() == first
    visitor.press("back", ".ask .count:has-text('Question 2')")
    visitor.press("back", ".ask .count:has-text('Question 1')")
    assert visitor.title() == first
    visitor.close()


def test_what_is_no_photo_is_said_in_a_sentence(served: Served, browser: Any, tmp_path: Any) -> None:
    file = tmp_path / "letter.jpg"
    file.write_text("Dear all")
    visitor = Visitor(browser, served.url)
    visitor.open()
    visitor.page.set_input_files("input[type=file]", file)
    visitor.page.wait_for_selector(".notice")
    told = visitor.page.inner_text(".notice")
    assert told.startswith("letter.jpg") and str(served.home) not in told
    visitor.close()
