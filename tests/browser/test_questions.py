"""The questions in a browser: what can be seen, one tap an answer, groups, the photo, and what would decide."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest

from tests.browser.conftest import Served
from tests.browser.walking import SIZES, Visitor

COVERED = """() => {
  const bar = document.querySelector(".ask .stick").getBoundingClientRect();
  return ["h1", ".lead", ".states"].filter((name) => {
    const box = document.querySelector(`.ask ${name}`).getBoundingClientRect();
    const seen = document.elementFromPoint(box.left + 20, box.top + 10);
    return box.top < bar.top && !document.querySelector(`.ask ${name}`).contains(seen);
  });
}"""
IN_SIGHT = """() => [...document.querySelectorAll("[data-larger] img")].some((image) => {
  const box = image.getBoundingClientRect();
  return image.checkVisibility() && box.top >= 0 && box.bottom <= innerHeight + 1 && box.height > 40;
})"""
QUICK = """() => new Promise((done) => {
  const asked = () => document.querySelector(".ask h1").textContent, before = asked();
  const tap = () => document.querySelector('[data-do="unsure"]').click();
  // Told at the very change, its timer is due before that of the page, however slow the machine is.
  const watch = new MutationObserver(() => {
    if (asked() === before) return;
    watch.disconnect();
    setTimeout(() => done(tap()), 60);
  });
  watch.observe(document.body, { childList: true, subtree: true, characterData: true });
  tap();
})"""
SCREENS = 2  # that a question may be long on a phone


@pytest.fixture(params=list(SIZES))
def visitor(request: pytest.FixtureRequest, served: Served, browser: Any) -> Iterator[Visitor]:
    found = Visitor(browser, served.url, request.param)
    found.open()
    yield found
    assert found.elsewhere == [] and found.faults == []
    found.close()


def test_leaves_in_july_are_asked_about_and_nothing_else(visitor: Visitor) -> None:
    visitor.page.select_option("#f-month", "7")
    visitor.press("look", ".seen")
    visitor.see("leaves")
    assert "leaves" in visitor.page.inner_text(".sight")
    height = visitor.page.viewport_size["height"]
    for _ in range(12):
        if not visitor.asked():
            break
        length = visitor.page.evaluate("document.querySelector('.ask .stick').offsetTop")
        assert length < SCREENS * height, visitor.title()
        assert visitor.page.evaluate(COVERED) == []
        visitor.unsure()
    assert visitor.title() == "No more questions for now"
    visitor.press("ask_sender", "#f-message")
    visitor.context.grant_permissions(["clipboard-read", "clipboard-write"])
    visitor.page.click("[data-copy]")
    visitor.page.wait_for_selector(".copied:has-text('Copied')")
    told = visitor.page.input_value("#f-message")
    assert visitor.page.evaluate("navigator.clipboard.readText()") == told != ""
    visitor.press("back", ".decide")
    visitor.press("look_again", ".parts")
    assert visitor.page.is_checked('input[value="leaves"]') and not visitor.page.is_checked('input[value="roots"]')


def test_the_photo_stays_in_sight_and_does_not_cover_the_question(visitor: Visitor) -> None:
    visitor.add_photo()
    visitor.see()
    page = visitor.page
    for down in (0, 250, 500):
        page.evaluate(f"scrollTo(0, {down})")
        page.wait_for_function(IN_SIGHT)  # once it is loaded
    page.evaluate("scrollTo(0, 0)")
    assert page.evaluate(COVERED) == []
    page.click("[data-larger] >> visible=true")
    page.wait_for_function("document.querySelector('dialog[open] img')?.getBoundingClientRect().width > 240")
    page.keyboard.press("Escape")
    page.wait_for_selector("dialog[open]", state="detached")
    page.click("[data-larger] >> visible=true")
    page.click("dialog button")
    page.wait_for_selector("dialog[open]", state="detached")


@pytest.mark.parametrize("visitor", ["phone"], indirect=True)
def test_a_second_quick_tap_does_not_answer_the_next_question(visitor: Visitor) -> None:
    visitor.press("look", ".seen")
    visitor.see()
    # The second tap of two quick ones meets whatever stands there by then.
    visitor.page.evaluate(QUICK)
    visitor.settled()
    assert "Question 2" in visitor.page.inner_text(".count")
