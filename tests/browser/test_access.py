"""Whether the pages can be used by everyone: axe on each page, what depends on the size at both; targets, width."""

from __future__ import annotations

from collections.abc import Callable
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
BY_SIZE = {
    "resultTypes": ["violations"],
    "runOnly": {
        "type": "rule",
        "values": [
            "aria-hidden-focus",
            "color-contrast",
            "link-in-text-block",
            "meta-viewport",
            "scrollable-region-focusable",
            "target-size",
        ],
    },
}
PLACES = (
    "/flora?character=leaf_outline",
    "/flora?species=soliva_sessilis",
    "/flora?q=bindii",
    "/records",
    "/training",
    "/key",
)


@pytest.fixture(scope="module")
def axe() -> Any:
    found = pytest.importorskip(
        "axe_playwright_python.sync_playwright",
        reason="axe-playwright-python is missing, so a page that cannot be read aloud or is too faint goes unseen",
    )
    return found.Axe()


def _stop_without_a_name(visitor: Visitor, check: Callable[[str], None]) -> None:
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


def _faults(axe: Any, visitor: Visitor, options: dict[str, Any]) -> list[str]:
    """What is wrong with the page as it stands."""
    told = [
        f"{fault['id']}: {node['target']} {node['html'][:120]}"
        for fault in axe.run(visitor.page, options=options).response["violations"]
        if fault["impact"] in GRAVE
        for node in fault["nodes"]
    ]
    told += [f"small: {target}" for target in visitor.small_targets()]
    return told + (["too wide"] if visitor.is_too_wide() else [])


def test_no_page_has_a_serious_fault(axe: Any, served: Served, browser: Any) -> None:
    visitor = Visitor(browser, served.url, "phone")
    faults: dict[str, list[str]] = {}

    def check(name: str) -> None:
        for size, options in (("desk", BY_SIZE), ("phone", RULES)):
            width, height = SIZES[size]
            visitor.page.set_viewport_size({"width": width, "height": height})
            if told := _faults(axe, visitor, options):
                faults[f"{name}, {size}"] = told

    visitor.open()
    check("photos")
    visitor.add_photo()
    check("photo added")
    visitor.press("look", ".ranks")
    check("candidates")
    visitor.press("ask", ".parts")
    check("what can be seen")
    visitor.see()
    check("question")
    _stop_without_a_name(visitor, check)
    visitor.answer_all()
    visitor.press("conclude", ".verdict")
    check("finding")
    visitor.press("onward", 'button[data-do="make_plan"]')
    check("lawn")
    visitor.press("make_plan", ".summary")
    check("plan")
    visitor.page.locator('.option:has(.actives) input[name="choice"]').first.check()
    visitor.press("choose", "#f-temperature")
    check("spray")
    visitor.press("to_record", 'button[data-do="keep"]')
    check("record")
    visitor.page.fill("#f-client", "Access")
    visitor.page.fill("#f-address", "3 Test Street")
    visitor.page.fill("#f-who", "Sam")
    visitor.press("keep", 'button[data-do="sign_visit"]')
    check("visit kept")
    visitor.page.click('a:has-text("In the records")')
    visitor.page.wait_for_selector(".backlink")
    check("visit in the records")
    visitor.page.click(".backlink a")
    visitor.page.wait_for_selector("h2:has-text('History')")
    check("place")
    for place in PLACES:
        visitor.open(place)
        check(place)
    visitor.close()
    assert not faults, "\n".join(f"{name}: {fault}" for name, told in faults.items() for fault in told)
