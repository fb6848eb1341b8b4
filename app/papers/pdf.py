"""A sheet of A4 in the style of the house: quiet, in black and greys only, with its fonts inside."""

from __future__ import annotations

import io
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any
from xml.sax.saxutils import escape

from reportlab.lib.pagesizes import A4
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFError, TTFont
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import BaseDocTemplate, Flowable, Frame, KeepTogether, PageTemplate, Paragraph, Spacer, Table

from model.errors import SwardkeyError

INK, GREY, PALE = 0.10, 0.38, 0.88  # shares of white
MARGIN, GAP, FOOT = 17 * mm, 8 * mm, 15 * mm
WIDTH, HEIGHT = A4
Ruling = tuple[str, tuple[int, int], tuple[int, int], Any] | tuple[str, tuple[int, int], tuple[int, int], Any, Any]
OWN_FACE = ("FONTNAME", (0, 0), (-1, -1), "text")  # else a table names a font that is not in the file
# Names under which the fonts are known in here, and their files, which matplotlib brings along.
FACES = {
    "text": "DejaVuSans",
    "bold": "DejaVuSans-Bold",
    "slant": "DejaVuSans-Oblique",
    "both": "DejaVuSans-BoldOblique",
}


@lru_cache(maxsize=1)
def load_fonts() -> None:
    """Make the fonts known. Raises SwardkeyError where their files are missing."""
    import matplotlib

    folder = Path(matplotlib.get_data_path()) / "fonts" / "ttf"
    for name, file in FACES.items():
        try:
            pdfmetrics.registerFont(TTFont(name, str(folder / f"{file}.ttf")))
        except (TTFError, OSError):
            raise SwardkeyError(f"{folder / file}.ttf: this font is missing; install matplotlib again") from None
    pdfmetrics.registerFontFamily("text", normal="text", bold="bold", italic="slant", boldItalic="both")


def style(size: float = 9, **more: Any) -> ParagraphStyle:
    """A way of setting text; ``size`` in points."""
    face = {"fontName": "text", "bulletFontName": "text", "textColor": _grey(INK), "leading": size * 1.38}
    return ParagraphStyle("of the house", **{**face, "fontSize": size, **more})


def _grey(share: float) -> Any:
    from reportlab.lib.colors import Color

    return Color(share, share, share)


BODY, SMALL = style(9, spaceAfter=3), style(7.4, textColor=_grey(GREY), spaceAfter=2)
HEADING = style(10.5, fontName="bold", spaceBefore=9, spaceAfter=3, keepWithNext=1)
TITLE, LEAD = style(19, fontName="bold", spaceAfter=2, leading=23), style(11, spaceAfter=6, leading=15)
ITEM = style(9, leftIndent=10, bulletIndent=1, spaceAfter=2.5)
SMALL_ITEM = style(7.8, leftIndent=9, bulletIndent=1, spaceAfter=2)
CELL, CELL_BOLD = style(8.4), style(8.4, fontName="bold")


def safe(text: str) -> str:
    """Text that is not ours, so that nothing in it is taken for markup; lines stay lines."""
    kept = "".join(c for c in text if c.isprintable() or c == "\n")
    return escape(kept).replace("\n", "<br/>")


def slanted(text: str) -> str:
    """A scientific name in markup."""
    return f"<i>{safe(text)}</i>"


@dataclass(frozen=True)
class Head:
    """What stands at the top and foot of each page: the kind of paper, for whom or where, when, and from whom."""

    kind: str
    about: str = ""
    day: str = ""
    maker: str = ""
    foot: str = ""


class Sheet:
    """A paper that is being written, part by part."""

    def __init__(self, head: Head) -> None:
        load_fonts()
        self.head = head
        self.parts: list[Flowable] = []

    def title(self, markup: str, under: str = "") -> None:
        """The name of the thing, large; ``markup`` and ``under`` are safe already."""
        self.parts.append(Paragraph(markup, TITLE))
        if under:
            self.parts.append(Paragraph(under, LEAD))

    def heading(self, text: str) -> None:
        """A heading; it stays with what follows it."""
        self.parts.append(Paragraph(safe(text), HEADING))

    def text(self, text: str, how: ParagraphStyle = BODY) -> None:
        """A paragraph of plain text."""
        self.parts.append(Paragraph(safe(text), how))

    def markup(self, markup: str, how: ParagraphStyle = BODY) -> None:
        """A paragraph in markup, in which all that is not ours was made safe."""
        self.parts.append(Paragraph(markup, how))

    def items(self, lines: Iterable[str], how: ParagraphStyle = ITEM) -> None:
        """A list, an item a line of plain text."""
        self.parts += [Paragraph(safe(line), how, bulletText="\u2013") for line in lines]

    def bullet(self, markup: str, how: ParagraphStyle = ITEM) -> None:
        """One item of a list, in markup."""
        self.parts.append(Paragraph(markup, how, bulletText="\u2013"))

    def boxes(self, lines: Sequence[str], columns: int = 3) -> None:
        """A list to tick, down one column after the other."""
        high = -(-len(lines) // columns)
        ticks = [Tick(line) for line in lines] + [""] * (high * columns - len(lines))
        cells = [[ticks[column * high + row] for column in range(columns)] for row in range(high)]
        table = Table(cells, [(WIDTH - 2 * MARGIN) / columns] * columns, hAlign="LEFT")
        pads = [(name, (0, 0), (-1, -1), 0) for name in ("LEFTPADDING", "TOPPADDING", "BOTTOMPADDING")]
        table.setStyle([OWN_FACE, ("VALIGN", (0, 0), (-1, -1), "TOP"), *pads])
        self.parts.append(table)

    def add(self, *parts: Flowable) -> None:
        """Anything else that flows."""
        self.parts += parts

    def together(self, write: Callable[[], None]) -> None:
        """What ``write`` adds stays on one page where it fits one."""
        before = len(self.parts)
        write()
        self.parts[before:] = [KeepTogether(self.parts[before:])]

    def space(self, height: float = 4) -> None:
        """Points of nothing."""
        self.parts.append(Spacer(1, height))

    def table(
        self, rows: Sequence[Sequence[str]], widths: Sequence[float], heads: bool = True, tall: Sequence[float] = ()
    ) -> None:
        """A table of plain text; ``widths`` are shares of the page; rows ``tall`` in points are to write in."""
        cells = [
            [Paragraph(safe(text), CELL_BOLD if heads and number == 0 else CELL) for text in row]
            for number, row in enumerate(rows)
        ]
        whole = WIDTH - 2 * MARGIN
        heights = [None] * (len(rows) - len(tall)) + list(tall)
        table = Table(cells, [share * whole for share in widths], heights, repeatRows=int(heads))
        self.parts += [ruled(table, heads, grid=bool(tall)), Spacer(1, 5)]

    def as_pdf(self, columns: int = 1) -> bytes:
        """The whole paper as a PDF file; the same content gives the same bytes."""
        out = io.BytesIO()
        document = BaseDocTemplate(
            out, pagesize=A4, title=" ".join(filter(None, (self.head.kind, self.head.about))),
            author=self.head.maker or "swardkey", subject=self.head.kind, lang="en-AU", invariant=1,
        )  # fmt: skip
        width = (WIDTH - 2 * MARGIN - (columns - 1) * GAP) / columns
        frames = [
            Frame(
                MARGIN + n * (width + GAP), FOOT + 4 * mm, width, HEIGHT - MARGIN - FOOT - 11 * mm,
                leftPadding=0, rightPadding=0, topPadding=0, bottomPadding=0,
            )
            for n in range(columns)
        ]  # fmt: skip
        document.addPageTemplates(PageTemplate("page", frames))
        document.build(self.parts, canvasmaker=lambda *args, **more: Numbered(self.head, *args, **more))
        return out.getvalue()


class Tick(Flowable):
    """A small square to tick, and its words."""

    def __init__(self, line: str) -> None:
        super().__init__()
        self.words = Paragraph(safe(line), style(9, leftIndent=13))

    def wrap(self, width: float, height: float) -> tuple[float, float]:
        self.size = self.words.wrap(width, height)
        return self.size[0], self.size[1] + 2.5

    def draw(self) -> None:
        self.canv.setLineWidth(0.7)
        self.canv.setStrokeGray(INK)
        self.canv.rect(0.5, self.size[1] - 7.5, 7, 7)
        self.words.drawOn(self.canv, 0, 2)


def ruled(table: Table, heads: bool, grid: bool) -> Table:
    """A table with hairlines between its rows; only a grid has them between its columns too."""
    lines: list[Ruling] = [("VALIGN", (0, 0), (-1, -1), "TOP"), OWN_FACE]
    lines.append(("LINEBELOW", (0, 0), (-1, -1), 0.35, _grey(0.62)))
    pads: list[Ruling] = [("LEFTPADDING", (0, 0), (-1, -1), 2), ("RIGHTPADDING", (0, 0), (-1, -1), 4)]
    pads += [("TOPPADDING", (0, 0), (-1, -1), 2.2), ("BOTTOMPADDING", (0, 0), (-1, -1), 3)]
    if heads:
        lines.append(("LINEBELOW", (0, 0), (-1, 0), 0.9, _grey(INK)))
    if grid:
        lines.append(("GRID", (0, 0), (-1, -1), 0.35, _grey(0.45)))
    table.setStyle([*lines, *pads])
    table.hAlign = "LEFT"
    return table


class Numbered(Canvas):
    """Pages that know how many they are; nothing but our own fonts is named in the file."""

    def __init__(self, head: Head, *args: Any, **more: Any) -> None:
        super().__init__(*args, **{**more, "initialFontName": "text", "initialFontSize": 9})
        self.head = head
        self.kept: list[dict[str, Any]] = []

    if TYPE_CHECKING:  # the types of the library leave it out

        def _startPage(self) -> None: ...  # noqa: N802

    def showPage(self) -> None:  # noqa: N802  # the name that the library calls
        self.kept.append(dict(self.__dict__))
        self._startPage()

    def save(self) -> None:
        """Write the pages, each with its head and foot."""
        for number, page in enumerate(self.kept, start=1):
            self.__dict__.update(page)
            self._furnish(number, len(self.kept))
            super().showPage()
        super().save()

    def _furnish(self, number: int, pages: int) -> None:
        top, right = HEIGHT - MARGIN + 1 * mm, WIDTH - MARGIN
        self.setFillGray(INK)
        self.setFont("bold", 8)
        self.drawString(MARGIN, top, self.head.kind)
        self.setFont("text", 8)
        said = "  \u00b7  ".join(filter(None, (self.head.about, self.head.day)))
        self.drawRightString(right, top, _cut(said, 118 * mm))
        self.setStrokeGray(INK)
        self.setLineWidth(0.9)
        self.line(MARGIN, top - 2.2 * mm, right, top - 2.2 * mm)
        self.setFillGray(GREY)
        self.setFont("text", 7)
        left = "  \u00b7  ".join(filter(None, (self.head.maker, self.head.foot)))
        self.drawString(MARGIN, FOOT - 4 * mm, _cut(left, 145 * mm, 7))
        self.drawRightString(right, FOOT - 4 * mm, f"{number} of {pages}")


def _cut(text: str, width: float, size: float = 8) -> str:
    """The text, or as much of it as fits."""
    line = " ".join(text.split())
    if pdfmetrics.stringWidth(line, "text", size) <= width:
        return line
    while line and pdfmetrics.stringWidth(line + "\u2026", "text", size) > width:
        line = line[:-1]
    return line.rstrip() + "\u2026"
