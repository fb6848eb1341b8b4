"""Blocks on a sheet of paper."""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable, Iterator
from itertools import groupby
from typing import Any

from reportlab.lib.styles import ParagraphStyle
from reportlab.platypus import Flowable, KeepTogether, Spacer
from reportlab.platypus import Paragraph as Lines
from reportlab.platypus import Table as Grid

from app.papers.pdf import GREY, INK, MARGIN, WIDTH, Head, Layout, build, grey, letters_lacking, load_fonts, safe, style
from app.papers.year_bar import YearStrip
from app.present import block as blocks
from model.flora.source import Sources

Ruling = tuple[str, tuple[int, int], tuple[int, int], Any] | tuple[str, tuple[int, int], tuple[int, int], Any, Any]
OWN_FACE = ("FONTNAME", (0, 0), (-1, -1), "text")  # else a table names a font that is not in the file
BODY, SMALL = style(9, spaceAfter=3), style(7.4, textColor=grey(GREY), spaceAfter=2)
HEADING = style(10.5, fontName="bold", spaceBefore=7, spaceAfter=2.5, keepWithNext=1)
TITLE, LEAD = style(18, fontName="bold", spaceAfter=1, leading=21), style(10.5, spaceAfter=5, leading=14)
PARAGRAPHS: dict[blocks.Look, ParagraphStyle] = {
    "body": BODY,
    "strong": style(9.5, fontName="bold", spaceAfter=3),
    "small": SMALL,
}
ITEM = style(9, leftIndent=11, bulletIndent=1, spaceAfter=2.2)
SMALL_ITEM = style(7.8, leftIndent=11, bulletIndent=1, spaceAfter=1.6)
ITEMS: dict[blocks.Look, ParagraphStyle] = {"body": ITEM, "strong": ITEM, "small": SMALL_ITEM}
MOST_NAMED = 12  # letters that the fonts lack
MOST_BESIDE = 48  # characters of a cell that has half the page
CELL, CELL_BOLD, CELL_NAME = style(8.4), style(8.4, fontName="bold"), style(8, textColor=grey(GREY), leading=8.4 * 1.34)
CARD, CARD_MORE = style(9, spaceAfter=1.5, spaceBefore=2, keepWithNext=1), style(8.2, leftIndent=10, spaceAfter=1.5)


class Sheet:
    """A paper that is being written, block by block; ``sources`` are those that its sentences may rest on."""

    def __init__(self, head: Head, sources: Sources | None = None) -> None:
        load_fonts()
        self.head = head
        self.references = blocks.References(sources or {})
        self.parts: list[Flowable] = []
        self.lacking = letters_lacking(f"{head.about} {head.maker}")

    def title(self, markup: str, under: str = "") -> None:
        """The name of the thing, large, and what is said of it; ``markup`` and ``under`` are safe already."""
        self.parts.append(Lines(markup, TITLE))
        self.parts.append(Lines(under, LEAD) if under else Spacer(1, 4))

    def write(self, *parts: blocks.Block) -> None:
        """Blocks, one below the other."""
        self.lacking += letters_lacking(blocks.as_text(parts))
        for block in blocks.shown(parts):
            self.parts += self._laid_out(block)

    def add(self, *parts: Flowable) -> None:
        """Anything else that flows."""
        self.parts += parts

    def write_references(self) -> None:
        """What the marks mean, and the works by their numbers."""
        if lines := ";  ".join(filter(None, (self.references.legend(), *self.references.lines()))):
            self.parts.append(Lines(safe(lines), SMALL))

    def marked(self, words: blocks.Words) -> str:
        """A sentence as markup, with the marks of its standing."""
        mark = self.references.mark(words)
        return safe(blocks.text_of(words)) + (f"<super size=6>{mark}</super>" if mark else "")

    def _laid_out(self, block: blocks.Block) -> Iterator[Flowable]:
        match block:
            case blocks.Section():
                inner = [part for one in blocks.shown(block.blocks) for part in self._laid_out(one)]
                parts = [Lines(safe(block.heading), HEADING), *inner]
                yield from [KeepTogether(parts)] if block.together else parts
            case blocks.Paragraph():
                yield Lines(" ".join(map(self.marked, block.words)), PARAGRAPHS[block.look])
            case blocks.Bullets():
                yield from self._bullets(block.items, ITEMS[block.look])
            case blocks.Table():
                yield from two_by_two(block) if block.paired else [table(block)]
                yield Spacer(1, 4)
            case blocks.Calendar():
                yield YearStrip(block)
            case blocks.Card():
                yield from self._card(block)

    def _bullets(self, items: Iterable[blocks.Words], how: ParagraphStyle) -> list[Flowable]:
        return [Lines(self.marked(item), how, bulletText="\u2013") for item in items]

    def _card(self, card: blocks.Card) -> Iterator[Flowable]:
        yield Lines(" ".join((f"<b>{safe(card.title)}.</b>", *map(self.marked, card.do))), CARD)
        line = "; ".join(map(str, card.actives))
        plain = [point for point in card.points if isinstance(point, str)]  # without marks, so they need no line each
        if more := " ".join(filter(None, (f"{line}." if line else "", card.foot, *plain))):
            yield Lines(safe(more), CARD_MORE)
        yield from self._bullets((point for point in card.points if not isinstance(point, str)), SMALL_ITEM)

    def as_pdf(self, columns: int = 1) -> bytes:
        """The whole paper as a PDF file, with a word on letters that its fonts lack."""
        if letters := list(dict.fromkeys(self.lacking)):
            named = ", ".join(
                f"U+{ord(c):04X} {unicodedata.name(c, 'unnamed').casefold()}" for c in letters[:MOST_NAMED]
            )
            more = f" and {len(letters) - MOST_NAMED} more" if len(letters) > MOST_NAMED else ""
            said = f"No font on this machine has these characters, so their numbers are printed: {named}{more}."
            self.parts.append(Lines(said, SMALL))
        return build(self.parts, self.head, Layout(columns))[0]


def two_by_two(block: blocks.Table) -> Iterator[Grid]:
    """The rows of a table in their order: short ones beside each other, and long ones over the whole width."""
    name = block.widths[0]
    for short, rows in groupby(block.rows, lambda row: len(row[1]) <= MOST_BESIDE and "\n" not in row[1]):
        if not short:
            yield table(blocks.Table(tuple(rows), widths=block.widths), named=True)
            continue
        cells = [cell for row in rows for cell in row]
        cells += ["", ""] * (len(cells) // 2 % 2)
        beside = tuple(tuple(cells[n : n + 4]) for n in range(0, len(cells), 4))
        yield table(blocks.Table(beside, widths=(name, 0.5 - name) * 2), named=True)


def table(block: blocks.Table, named: bool = False) -> Grid:
    """A table of plain text over the width of the page; one to write in has lines between its columns too.

    ``named``: every other cell names the one after it.
    """
    rows = [(block.head, CELL_BOLD)] if block.head else []
    rows += [(row, CELL) for row in block.rows]
    cells = [
        [Lines(safe(text), CELL_NAME if named and not n % 2 else how) for n, text in enumerate(row)]
        for row, how in rows
    ]
    heights = [None] * (len(rows) - len(block.tall)) + list(block.tall)
    widths = [share * (WIDTH - 2 * MARGIN) for share in block.widths]
    # A text longer than a page goes on over the next; lines to write on stay whole.
    made = Grid(
        cells, widths, heights, repeatRows=1 if block.head else 0, hAlign="LEFT", splitInRow=0 if block.tall else 1
    )
    lines: list[Ruling] = [("VALIGN", (0, 0), (-1, -1), "TOP"), OWN_FACE]
    pads = zip(("LEFT", "RIGHT", "TOP", "BOTTOM"), (2, 4, 1.8, 2.4) if block.ruled else (0, 4, 0, 2.5), strict=True)
    lines += [(f"{side}PADDING", (0, 0), (-1, -1), points) for side, points in pads]
    if block.ruled:
        lines.append(("LINEBELOW", (0, 0), (-1, -1), 0.35, grey(0.62)))
    if block.head:
        lines.append(("LINEBELOW", (0, 0), (-1, 0), 0.9, grey(INK)))
    if block.tall:
        lines.append(("GRID", (0, 0), (-1, -1), 0.35, grey(0.45)))
    made.setStyle(lines)
    return made
