"""The few shapes in which results are worded, once for the terminal, the pages, the papers and plain text.

The modules beside this one turn a value (a plan, a verdict, a finding, a record) into blocks. ``console.py``,
``app/web/templates/blocks.html``, ``app/papers/pdf.py`` and ``as_text`` lay them out and add no words of their own.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from model.flora.source import Sources

if TYPE_CHECKING:
    from model.control.facts import Statement
    from model.control.use import Reason, Suited

Look = Literal["body", "strong", "small"]
# Of a standing: its sign on paper, and what that means.
SIGNS = {
    "common practice": ("*", "common practice, no source"),
    "from memory": ("\u00b0", "from memory, unverified"),
    "by the label": ("L", "from a label that was read, as stated"),
}


@dataclass(frozen=True)
class Cited:
    """A sentence and how far it may be relied on.

    ``standing``: published, with the keys of its ``source`` in configs/sources.yaml, or any other word for it.
    ``also``: further facts that the same sentence rests on.
    """

    text: str
    standing: str
    source: tuple[str, ...] = ()
    also: tuple[Cited, ...] = ()


Words = str | Cited


@dataclass(frozen=True)
class Paragraph:
    """Sentences that belong together; ``strong`` is what must be read first."""

    words: tuple[Words, ...]
    look: Look = "body"


@dataclass(frozen=True)
class Bullets:
    """A list, an item a line."""

    items: tuple[Words, ...]
    look: Look = "body"


@dataclass(frozen=True)
class Table:
    """Rows of text under a ``head``. ``widths``: shares of the page; ``tall``: heights of the last rows, in points.

    ``ruled``: with lines between the rows; ``paired``: on paper, rows of two short cells stand two by two, without the
    head.
    """

    rows: tuple[tuple[str, ...], ...]
    head: tuple[str, ...] = ()
    widths: tuple[float, ...] = ()
    tall: tuple[float, ...] = ()
    ruled: bool = True
    paired: bool = False


@dataclass(frozen=True)
class Active:
    """An active of a card: its group, how the lawn tolerates it (``rating`` and in words), and how soon it is dry."""

    name: str
    rating: str
    lawn: str
    rain: str

    def __str__(self) -> str:
        return ", ".join(filter(None, (self.name, self.lawn, self.rain)))


@dataclass(frozen=True)
class Card:
    """One thing that may be done: what, with what, why or why not yet. ``key`` names it among the others."""

    title: str
    mark: Suited
    actives: tuple[Active, ...] = ()
    do: tuple[Words, ...] = ()
    points: tuple[Words, ...] = ()
    foot: str = ""
    key: str = ""


@dataclass(frozen=True)
class Calendar:
    """A year by months; ``month`` is marked. ``rows``: label, stage of the plant ("" for something to do), months."""

    name: str
    rows: tuple[tuple[str, str, tuple[int, ...]], ...]
    month: int | None = None


@dataclass(frozen=True)
class Section:
    """Blocks under a heading, left out where there are none. ``folded``: a page shows it on demand only.

    ``together``: on paper it stays on one page where it fits.
    """

    heading: str
    blocks: tuple[Block, ...]
    folded: bool = False
    together: bool = False


Block = Paragraph | Bullets | Table | Card | Calendar | Section


def cited(fact: Statement | Reason, text: str | None = None) -> Cited:
    """What the model states, as a sentence; ``text`` in place of its own."""
    return Cited(fact.text if text is None else text, fact.standing, tuple(fact.source))


def text_of(words: Words) -> str:
    """The sentence alone."""
    return words if isinstance(words, str) else words.text


def capital(text: str) -> str:
    """The text with a capital at its start."""
    return text[:1].upper() + text[1:]


def bullets(items: Iterable[Words], look: Look = "body") -> tuple[Bullets, ...]:
    """A list, or nothing where it has no items."""
    kept = tuple(items)
    return (Bullets(kept, look),) if kept else ()


def ticks(things: Iterable[str]) -> Paragraph:
    """Things to tick off, as many in a line as there is room for; none is parted from its box.

    >>> ticks(("knife", "hat and water")).words
    ('☐\\xa0knife\\xa0', '☐\\xa0hat\\xa0and\\xa0water\\xa0')
    """
    return Paragraph(tuple(f"\u2610 {thing}".replace(" ", "\u00a0") + "\u00a0" for thing in things))


def shown(blocks: Iterable[Block]) -> Iterator[Block]:
    """The blocks, without sections that hold nothing."""
    for block in blocks:
        if not isinstance(block, Section) or any(shown(block.blocks)):
            yield block


class References:
    """The published works, numbered as sentences rest on them, and the other standings that were met.

    >>> references = References({})
    >>> references.words(Cited("Dig it out.", "common practice")), references.mark(Cited("Dig it out.", "from memory"))
    ('Dig it out. [common practice]', '\u00b0')
    """

    def __init__(self, sources: Sources) -> None:
        self.sources = sources
        self.works: dict[str, int] = {}
        self.standings: dict[str, None] = {}

    def words(self, said: Words) -> str:
        """A sentence with its standing in brackets, for screens."""
        return f"{text_of(said)} {self.standing(said)}".rstrip()

    def standing(self, said: Words) -> str:
        """The standing of a sentence in brackets, with the numbers of its works; "" where it claims none."""
        if isinstance(said, str):
            return ""
        numbers = self._numbers(said)
        return f"[{said.standing}{': ' if numbers else ''}{', '.join(numbers)}]"

    def mark(self, said: Words) -> str:
        """The marks of a sentence, for paper: numbers of works, and signs for the other standings."""
        if isinstance(said, str):
            return ""
        marks = [mark for fact in (said, *said.also) for mark in self._marks(fact)]
        return ",".join(dict.fromkeys(marks))

    def _marks(self, fact: Cited) -> list[str]:
        if fact.standing == "published":
            return self._numbers(fact)
        self.standings.setdefault(fact.standing)
        return [SIGNS[fact.standing][0]]

    def _numbers(self, fact: Cited) -> list[str]:
        if fact.standing != "published":
            return []
        keys = [key for key in fact.source if self.sources[key].standing == "published"]
        return [str(self.works.setdefault(key, len(self.works) + 1)) for key in keys]

    def lines(self) -> list[str]:
        """The works by their numbers."""
        return [f"{number} {self.sources[key].citation}" for key, number in self.works.items()]

    def legend(self) -> str:
        """What the signs on a paper mean; "" where there are none."""
        return "; ".join(" ".join(sign) for standing, sign in SIGNS.items() if standing in self.standings)


def as_text(blocks: Iterable[Block]) -> str:
    """Sections, paragraphs, lists and tables as plain text, for a message that is sent on."""
    lines: list[str] = []
    for block in shown(blocks):
        match block:
            case Paragraph():
                lines.append(" ".join(text_of(words) for words in block.words))
            case Bullets():
                lines += [f"- {text_of(item)}" for item in block.items]
            case Table():
                lines += [": ".join(row) for row in block.rows]
            case Section():
                lines += ["", block.heading, as_text(block.blocks)]
    return "\n".join(lines)
