"""Whether the pages can be used by everyone: axe on each page at both sizes, targets, width."""

from __future__ import annotations

from typing import Any

import pytest

from tests.browser.conftest import Served
from tests.browser.walking import SIZES, Visitor

GRAVE = ("serious", "critical")
RULES = {"resultTypes": ["violations"], "runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]}
PLACES = {
    "phone": ("/flora?character=leaf_outline", "/flora?species=soliva_sessilis", "/records", "/training", "/key"),
    "desk": ("/flora?q=bindii", "/records"),
}


@pytest.fixture(scope="module")
def axe() -> Any:
    found = pytest.importorskip(
        "axe_playwright_python.sync_playwright",
        reason="axe-playwright-python is missing, so a page that cannot be read aloud or is too faint goes unseen",
    )
    return found.Axe()


@pytest.mark.parametrize("size", list(SIZES))
def test_no_page_has_a_serious_fault(axe: Any, served: Served, browser: Any, size: str) -> None:
    visitor = Visitor(browser, served.url, size)
    faults: dict[str, list[str]] = {}

    def check(name: str) -> None:
        found = axe.run(visitor.page, options=RULES).response["violations"]
        told = [
            f"{fault['id']}: {node['target']} {node['html'][:120]}"
            for fault in found
            if fault["impact"] in GRAVE
            for node in fault["nodes"]
        ]
        told += [f"small: {target}" for target in visitor.small_targets()]
        told += ["too wide"] if visitor.is_too_wide() else []
        if told:
            faults[name] = told

    visitor.open()
    check("photos")
    visitor.add_photo()
    check("photo added")
    visitor.press("look", ".ranks")
    check("candidates")
    visitor.press("ask", ".ask")
    visitor.answer()
    check("question")
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
    for place in PLACES[size]:
        visitor.open(place)
        check(place)
    visitor.close()
    assert not faults, "\n".join(f"{name}: {fault}" for name, told in faults.items() for fault in told)
