"""A visitor to the pages without a browser: presses buttons, and reads what is on the page."""

from __future__ import annotations

import html
import re
from collections.abc import Sequence
from functools import cached_property
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

from app.services.home import home
from app.web.context import Context
from app.web.draft import Drafts
from app.web.faults import errors_as_notices
from app.web.message import Message, read_message
from app.web.page import Pages
from app.web.uploads import Uploads
from model.control import Control
from model.flora.character import PARTS
from model.identify import Key

DANDELION = "taraxacum_officinale"


def typical(key: Key, species: str = DANDELION) -> dict[str, str]:
    """What a plant of a species mostly shows, by character: a state or a figure; nothing of a part that it lacks."""
    row, found = key.index[species], {}
    for character, table in key.likelihoods.tables.items():
        if table.known[row] and table.applicable[row]:
            answer = table.answers[int(table.truth[row].argmax())]
            # Nobody reads a ruler to more than two figures.
            found[character] = answer if isinstance(answer, str) else f"{float(f'{answer:.2g}'):g}"
    return found


def context_of(key: Key, control: Control) -> Context:
    """A context whose parts are loaded already; drafts go to the home of the test."""
    context = Context(key, Drafts())
    context.__dict__["control"] = control
    return context


class Shown:
    """A page as its HTML, and what stands on it."""

    def __init__(self, text: str = "", refused: str = "") -> None:
        self.text, self.refused = text, refused

    @property
    def plant(self) -> str:
        """The id of the plant, "" on a page without one."""
        found = re.search(r'data-plant="([\w-]{22})"', self.text)
        return found[1] if found else ""

    @property
    def title(self) -> str:
        """The heading."""
        found = re.search(r"<h1[^>]*>(.*?)</h1>", self.text, re.DOTALL)
        return html.unescape(found[1]).strip() if found else ""

    @property
    def notices(self) -> list[str]:
        """What the page says went wrong, or was done; first why nothing could be."""
        said = re.findall(r'class="(?:notice|told-so)" role="\w+">([^<]*)', self.text.split('id="work"')[0])
        return [self.refused] * bool(self.refused) + [html.unescape(text) for text in said]

    @property
    def faults(self) -> list[str]:
        """What the page says went wrong."""
        said = re.findall(r'class="notice" role="\w+">([^<]*)', self.text.split('id="work"')[0])
        return [self.refused] * bool(self.refused) + [html.unescape(text) for text in said]

    def asked(self) -> str:
        """The character that is asked about, "" when there is none."""
        found = re.search(r'data-do="unsure" data-with="(\w+)"', self.text)
        return found[1] if found else ""


class Person(Shown):
    """One person on the path."""

    def __init__(self, context: Context, address: dict[str, str] | None = None) -> None:
        self.context = context
        self.pages = Pages(context)
        self.address = f"?{urlencode(address or {})}"
        super().__init__(self.pages.open(address or {}))

    def press(self, do: str, which: str = "", **fields: str | Sequence[str]) -> Person:
        """Press a button, with what stands in its form."""
        given = {name: value if isinstance(value, str) else list(value) for name, value in fields.items()}
        # What is not saved yet begins as its address says.
        begun = {"address": self.address} if "way=" in self.address else {}
        return self.send(plant=self.plant, do=do, fields=given, **begun, **{"with": which})

    def send(self, **sent: Any) -> Person:
        """Send a message as the script of the page does."""
        refused: list[str] = []
        with errors_as_notices(refused):
            self.text = self.pages.press(read_message(sent, Uploads(home() / "uploads")))
        self.refused = "".join(refused)
        return self

    def add_photos(self, *files: Path) -> Person:
        """Choose photos, which lie where an upload would."""
        self.refused, self.text = "", self.pages.press(Message(plant=self.plant, do="add_photos", files=files))
        return self

    def add_forecast(self, file: Path) -> Person:
        """Choose a forecast."""
        self.refused, self.text = "", self.pages.press(Message(plant=self.plant, do="add_forecast", files=(file,)))
        return self

    def choose_a_spray(self) -> Person:
        """Choose the first option with an active that the plan does not rule out."""
        found = re.search(r'name="choice"[^>]* value="((?:selective|pre_emergent)[^"]+)"', self.text)
        assert found is not None, "the plan offers no spray"
        return self.press("choose", choice=html.unescape(found[1]))

    def see(self, *visible: str) -> Person:
        """Tell what can be seen, where that is asked: all, when none is named."""
        if 'data-do="see"' in self.text:
            self.press("see", visible=visible or PARTS)
        return self

    def answer(self, sees: dict[str, str] | None = None) -> Person:
        """Answer the question on the page as one who has a dandelion, or what else is seen; else with unsure."""
        asked = self.asked()
        seen = (self._dandelion if sees is None else sees).get(asked)
        if not seen:
            return self.press("unsure", asked)
        choice = self.context.key.flora.characters[asked].kind == "choice"
        return self.press("answer", asked, **{"state" if choice else "reading": seen})

    @cached_property
    def _dandelion(self) -> dict[str, str]:
        return typical(self.context.key)

    def prove(self) -> Person:
        """Answer until the name is proven, then see the finding."""
        self.see()
        for _ in range(30):
            if not self.asked():
                break
            self.answer()
        return self.press("conclude")
