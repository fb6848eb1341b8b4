"""Texts that would be tags if a page did not write them as text, put into every field there is."""

from __future__ import annotations

import random
import re
import shutil
from collections.abc import Iterator
from dataclasses import dataclass, field
from html.parser import HTMLParser
from pathlib import Path

from app.records import open_records
from app.web.context import Context
from app.web.message import Message
from app.web.side_pages import SIDE_PAGES, SidePage
from tests.app.page_visitor import Person
from tests.security.visitor import DANDELION, PHOTO

MARK = "swkx"
SHAPES = (
    "<{m} on{m}=1>", '"><{m}>', "'><{m}>", '" on{m}=1 x="', "' on{m}=1 x='", " on{m}=1 ", "</textarea><{m}>",
    "</select></option><{m}>", "</title></style></script><{m}>", "<!--><{m}>-->", "]]><{m}>", "&lt;{m}&gt;",
    "&amp;lt;{m}&amp;gt;", "&#60;{m}&#62;",
    "\\u003c{m}\\u003e", "{{{{7*7}}}}<{m}>", "${{7*7}}<{m}>", "{{% raw %}}<{m}>",
    "<scr<script>ipt><{m}>", "<{m}\x0bon{m}=1>", "<{m}/on{m}=1>", "<svg><{m}></svg>", "<math><{m}>", "\x00<{m}>",
    "\uff1c{m}\uff1e<{m}>", "\u202e<{m}>", "javascript:{m}", "data:text/html,<{m}>", "%3C{m}%3E",
    "<{m}", "<?{m}?>", "`<{m}>`",
)  # fmt: skip


def hostile(chance: random.Random) -> str:
    """One such text, or two joined."""
    text = "".join(chance.choice(SHAPES).format(m=MARK) for _ in range(chance.randint(1, 2)))
    return text + chance.choice(("", " ", "é", "\U0001f33f", "x" * 50))


class Reader(HTMLParser):
    """Reads a page and notes every tag, attribute and address that came out of a text."""

    def __init__(self, page: str) -> None:
        super().__init__(convert_charrefs=True)
        self.wrong: list[str] = []
        self.feed(page)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if MARK in tag:
            self.wrong.append(f"tag {tag}")
        for name, value in attrs:
            if MARK in name or name.startswith("on"):
                self.wrong.append(f"attribute {name} of {tag}")
            address = re.sub(r"[\x00-\x20]", "", value or "").lower()
            if name in ("href", "src", "action") and re.match(r"(javascript|data|vbscript|//|https?:)", address):
                self.wrong.append(f"address {value} of {tag}")

    def handle_comment(self, data: str) -> None:
        if MARK in data:
            self.wrong.append("comment")

    def handle_pi(self, data: str) -> None:
        if MARK in data:
            self.wrong.append("instruction")


@dataclass
class Tried:
    """How many fields were filled in, by the place they are in, and what came out as a tag."""

    fields: dict[str, int] = field(default_factory=dict)
    wrong: list[str] = field(default_factory=list)
    seen: int = 0  # pages on which a text was shown as text

    def look(self, where: str, count: int, page: str) -> None:
        self.fields[where] = self.fields.get(where, 0) + count
        self.wrong += [f"{where}: {fault}" for fault in Reader(page).wrong]
        self.seen += MARK in page


def forms_of(page: str) -> Iterator[tuple[str, str, dict[str, str]]]:
    """Each button of a page with what it is with, and the fields of text that its form has."""
    for form in re.findall(r"<form.*?</form>", page, re.DOTALL):
        fields = dict.fromkeys(re.findall(r'<(?:input|textarea|select)[^>]* name="([^"]+)"', form), "")
        kept = dict(re.findall(r'<input[^>]* name="([^"]+)" type="(?:date|time)"[^>]* value="([^"]*)"', form))
        for do, which in re.findall(r'data-do="(\w+)"(?: data-with="([^"]*)")?', form):
            yield do, which, fields | kept


class Writer:
    """Walks every page and fills every field with hostile texts, again and again."""

    def __init__(self, context: Context, work: Path, seed: int) -> None:
        self.context, self.work, self.chance, self.tried = context, work, random.Random(seed), Tried()
        self.person = Person(context)

    def text(self) -> str:
        return hostile(self.chance)

    def texts(self, *names: str) -> dict[str, str]:
        return {name: self.text() for name in names}

    def filled(self, fields: dict[str, str]) -> dict[str, list[str]]:
        """Every field with a text; days and times as they are, so that the form is taken."""
        return {name: [kept or self.text()] for name, kept in fields.items()}

    def press(self, do: str, which: str = "", **fields: str) -> None:
        self.person.press(do, which, **fields)
        self.tried.look(f"path, {do}", len(fields), self.person.text)

    def press_all(self, where: str) -> None:
        """Every button of the page as it is, each with hostile fields and with a hostile name beside it."""
        for do, which, fields in list(forms_of(self.person.text)):
            if do in ("keep", "choose", "to_record", "make_plan", "go", "look", "conclude", "onward"):
                continue
            message = Message(plant=self.person.plant, do=do, which=which, fields=self.filled(fields))
            self.tried.look(f"{where}, {do}", len(fields), self.person.pages.press(message))

    def walk(self) -> None:
        """The path, with hostile names of photos, then the record, then the places."""
        name = self.text().replace("/", "\u2215").replace("\0", "")[:80] + ".jpg"
        self.work.mkdir(exist_ok=True)
        file, other = self.work / name, self.work / f"x{name}"
        shutil.copy(PHOTO, file)
        other.write_bytes(b"no photo")
        self.tried.look("names of photos", 2, self.person.add_photos(file, other).text)
        self.press("look", month="11")
        self.press("ask")
        self.press_all("questions")
        for character, state in DANDELION.items():
            self.press("answer", character, state=state)
        self.press("conclude")
        self.press_all("finding")
        self.press("onward")
        self.press("make_plan", **self.texts("site", "lawn", "place", "month", "cover", "state", "near"))
        self.press("make_plan", lawn="buffalo", place="lawn", month="11", state="NSW")
        self.person.choose_a_spray()
        self.press_all("spray")
        self.press("weigh", **self.texts("temperature", "humidity", "wind", "hour", "state", "active"))
        forecast = self.work / name.replace(".jpg", ".csv")
        self.work.mkdir(exist_ok=True)
        forecast.write_text(f"{self.text()},{self.text()}\n1,2\n", encoding="utf-8")
        self.tried.look("forecast", 2, self.person.add_forecast(forecast).text)
        self.press("to_record")
        given = self.texts("who", "client", "phone", "email", "address", "purpose", "notes")
        self.press("keep", day="2026-11-25", state="NSW", **given)
        assert self.person.title == "The record of the visit", self.person.notices
        self.press_all("record")
        self.look_at_places()

    def look_at_places(self) -> None:
        """Every place by its address, with hostile addresses and with all its buttons."""
        with open_records() as records:
            visit, site = records.visits()[0].id, records.sites()[-1].id
        found: list[dict[str, str]] = [{"q": self.text()}, {"q": MARK}, {"visit": str(visit)}, {"site": str(site)}]
        addresses: dict[str, list[dict[str, str]]] = {
            "Flora": [{}, {"q": self.text()}, self.texts("character", "state", "family")],
            "Records": [{}, *found, {"site": self.text()}, {"backup": "list"}, {"backup": self.text()}],
            "Own": [{}, {"product": self.text()}],
            "Learn": [{}, {"pending": self.text()}],
            "Key": [{}, {"month": self.text()}],
        }
        for name, module in SIDE_PAGES.items():
            place = SidePage(self.context, module)
            for address in addresses[name]:
                page = place.open(address)
                self.tried.look(f"{name}, address", len(address), page)
                for do, which, fields in list(forms_of(page)):
                    if do in ("train", "train_full", "check", "fetch", "use", "make_backup", "restore"):
                        continue
                    after = place.press(Message(address, "", do, which, self.filled(fields)))
                    self.tried.look(f"{name}, {do}", len(fields), after)


def own_words(context: Context, work: Path, chance: random.Random) -> Tried:
    """Names of photos that wait, and species of the user's own with hostile names, on the page of learning."""
    from app.services.collection import own_collection

    tried = Tried()
    names = [hostile(chance).replace("/", "\u2215").replace("\0", "")[:80] + ".jpg" for _ in range(3)]
    files = []
    for number, name in enumerate(names):
        (work / str(number)).mkdir(parents=True, exist_ok=True)
        files.append(Path(shutil.copy(PHOTO, work / str(number) / name)))
    place, collection = SidePage(context, SIDE_PAGES["Learn"]), own_collection()
    original = type(collection).own_species
    odd = {name: _Named(SHAPES[1].format(m=MARK) + hostile(chance)) for name in ("my_plant", "other_plant")}
    try:
        type(collection).own_species = lambda self: odd  # type: ignore[method-assign,assignment]
        page = place.press(Message(do="add_files", files=tuple(files)))
        tried.look("Learn, species of one's own", len(odd), re.sub("(?s).*<datalist|</datalist>.*", "", page))
    finally:
        type(collection).own_species = original  # type: ignore[method-assign]
    tried.look("Learn, names of photos", len(names), page)
    pending = re.search(r'data-address="pending=([\w-]+)"', page)
    address = {"pending": pending[1] if pending else ""}
    for species in (hostile(chance), "taraxacum_officinale"):
        given = {"species": [species], "by": [hostile(chance)]}
        tried.look("Learn, name", 2, place.press(Message(address, do="name", fields=given)))
    return tried


@dataclass(frozen=True)
class _Named:
    name: str

    @property
    def common_names(self) -> list[str]:
        return [self.name]

    @property
    def common_name(self) -> str:
        return self.name


def write_everywhere(context: Context, work: Path, rounds: int, seed: int = 3) -> Tried:
    """As many walks as told; everything that was tried."""
    whole = Tried()
    for number in range(rounds):
        writer = Writer(context, work, seed + number)
        writer.walk()
        for tried in (writer.tried, own_words(context, work, writer.chance)):
            whole.wrong += tried.wrong
            whole.seen += tried.seen
            for where, count in tried.fields.items():
                whole.fields[where] = whole.fields.get(where, 0) + count
    return whole
