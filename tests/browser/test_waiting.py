"""What the page says and keeps while the server is not there yet, is busy, is full, or is gone."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from app.web.page import FULL
from tests.browser.conftest import Served
from tests.browser.walking import Visitor

PRESS = "**/gradio_api/component_server/"


@pytest.fixture
def visitor(served: Served, browser: Any) -> Iterator[Visitor]:
    found = Visitor(browser, served.url)
    yield found
    assert found.elsewhere == []
    found.close()


def test_a_photo_chosen_as_soon_as_the_page_is_there_is_not_lost(visitor: Visitor) -> None:
    """What is chosen while the libraries are still being loaded waits for them."""
    visitor.page.goto(visitor.url)
    visitor.page.wait_for_selector("input[type=file]")
    visitor.settled()
    visitor.add_photo()
    assert visitor.plant() and visitor.faults == []


def test_what_is_not_taken_is_said_and_the_page_goes_on(visitor: Visitor, served: Served, tmp_path: Path) -> None:
    """Two are not even sent; the third is no photo."""
    files = {
        "letter.pdf": (b"%PDF-1.4", ".warning", "letter.pdf: is not one of photos"),
        "large.jpg": (b"\xff\xd8" * 12_500_001, ".warning", "over 25 MB"),
        "letter.jpg": (b"Dear all", ".notice:not(.warning)", "letter.jpg: "),
    }
    visitor.open()
    for name, (data, where, says) in files.items():
        (tmp_path / name).write_bytes(data)
        visitor.page.set_input_files("input[type=file]", tmp_path / name)
        visitor.page.wait_for_selector(f"{where}:has-text('{says}')")
    assert str(served.home) not in visitor.page.inner_text(".notice")
    visitor.press("look", ".ask")
    assert visitor.page.locator(".notice").count() == 0 and visitor.faults == []


def test_a_long_line_is_told_in_people(visitor: Visitor) -> None:
    visitor.open()
    held: list[Any] = []

    def answer(route: Any) -> None:
        if '"waiting"' in route.request.post_data:
            route.fulfill(json=3)
        else:
            held.append(route)

    visitor.page.route(PRESS, answer)
    visitor.page.click('button[data-do="look"]')
    visitor.page.wait_for_selector(".looking:has-text('3 people are waiting.')")
    held[0].continue_()
    visitor.page.wait_for_selector(".ask")


def test_what_cannot_be_sent_is_said_and_can_be_sent_again(visitor: Visitor) -> None:
    answers: dict[str, Any] = {
        "Too many people are waiting": lambda route: route.fulfill(json={"refused": FULL}),
        "swardkey is not responding": lambda route: route.abort(),
        "is not responding": lambda route: route.fulfill(status=413, body="That is more than a form may hold."),
    }
    visitor.open()
    for says, answer in answers.items():
        visitor.page.route(PRESS, answer)
        visitor.page.click('button[data-do="look"]')
        visitor.page.wait_for_selector(f".warning:has-text('{says}')")
        assert visitor.page.locator(".toast-wrap >> visible=true").count() == 0
        visitor.settled()
        visitor.page.unroute(PRESS)
    visitor.press("look", ".ask")


def test_more_tabs_than_a_browser_has_lines_are_all_served(visitor: Visitor) -> None:
    """A browser has six lines to a server for all its tabs; none may be held open by a tab that does nothing."""
    for _ in range(7):
        visitor.context.new_page().goto(visitor.url, wait_until="commit")
    for tab in visitor.context.pages[1:]:
        tab.wait_for_selector("h1[tabindex]")
    visitor.open()
    visitor.press("look", ".ask")
