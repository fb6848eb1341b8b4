"""A sheet of A4 in the style of the house: quiet, in black and greys only, with its fonts inside."""

from __future__ import annotations

import importlib.util
import io
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import groupby
from pathlib import Path
from typing import TYPE_CHECKING, Any
from xml.sax.saxutils import escape

from reportlab.lib.pagesizes import A4
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFError, TTFont
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import BaseDocTemplate, Flowable, Frame, PageTemplate

from app.papers.machine_fonts import font_with
from app.papers.right_to_left import in_visual_order
from model.errors import SwardkeyError

INK, GREY = 0.10, 0.38  # shares of white
MARGIN, GAP, FOOT = 15 * mm, 8 * mm, 13 * mm
WIDTH, HEIGHT = A4
LONGEST_HEAD = 400  # characters, more than fit in a line of head or foot
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
    # Where its files lie, without loading it: that would take longer than setting the page.
    found = importlib.util.find_spec("matplotlib")
    folder = Path(found.origin if found is not None and found.origin else "").parent / "mpl-data" / "fonts" / "ttf"
    for name, file in FACES.items():
        try:
            pdfmetrics.registerFont(TTFont(name, str(folder / f"{file}.ttf")))
        except (TTFError, OSError):
            raise SwardkeyError(f"{folder / file}.ttf: this font is missing; install matplotlib again") from None
    pdfmetrics.registerFontFamily("text", normal="text", bold="bold", italic="slant", boldItalic="both")


def style(size: float = 9, **more: Any) -> ParagraphStyle:
    """A way of setting text; ``size`` in points."""
    face = {"fontName": "text", "bulletFontName": "text", "textColor": grey(INK), "leading": size * 1.34}
    return ParagraphStyle("of the house", **{**face, "fontSize": size, **more})


def grey(share: float) -> Any:
    from reportlab.lib.colors import Color

    return Color(share, share, share)


def safe(text: str) -> str:
    """Text that is not ours, so that nothing in it is taken for markup; lines and blanks of any kind stay."""
    kept = "".join(c if c.isprintable() or c in "\n\u00a0" else " " if c.isspace() else "" for c in text)
    markup = (f'<font name="{face}">{escape(run)}</font>' if face else escape(run) for face, run in font_runs(kept))
    return "".join(markup).replace("\n", "<br/>")


def letters_lacking(text: str) -> list[str]:
    """The letters of a text that no font here has, each once, in their order."""
    return list(dict.fromkeys(c for c in _not_in_our_fonts(in_visual_order(text)) if font_with(c) is None))


def _not_in_our_fonts(text: str) -> list[str]:
    """The letters of a text that our own fonts do not have."""
    if text.isascii():
        return []
    load_fonts()
    glyphs: Any = pdfmetrics.getFont("text").face.charToGlyph  # type: ignore[attr-defined]  # of a TrueType font
    return [c for c in text if ord(c) not in glyphs and c.isprintable()]


def font_runs(text: str) -> list[tuple[str, str]]:
    """The text in the order in which it is seen, by the font of each part: "" for our own, else one of this machine.

    A letter that no font has is its number rather than an empty box.

    >>> font_runs("Kim \u07f7")
    [('', 'Kim [U+07F7]')]
    """
    seen = in_visual_order(text)
    others = {letter: font_with(letter) for letter in _not_in_our_fonts(seen)}
    if not others:
        return [("", seen)]
    parts = ((others[c] or "", c if others[c] else f"[U+{ord(c):04X}]") if c in others else ("", c) for c in seen)
    return [(face, "".join(run for _, run in group)) for face, group in groupby(parts, lambda part: part[0])]


def italic(text: str) -> str:
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


@dataclass(frozen=True)
class Layout:
    """Columns of a page, its margin and what parts the columns, in points."""

    columns: int = 1
    margin: float = MARGIN
    gap: float = GAP


def build(parts: Sequence[Flowable], head: Head, layout: Layout = Layout()) -> tuple[bytes, int]:
    """The parts as a PDF file, and its pages; the same content gives the same bytes."""
    out, columns, margin = io.BytesIO(), layout.columns, layout.margin
    document = BaseDocTemplate(
        out, pagesize=A4, title=" ".join(filter(None, (head.kind, head.about))),
        author=head.maker or "swardkey", subject=head.kind, lang="en-AU", invariant=1,
    )  # fmt: skip
    width = (WIDTH - 2 * margin - (columns - 1) * layout.gap) / columns
    foot = FOOT * margin / MARGIN
    frames = [
        Frame(
            margin + n * (width + layout.gap), foot + 2 * mm, width, HEIGHT - margin - foot - 8 * mm,
            leftPadding=0, rightPadding=0, topPadding=0, bottomPadding=0,
        )
        for n in range(columns)
    ]  # fmt: skip
    document.addPageTemplates(PageTemplate("page", frames))
    document.build(list(parts), canvasmaker=lambda *args, **more: Numbered(head, *args, margin=margin, **more))
    return out.getvalue(), document.page


class Numbered(Canvas):
    """Pages that know how many they are; nothing but our own fonts is named in the file."""

    def __init__(self, head: Head, *args: Any, margin: float = MARGIN, **more: Any) -> None:
        super().__init__(*args, **{**more, "initialFontName": "text", "initialFontSize": 9})
        self.head, self.margin = head, margin
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
            self._draw_head_and_foot(number, len(self.kept))
            super().showPage()
        super().save()

    def _draw_head_and_foot(self, number: int, pages: int) -> None:
        top, right = HEIGHT - self.margin + 1 * mm, WIDTH - self.margin
        foot = FOOT * self.margin / MARGIN - 4 * mm
        self.setFillGray(INK)
        self.setFont("bold", 8)
        self.drawString(self.margin, top, self.head.kind)
        self.setFont("text", 8)
        # What is too long is cut, and never the day.
        day = f"  \u00b7  {self.head.day}" if self.head.about and self.head.day else self.head.day
        taken = pdfmetrics.stringWidth(self.head.kind, "bold", 8) + pdfmetrics.stringWidth(day, "text", 8)
        about = [*_truncated(self.head.about, right - self.margin - taken - 5 * mm), ("", day)]
        self._draw(right - _width(about, 8), top, about, 8)
        self.setStrokeGray(INK)
        self.setLineWidth(0.9)
        self.line(self.margin, top - 2.2 * mm, right, top - 2.2 * mm)
        self.setFillGray(GREY)
        self.setFont("text", 7)
        left = "  \u00b7  ".join(filter(None, (self.head.maker, self.head.foot)))
        self._draw(self.margin, foot, _truncated(left, right - self.margin - 25 * mm, 7), 7)
        self.drawRightString(right, foot, f"{number} of {pages}")

    def _draw(self, left: float, low: float, parts: Sequence[tuple[str, str]], size: float) -> None:
        """A line of parts, each in its font."""
        for face, run in parts:
            self.setFont(face or "text", size)
            self.drawString(left, low, run)
            left += _width([(face, run)], size)


def _truncated(text: str, width: float, size: float = 8) -> list[tuple[str, str]]:
    """The text by its fonts, or as much of it as fits."""
    line = " ".join(text[:LONGEST_HEAD].split())
    if _width(font_runs(line), size) <= width:
        return font_runs(line)
    while line and _width(font_runs(line + "\u2026"), size) > width:
        line = line[:-1]
    return font_runs(line.rstrip() + "\u2026")


def _width(parts: Sequence[tuple[str, str]], size: float) -> float:
    """How wide a line of parts is, in points."""
    return sum(float(pdfmetrics.stringWidth(run, face or "text", size)) for face, run in parts)
