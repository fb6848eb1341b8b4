"""How many taps the usual jobs take on a phone, counted on the real pages, and where the eye is after each."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest

from tests.browser.conftest import Served
from tests.browser.walking import Visitor, plant_seen

COUNT = "window.taps = 0; addEventListener('pointerdown', () => window.taps++, true)"
# What has the focus, and whether all of it that fits is in view.
FOCUS = """() => {
  const at = document.activeElement, box = at.getBoundingClientRect();
  const end = Math.min(box.bottom, box.top + innerHeight / 2);
  return [at.className, at.innerText, box.top >= 0 && end <= innerHeight + 1];
}"""
# On to the next page, and back while no press counts there yet.
BACK_AT_ONCE = """() => new Promise((done) => {
  new MutationObserver((_, watch) => {
    if (!document.querySelector("h1")?.textContent.startsWith("What can you see")) return;
    watch.disconnect();
    setTimeout(() => done(history.back()), 60);
  }).observe(document.body, { childList: true, subtree: true });
  document.querySelector('button[data-do="look"]').click();
})"""
BINDII = "soliva_sessilis"


@pytest.fixture
def visitor(served: Served, browser: Any) -> Iterator[Visitor]:
    found = Visitor(browser, served.url)
    found.page.add_init_script(COUNT)
    found.open()
    yield found
    assert found.elsewhere == [] and found.faults == []
    found.close()


def taps(visitor: Visitor, job: str) -> int:
    """The taps so far, printed for the README."""
    count = int(visitor.page.evaluate("window.taps"))
    print(f"{job}: {count} taps")
    return count


def test_from_a_photo_of_a_dandelion_to_a_plan(visitor: Visitor) -> None:
    visitor.add_photo()
    visitor.see("leaves", "flowers")
    visitor.answer_all()
    visitor.press("onward", 'button[data-do="make_plan"]')
    visitor.press("make_plan", ".summary")
    assert taps(visitor, "a photo of a dandelion to a plan for the confirmed name") <= 10


@pytest.mark.parametrize(
    ("month", "parts", "most", "job"),
    [
        ("11", ("leaves", "seeds"), 9, "bindii in seed, without a photo, to a confirmed name"),
        ("7", ("leaves",), 14, "bindii in leaf in July, without a photo, to a confirmed name"),
    ],
)
def test_bindii_without_a_photo(visitor: Visitor, month: str, parts: tuple[str, ...], most: int, job: str) -> None:
    visitor.sees = plant_seen(BINDII)
    visitor.page.select_option("#f-month", month)  # it is this month, so nobody has to tap
    visitor.see(*parts)
    visitor.answer_all()
    assert visitor.title() == "The name is confirmed"
    assert taps(visitor, job) <= most
    visitor.press("conclude", ".verdict")
    assert visitor.title() == "bindii"


def is_seen(visitor: Visitor, of: str, words: str) -> None:
    """What the last press did has the focus and is in view."""
    name, says, in_view = visitor.page.evaluate(FOCUS)
    assert of in name.split() and words in says and in_view, (name, says, in_view)


def test_what_a_press_did_is_in_sight_and_has_the_focus(visitor: Visitor) -> None:
    visitor.press("look", ".ask")
    visitor.page.click(".others summary")
    visitor.press("see", ".notice")
    is_seen(visitor, "notice", "Tick at least one")
    visitor.see()
    visitor.answer_all()
    visitor.press("onward", 'button[data-do="make_plan"]')
    visitor.press("make_plan", ".summary")
    visitor.page.locator('.option:has(.actives) input[name="choice"]').first.check()
    visitor.press("choose", "#f-temperature")
    for name, value in {"temperature": "22", "humidity": "60", "wind": "9", "hour": "11:00"}.items():
        visitor.page.fill(f"#f-{name}", value)
    visitor.press("weigh", ".window")
    is_seen(visitor, "window", "Delta T")
    visitor.page.click("summary:has-text('Tank mix')")
    for name, value in {"tank": "10", "output": "400", "rate": "3 L/ha"}.items():
        visitor.page.fill(f"#f-tank-{name}", value)
    visitor.press("sum", ".result", "tank")
    assert "75 mL" in visitor.page.evaluate(FOCUS)[1] and visitor.page.evaluate(FOCUS)[2]
    visitor.press("to_record", 'button[data-do="keep"]')
    visitor.press("keep", ".notice")
    is_seen(visitor, "notice", "Choose a site")


def test_back_in_the_browser_comes_to_the_step_before(visitor: Visitor) -> None:
    page = visitor.page
    assert page.title() == "Photos of one plant · swardkey"
    visitor.press("look", ".ask")
    plant = visitor.plant()
    page.go_back()
    page.wait_for_selector("h1:has-text('Photos of one plant')")
    assert visitor.plant() == plant, "Back led to another plant"
    visitor.settled()
    page.go_forward()
    page.wait_for_selector("h1:has-text('What can you see')")
    assert page.title() == "What can you see or reach? · swardkey"


def test_back_as_soon_as_a_page_is_there_is_not_lost(visitor: Visitor) -> None:
    visitor.page.evaluate(BACK_AT_ONCE)
    visitor.page.wait_for_selector("h1:has-text('Photos of one plant')")


def test_the_first_thing_sent_is_ours(visitor: Visitor) -> None:
    sent = visitor.page.request.get(visitor.url).text().split("window.gradio_config")
    assert "<title>swardkey</title>" in sent[0] + sent[-1]
    assert "og:" not in sent[0] and "twitter:" not in sent[0]
