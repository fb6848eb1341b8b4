"""The other ways in, in a browser on a phone: a known weed, a tool alone, a kept visit; and Back to the step before."""

from __future__ import annotations

from typing import Any

from tests.browser.conftest import Served
from tests.browser.walking import Visitor

FINE = {"temperature": "16", "humidity": "60", "wind": "9", "hour": "11:00"}
LONGEST_PLAN = 2000  # px on a phone, folded; it was 4,680


def go_to(visitor: Visitor, words: str, then: str) -> None:
    """Follow a link, and wait until its page is there."""
    visitor.settled()
    visitor.page.click(f"a:has-text('{words}')")
    visitor.page.wait_for_selector(then)
    visitor.settled()


def weigh(visitor: Visitor) -> None:
    for name, value in FINE.items():
        visitor.page.fill(f"#f-{name}", value)
    visitor.press("weigh", ".window")


def test_a_known_weed_is_sprayed_on_another_day_with_the_sums_beside_it(
    visitor: Visitor, served: Served, browser: Any
) -> None:
    page = visitor.page
    visitor.open()
    go_to(visitor, "I know the weed", "#f-weed")
    page.fill("#f-weed", "bindii")
    page.check('input[name="lawn"][value="buffalo"]')
    page.select_option("#f-month", "7")
    visitor.press("make_plan", ".summary")
    plan = visitor.title()
    assert plan == "Bindii: buffalo lawn, July" and not visitor.is_too_wide()
    assert page.evaluate("document.documentElement.scrollHeight") < LONGEST_PLAN
    option = page.locator(".option:has-text('bromoxynil + MCPA')").first
    assert not option.locator("li").first.is_visible()
    option.locator("summary").first.click()
    assert option.locator("li").first.is_visible() and not page.locator(".stands").first.is_visible()
    page.click(".sources > summary")
    assert option.locator(".stands").first.is_visible()
    page.go_back()
    page.wait_for_selector("h1:has-text('The weed and the lawn')")
    assert page.input_value("#f-weed") == "bindii"
    visitor.press("make_plan", ".summary")
    page.locator('.option input[value*="bromoxynil+MCPA"]').first.check()
    visitor.press("choose", "#f-temperature")
    other = Visitor(browser, served.url)
    other.open()
    assert not other.page.locator(".unfinished").is_visible(), "it is shown in its own browser only"
    other.close()
    visitor.open()
    go_to(visitor, "Bindii", "#f-temperature")
    visitor.press("to_record", 'button[data-do="keep"]')
    page.fill("#f-client", "Known weed")
    page.fill("#f-address", "2 Test Street")
    page.fill("#f-who", "Sam")
    visitor.press("keep", 'button[data-do="sign_visit"]')
    visit = page.url
    visitor.open()
    assert not page.locator(".unfinished").is_visible(), "it is a visit now"
    page.goto(visit)
    go_to(visitor, "Spray check and sums", "#f-temperature")
    weigh(visitor)
    page.click("summary:has-text('Spot mix')")
    page.fill("#f-spot-volume", "5")
    page.fill("#f-spot-rate", "10 mL/L")
    visitor.press("sum", ".result", "spot")
    visitor.press("to_record", 'button[data-do="keep_in_visit"]')
    visitor.press("keep_in_visit", 'button[data-do="sign_visit"]')
    values = page.eval_on_selector_all(".treatment input", "fields => fields.map((field) => field.value)")
    assert {"bromoxynil + MCPA", "10 mL/L", "50 mL", "16"} <= set(values)


def test_spray_check_and_sums_need_no_plant(visitor: Visitor) -> None:
    page = visitor.page
    visitor.open()
    go_to(visitor, "Spray check", "#f-temperature")
    page.select_option("#f-active", "MCPA")
    page.select_option("#f-with", "dicamba")
    page.select_option("#f-lawn", "buffalo")
    weigh(visitor)
    assert "STOP" in page.inner_text(".window")
    page.reload()
    page.wait_for_selector(".window:has-text('STOP')")
    visitor.open()
    go_to(visitor, "Sums", "h1:has-text('Sums')")
    page.click("summary:has-text('Granules')")
    page.fill("#f-granule-rate", "16 g/m2")
    page.fill("#f-granule-area", "50")
    visitor.press("sum", ".result", "granule")
    assert "800 g" in page.inner_text(".result")


def test_back_in_the_browser_leads_from_a_question_to_the_step_before(visitor: Visitor) -> None:
    page = visitor.page
    visitor.open()
    visitor.press("look", ".ask")
    visitor.see()
    visitor.answer()
    plant = visitor.plant()
    page.go_back()
    page.wait_for_selector("h1:has-text('Photos of one plant')")
    assert visitor.plant() == plant, "it is the same plant"
    visitor.press("look", ".ask .count:has-text('Question 2')")
    assert visitor.plant() == plant
