"""What a person does on the pages, and what must never be seen there."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from functools import cache
from math import log
from pathlib import Path
from typing import Any

from model.flora.character import PARTS
from model.flora.load import load_characters
from model.identify import Key
from tests.app.page_visitor import DANDELION, typical

ROOT = Path(__file__).resolve().parents[2]
PHOTO = ROOT / "sample_images" / "taraxacum_officinale_flowering_3.jpg"
SIZES = {"phone": (390, 844), "desk": (1280, 800)}
# A page that is left closes its open stream, and gradio's client reports its own closing, if the browser is quick
# enough.
LEAVING = ("signal is aborted without reason", "BodyStreamBuffer was aborted")


@cache
def plant_seen(species: str = DANDELION) -> dict[str, str]:
    """A dandelion, or another plant, as a careful person sees it."""
    return typical(Key(), species)


class Visitor:
    """One person with a browser of their own; ``elsewhere`` and ``faults`` collect what must stay empty."""

    def __init__(self, browser: Any, url: str, size: str = "phone") -> None:
        width, height = SIZES[size]
        self.url = url
        self.context = browser.new_context(viewport={"width": width, "height": height}, has_touch=size == "phone")
        self.context.set_default_timeout(120_000)  # a time only to give up at
        self.page = self.context.new_page()
        self.width = width
        self.elsewhere: list[str] = []
        self.faults: list[str] = []
        self.sees: Mapping[str, str] = plant_seen()
        self.page.on("request", self._note)
        self.page.on("pageerror", lambda error: self._fault(str(error)))
        self.page.on("console", lambda said: self._fault(said.text) if said.type == "error" else None)

    def _note(self, request: Any) -> None:
        if not request.url.startswith((self.url, "data:", "blob:")):
            self.elsewhere.append(request.url)

    def _fault(self, told: str) -> None:
        if not any(words in told for words in LEAVING):
            self.faults.append(told)

    def open(self, address: str = "/") -> None:
        """Go to an address and wait until its page is there and takes what is typed."""
        self.page.goto(self.url + address)
        self.page.wait_for_selector("h1[tabindex]")
        self.settled()

    def press(self, do: str, then: str = "h1[tabindex]", which: str = "") -> None:
        """Press the button that does something, and wait for what comes of it."""
        exact = f'[data-with="{which}"]' if which else ""
        self.settled()
        self.page.click(f'button[data-do="{do}"]{exact} >> visible=true')
        self.settled()
        self.page.wait_for_selector(then)

    def settled(self) -> None:
        """Wait until the server has answered and a press counts: for a moment after a new question none does."""
        self.page.wait_for_function("!document.body.dataset.busy")

    def title(self) -> str:
        """The heading of the page."""
        return str(self.page.inner_text("h1[tabindex]"))

    def add_photo(self, photo: Path = PHOTO) -> None:
        """Choose a photo, as from a gallery; one without fault leads on to what it could be."""
        before = self.page.locator(".shots li").count()
        with self.page.expect_file_chooser() as choosing:
            self.page.click("input[type=file]")
        choosing.value.set_files(photo)
        self.page.wait_for_selector(f".shots li:nth-child({before + 1})")
        self.settled()

    def see(self, *parts: str) -> None:
        """Tell what can be seen, where that is asked: all, when none is named."""
        if not self.page.locator('button[data-do="see_usual"]').count():
            return
        usual, then = " ".join(part for part in PARTS if part in (parts or PARTS)), ".ask .count:has-text('Question')"
        if self.page.locator(f'button[data-with="{usual}"]').count():
            self.press("see_usual", then, usual)
            return
        self.page.click(".others:not([open]) summary")
        for part in parts:
            self.page.check(f'.parts input[value="{part}"]')
        self.press("see", then)

    def asked(self) -> str:
        """The character that is asked about, "" where none is."""
        unsure = self.page.locator('button[data-do="unsure"]')
        return str(unsure.get_attribute("data-with")) if unsure.count() else ""

    def answer(self, keyboard: bool = False) -> None:
        """Answer the question on the page as one who has the plant that is seen, else with unsure."""
        self.see()
        question = self.asked()
        seen = self.sees.get(question, "")
        self._leave(lambda: self._tell(question, seen, keyboard))

    def _tell(self, question: str, seen: str, keyboard: bool) -> None:
        if not seen:
            self._hit(f'button[data-do="unsure"][data-with="{question}"]', keyboard)
        elif self.page.locator("select#f-reading").count():
            self.page.select_option("#f-reading", seen)
            self._hit("button.main", keyboard)
        elif self.page.locator("[data-reading]").count():
            nearest = min(self.readings(), key=lambda mark: abs(log(float(mark) / float(seen))))
            self._hit(f'button[data-reading="{nearest}"]', keyboard)
        else:
            self.into_group(question, seen, keyboard)
            self._hit(f'button[data-state="{seen}"]', keyboard)

    def into_group(self, question: str, state: str, keyboard: bool = False) -> None:
        """The first of two taps, where states are dealt out to groups; none where the state is there already."""
        if self.page.locator(f'button[data-state="{state}"]').count():
            return
        group = next(name for name, g in load_characters()[question].groups.items() if state in g.states)
        self._hit(f'button[data-with="{question}:{group}"]', keyboard)
        self.page.wait_for_selector(f'button[data-state="{state}"]')
        self.settled()

    def into_a_long_list(self) -> None:
        """Answer until a question comes whose states are dealt out to groups."""
        for _ in range(12):
            if self.page.locator(".kinds").count():
                return
            self.answer()
        raise AssertionError("no question with groups came")

    def unsure(self) -> None:
        """Answer with unsure."""
        self._leave(lambda: self.page.click('button[data-do="unsure"]'))

    def take_all_back(self) -> None:
        """Back to before the first answer, and tell again that all can be seen."""
        for _ in range(30):
            if self.page.locator('button[data-do="see"]').count():
                break
            self._leave(lambda: self.page.click('button[data-do="back"]'))
        self.see()

    def _leave(self, press: Callable[[], object]) -> None:
        """Press, and wait until the page after it is there."""
        turn = "document.querySelector('#work')?.dataset.turn"
        before = self.page.evaluate(turn)
        press()
        self.page.wait_for_function(f"(before) => ({turn} || before) !== before", arg=before)
        self.settled()

    def _hit(self, button: str, keyboard: bool) -> None:
        if keyboard:
            self.page.locator(button).focus()
            self.page.keyboard.press("Enter")
        else:
            self.page.click(button)

    def readings(self) -> list[str]:
        """The readings that can be tapped."""
        marks = "(found) => found.map((button) => button.dataset.reading)"
        return list(self.page.eval_on_selector_all("[data-reading]", marks))

    def answer_all(self, most: int = 25, keyboard: bool = False) -> None:
        """Answer until the name is proven."""
        self.see()
        for _ in range(most):
            if not self.asked():
                return
            self.answer(keyboard)

    def to_lawn(self) -> None:
        """Without photos, from the questions to the proven name and on to the lawn."""
        self.open()
        self.press("look", ".ask")
        self.answer_all()
        self.press("conclude", ".verdict")
        self.press("onward", 'button[data-do="make_plan"]')

    def to_record(self) -> None:
        """On to the record, with a spray chosen."""
        self.to_lawn()
        self.press("make_plan", ".summary")
        self.page.locator('.option:has(.actives) input[name="choice"]').first.check()
        self.press("choose", "#f-temperature")
        self.press("to_record", 'button[data-do="keep"]')

    def plant(self) -> str:
        """The id in the address."""
        found = re.search(r"[?&]plant=([A-Za-z0-9_-]{22})", self.page.url)
        assert found is not None, self.page.url
        return found[1]

    def is_too_wide(self) -> bool:
        """Whether the page must be scrolled sideways."""
        return bool(self.page.evaluate("document.documentElement.scrollWidth > window.innerWidth"))

    def small_targets(self) -> list[str]:
        """What can be pressed but is under 44 px high or wide, but for links within text."""
        return list(self.page.evaluate(_SMALL))

    def close(self) -> None:
        """Leave."""
        self.context.close()


_SMALL = """() => {
  const found = [];
  for (const e of document.querySelectorAll("button, select, summary, input:not([type=file], [type=hidden]), a")) {
    const target = e.closest("label") || e, box = target.getBoundingClientRect();
    if (!e.checkVisibility() || !box.width || e.disabled || e.closest(".skip, p, dd, small, .hidden")) continue;
    if (box.height >= 43.5 && box.width >= 43.5) continue;
    found.push(`${e.tagName} ${e.innerText || e.name} ${box.width}x${box.height}`);
  }
  return found;
}"""
