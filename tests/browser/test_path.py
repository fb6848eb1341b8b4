"""The whole path in a browser, from photo to signed record; each page usable by everyone, at both sizes."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

import pytest

from model.flora.character import PARTS
from model.flora.load import load_characters
from model.identify import MOST_ASKED
from tests.browser.conftest import Served
from tests.browser.walking import SIZES, Visitor

GRAVE = ("serious", "critical")
RULES = {"resultTypes": ["violations"], "runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]}
# What of it the width of a page decides: all else was found on the phone.
WIDE = ["aria-hidden-focus", "color-contrast", "link-in-text-block", "scrollable-region-focusable", "target-size"]
BY_SIZE = {"resultTypes": ["violations"], "runOnly": {"type": "rule", "values": WIDE}}
PLACES = (
    "/flora?character=leaf_outline",
    "/flora?species=soliva_sessilis",
    "/flora?q=bindii",
    "/records",
    "/own",
    "/training",
    "/key",
    "/?way=known",
    "/?way=check",
    "/?way=sums",
)
LAID_OUT_WIDE = {"candidates", "groups", "question", "finding", "lawn", "plan", "spray", "visit kept", *PLACES}
ODD = "A <b>client</b> ${7*7} {{7}}"
Check = Callable[[str], None]


@pytest.fixture(scope="module")
def axe() -> Any:
    found = pytest.importorskip(
        "axe_playwright_python.sync_playwright",
        reason="axe-playwright-python is missing, so a page that cannot be read aloud or is too faint goes unseen",
    )
    return found.Axe()


@pytest.fixture
def check(axe: Any, visitor: Visitor) -> Iterator[Check]:
    """Notes what is wrong with the page as it stands, at both sizes; nothing may be at the end.

    What axe finds by the width alone it is asked once for each kind of page: those in LAID_OUT_WIDE.
    """
    wrong: list[str] = []

    def look(name: str) -> None:
        for size, options in (("desk", BY_SIZE), ("phone", RULES)):
            width, height = SIZES[size]
            visitor.page.set_viewport_size({"width": width, "height": height})
            found: list[Any] = []
            if size == "phone" or name in LAID_OUT_WIDE:
                found = axe.run(visitor.page, options=options).response["violations"]
            grave = [fault for fault in found if fault["impact"] in GRAVE]
            faults = [f"{fault['id']}: {node['html'][:120]}" for fault in grave for node in fault["nodes"]]
            faults += [f"small: {target}" for target in visitor.small_targets()]
            faults += ["too wide"] if visitor.is_too_wide() else []
            wrong.extend(f"{name}, {size}: {fault}" for fault in faults)

    yield look
    assert not wrong, "\n".join(wrong)


def test_the_whole_path_from_photo_to_signed_record(visitor: Visitor, check: Check) -> None:
    visitor.open()
    check("photos")
    visitor.add_photo()
    check("candidates")
    visitor.press("go", 'button[data-do="look"]', "photos")
    check("photo added")
    visitor.press("look", ".ranks")
    visitor.see("leaves", "flowers")
    visitor.press("look_again", ".parts")
    check("what can be seen")
    visitor.see()
    check("question")
    stop_without_a_name(visitor, check)
    visitor.answer_all()
    assert visitor.title() == "The name is confirmed"
    visitor.press("conclude", ".verdict.confirmed")
    assert "dandelion" in visitor.title()
    check("finding")
    visitor.press("onward", 'button[data-do="make_plan"]')
    check("lawn")
    read_a_label(visitor)
    visitor.page.check('input[name="lawn"][value="buffalo"]')
    visitor.page.select_option("#f-state", "NSW")
    visitor.press("make_plan", ".summary")
    check("plan")
    weigh_and_mix(visitor, check)
    keep_and_sign(visitor)
    check("visit kept")
    visitor.page.click('a:has-text("In the records")')
    visitor.page.wait_for_selector(".backlink")
    check("visit in the records")
    visitor.page.click(".backlink a")
    visitor.page.wait_for_selector("h2:has-text('History')")
    check("place")


def stop_without_a_name(visitor: Visitor, check: Check) -> None:
    """Every way to answer, four times unsure, something set aside; then back to where it began."""
    asked = load_characters()
    visitor.page.evaluate("document.querySelectorAll('details').forEach((fold) => (fold.open = true))")
    visitor.into_a_long_list()
    check("groups")
    visitor.page.click(".kinds button >> nth=0")
    visitor.page.wait_for_selector(".states [data-state]")
    visitor.settled()
    check("states of a group")
    visitor.press("more", '.states input[name="state"]')
    check("several states")
    visitor.page.check('.states input[name="state"] >> nth=0')
    visitor.press("answer", ".told")
    visitor.press("look_again", ".parts")
    hidden = [part for part in PARTS if part not in ("leaves", "roots")]
    for part in hidden:
        visitor.page.uncheck(f'.parts input[value="{part}"]')
    visitor.press("see", ".set-aside")
    check("set aside")
    for _ in range(MOST_ASKED):
        if not visitor.asked():
            break
        assert asked[visitor.asked()].part not in hidden
        visitor.unsure()
    check("stop")
    visitor.press("conclude", ".verdict.undecided")
    check("undecided")
    visitor.press("look_again", ".parts")
    for part in hidden:
        visitor.page.check(f'.parts input[value="{part}"]')
    visitor.press("see", ".ask .acts")
    visitor.take_all_back()


def read_a_label(visitor: Visitor) -> None:
    """A label that was read unlocks its herbicide, until it is taken back; then to the lawn again."""
    page = visitor.page
    varieties = page.locator('input[name="cultivar"]').first
    page.check('input[name="lawn"][value="buffalo"]')
    assert varieties.is_visible()
    page.check('input[name="lawn"][value="zoysia"]')
    assert not varieties.is_visible()
    visitor.press("make_plan", ".summary")
    into_the_label_form(page)
    which = page.get_attribute('button[data-do="read_label"] >> visible=true', "data-with") or ""
    visitor.press("read_label", ".notice", which)
    assert "registration number" in page.inner_text(".notice")
    page.fill('input[name="number"] >> visible=true', "12345")
    page.fill('input[name="by"] >> visible=true', "Sam")
    page.keyboard.press("Enter")
    page.wait_for_selector(".told-so")
    assert f"Saved: {which} on zoysia, by the label, read by Sam" in page.inner_text(".told-so")
    assert "by the label" in page.inner_text(".options >> nth=-1")
    visitor.press("revoke", ".told-so:has-text('Withdrawn')", which)
    assert page.locator(".rating:has-text('by the label')").count() == 0
    visitor.press("go", 'button[data-do="make_plan"]', "lawn")


def into_the_label_form(page: Any) -> None:
    """Unfold the first option that asks for a label, and its form."""
    option = page.locator(".option:has-text('I have read the label')").first
    option.locator("summary").first.click()
    option.locator("summary:has-text('I have read the label')").click()


def weigh_and_mix(visitor: Visitor, check: Check) -> None:
    """Choose a spray, judge the weather and work out a tank."""
    page = visitor.page
    page.locator('.option:has(.actives) input[name="choice"]').first.check()
    visitor.press("choose", "#f-temperature")
    check("spray")
    for name, value in {"temperature": "22", "humidity": "60", "wind": "9", "hour": "11:00"}.items():
        page.fill(f"#f-{name}", value)
    visitor.press("weigh", ".window")
    page.click("summary:has-text('Tank mix')")
    for name, value in {"tank": "10", "output": "400", "rate": "3 L/ha"}.items():
        page.fill(f"#f-tank-{name}", value)
    visitor.press("sum", ".result", "tank")
    assert "75 mL" in page.inner_text(".result")


def keep_and_sign(visitor: Visitor) -> None:
    """The papers, the visit under an odd name, and its signature."""
    page = visitor.page
    visitor.press("to_record", 'button[data-do="keep"]')
    for kind in ("advice", "job"):
        answer = page.request.get(f"{visitor.url}/paper/{visitor.plant()}/{kind}")
        assert answer.status == 200 and answer.body().startswith(b"%PDF-")
    page.fill("#f-client", ODD)
    page.fill("#f-address", "1 Test Street")
    page.fill("#f-who", "Sam")
    visitor.press("keep", 'button[data-do="sign_visit"]')
    assert ODD in page.inner_text("#work") and page.locator("#work b:text-is('client')").count() == 0
    visitor.press("sign_treatment", ".notice")
    assert "still missing" in page.inner_text(".notice")
    visitor.press("sign_visit", ".signed")


@pytest.mark.parametrize("place", PLACES)
def test_each_place_can_be_used_by_everyone(visitor: Visitor, check: Check, place: str) -> None:
    visitor.open(place)
    check(place)


def test_the_questions_are_answered_with_the_keyboard_alone(served: Served, browser: Any) -> None:
    visitor = Visitor(browser, served.url, "desk")
    visitor.open()
    page = visitor.page
    page.locator('button[data-do="look"]').focus()
    page.keyboard.press("Enter")
    page.wait_for_selector(".ask")
    page.wait_for_function("document.activeElement?.tagName === 'H1'")
    # From the heading, Tab leads to the first answer.
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.dataset.with") == "leaves"
    visitor.answer_all(keyboard=True)
    assert visitor.title() == "The name is confirmed"
    page.wait_for_function("document.activeElement?.tagName === 'H1'")
    visitor.settled()
    for _ in range(2):  # past the way on to the plan
        page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.dataset.do") == "conclude"
    page.keyboard.press("Enter")
    page.wait_for_selector(".verdict.confirmed")
    visitor.close()


def test_two_people_do_not_mix_and_reload_back_and_change_lose_nothing(
    visitor: Visitor, served: Served, browser: Any
) -> None:
    other = Visitor(browser, served.url, "desk")
    for person in (visitor, other):
        person.open()
        person.press("look", ".ask")
        person.see()
    first = visitor.title()
    visitor.answer()
    other.page.reload()
    other.page.wait_for_selector(".ask .count:has-text('Question 1')")
    assert visitor.plant() != other.plant()
    other.close()
    asked, address = visitor.title(), visitor.page.url
    visitor.page.reload()
    visitor.page.wait_for_selector(".ask .count:has-text('Question 2')")
    assert (visitor.title(), visitor.page.url) == (asked, address)
    visitor.page.click(".told summary")
    visitor.press("change", ".ask .count:has-text('Change an answer')")
    assert visitor.title() == first
    visitor.press("back", ".ask .count:has-text('Question 2')")
    visitor.press("back", ".ask .count:has-text('Question 1')")
    assert visitor.title() == first
    visitor.page.go_back()
    visitor.page.wait_for_selector("h1:has-text('Photos of one plant')")
