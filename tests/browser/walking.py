"""What a person does on the pages, and what must never be seen there."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

from model.flora.load import read_mapping

ROOT = Path(__file__).resolve().parents[2]
PHOTO = ROOT / "sample_images" / "taraxacum_officinale_flowering_3.jpg"
# A dandelion as a careful person sees it; what is not here is answered unsure.
SEES: dict[str, Any] = read_mapping(ROOT / "sample_images" / "dandelion_answers.yaml")
SIZES = {"phone": (390, 844), "desk": (1280, 800)}
# A page that is left closes its open stream, and gradio's client reports its own closing, if the browser is quick
# enough.
LEAVING = "signal is aborted without reason"


class Visitor:
    """One person with a browser of their own; ``elsewhere`` and ``faults`` collect what must stay empty."""

    def __init__(self, browser: Any, url: str, size: str = "phone") -> None:
        width, height = SIZES[size]
        self.url = url
        self.context = browser.new_context(viewport={"width": width, "height": height}, has_touch=size == "phone")
        self.page = self.context.new_page()
        self.page.set_default_timeout(20_000)
        self.width = width
        self.elsewhere: list[str] = []
        self.faults: list[str] = []
        self.page.on("request", self._note)
        self.page.on("pageerror", lambda error: self._fault(str(error)))
        self.page.on("console", lambda said: self._fault(said.text) if said.type == "error" else None)

    def _note(self, request: Any) -> None:
        if not request.url.startswith((self.url, "data:", "blob:")):
            self.elsewhere.append(request.url)

    def _fault(self, told: str) -> None:
        if LEAVING not in told:
            self.faults.append(told)

    def open(self, address: str = "/") -> None:
        """Go to an address and wait until its page is there."""
        self.page.goto(self.url + address)
        self.page.wait_for_selector("h1[tabindex]")

    def press(self, do: str, then: str = "h1[tabindex]", which: str = "") -> None:
        """Press the button that does something, and wait for what comes of it."""
        exact = f'[data-with="{which}"]' if which else ""
        self.page.click(f'button[data-do="{do}"]{exact} >> visible=true')
        self.settled()
        self.page.wait_for_selector(then)

    def settled(self) -> None:
        """Wait until the server has answered."""
        self.page.wait_for_function("!document.body.dataset.busy")

    def title(self) -> str:
        """The heading of the page."""
        return str(self.page.inner_text("h1[tabindex]"))

    def add_photo(self, photo: Path = PHOTO) -> None:
        """Choose a photo, as from a gallery."""
        before = self.page.locator(".shots li").count()
        with self.page.expect_file_chooser() as choosing:
            self.page.click("#camera")
        choosing.value.set_files(photo)
        self.page.wait_for_selector(f".shots li:nth-child({before + 1})")
        self.settled()

    def answer(self, keyboard: bool = False) -> None:
        """Answer the question on the page as SEES has it, else with unsure."""
        question = self.page.get_attribute('button[data-do="unsure"]', "data-with")
        asked = self.title()
        seen = SEES.get(str(question), [])
        if self.page.locator("#f-reading").count():
            self.page.fill("#f-reading", str(seen or ""))
            states = []
        else:
            states = [seen] if isinstance(seen, str) else seen
        for state in states:
            box = self.page.locator(f'.states input[value="{state}"]')
            if keyboard:
                box.focus()
                self.page.keyboard.press("Space")
            else:
                box.check()
        button = self.page.locator(f'button[data-do="{"answer" if seen else "unsure"}"]')
        if keyboard:
            button.focus()
            self.page.keyboard.press("Enter")
        else:
            button.click()
        self.page.wait_for_function(
            "(before) => document.querySelector('h1[tabindex]')?.innerText.trim() !== before", arg=asked.strip()
        )
        self.settled()

    def answer_all(self, most: int = 25, keyboard: bool = False) -> None:
        """Answer until the name is proven."""
        for _ in range(most):
            if not self.page.locator('button[data-do="answer"]').count():
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
