"""The year of a weed as a small strip that flows with the text, told apart without colour."""

from __future__ import annotations

from collections.abc import Sequence

from reportlab.platypus import Flowable, Paragraph, Table

from app.papers.pdf import INK, MARGIN, WIDTH, safe, style
from app.present.block import Calendar
from model.control.year import MONTHS

ROW, NAMES, TOP = 11.5, 104.0, 11.0  # points: height of a row, width of its name, height of the months
NARROW, GAP = 18.0, 14.0  # points: width of a month that has room for its first letter only; between two strips
NAME = style(9, fontName="bold", spaceBefore=6, spaceAfter=1)
SHADES = {"germinates": 0.82, "flowers": 0.60, "seeds": 0.30}  # of white; what to do is hatched


def side_by_side(calendars: Sequence[Calendar]) -> Table:
    """The years of some plants under their names, two beside each other where there are several."""
    columns = min(len(calendars), 2)
    width = (WIDTH - 2 * MARGIN - GAP * (columns - 1)) / columns
    strips = [[Paragraph(f"The year of {safe(one.name)}", NAME), YearStrip(one)] for one in calendars]
    rows = [strips[n : n + columns] for n in range(0, len(strips), columns)]
    cells = [[*row, *[""] * (columns - len(row))] for row in rows]
    made = Table(cells, [width + GAP] * (columns - 1) + [width], hAlign="LEFT")
    pads = [(f"{side}PADDING", (0, 0), (-1, -1), 0) for side in ("LEFT", "TOP", "BOTTOM")]
    right = [("RIGHTPADDING", (0, 0), (-1, -1), 0), ("RIGHTPADDING", (0, 0), (-2, -1), GAP)]
    made.setStyle([("FONTNAME", (0, 0), (-1, -1), "text"), ("VALIGN", (0, 0), (-1, -1), "TOP"), *pads, *right])
    return made


class YearStrip(Flowable):
    """What a plant does in which month and when to act, a row each; the month of the paper is framed."""

    def __init__(self, calendar: Calendar) -> None:
        super().__init__()
        self.rows, self.month = calendar.rows, calendar.month

    def wrap(self, width: float, height: float) -> tuple[float, float]:
        self.cell = (width - NAMES) / 12
        self.size = width, TOP + ROW * len(self.rows) + 4
        return self.size

    def draw(self) -> None:
        for number, name in enumerate(MONTHS):
            self.canv.setFillGray(INK)
            self.canv.setFont("bold" if number + 1 == self.month else "text", 7)
            short = name[:1] if self.cell < NARROW else name
            self.canv.drawCentredString(NAMES + (number + 0.5) * self.cell, self.size[1] - 8, short)
        for number, (name, stage, months) in enumerate(self.rows):
            self._row(self.size[1] - TOP - (number + 1) * ROW, name, stage, months)
        if self.month is not None:
            self.canv.setLineWidth(1.4)
            left = NAMES + (self.month - 1) * self.cell
            self.canv.rect(left, self.size[1] - TOP - len(self.rows) * ROW - 0.5, self.cell, len(self.rows) * ROW)

    def _row(self, low: float, name: str, stage: str, months: tuple[int, ...]) -> None:
        self.canv.setFillGray(INK)
        self.canv.setFont("text", 7.6)
        self.canv.drawString(0, low + 3, name)
        self.canv.setStrokeGray(INK)
        for month in range(1, 13):
            left = NAMES + (month - 1) * self.cell
            self.canv.setLineWidth(0.25)
            self.canv.setStrokeGray(0.75)
            self.canv.rect(left, low, self.cell, ROW)
        self.canv.setStrokeGray(INK)
        for month in months:
            left = NAMES + (month - 1) * self.cell
            self.canv.setLineWidth(0.5)
            if stage:
                self.canv.setFillGray(SHADES[stage])
                self.canv.rect(left, low + 1, self.cell, ROW - 2, fill=1)
            else:
                self._hatch(left, low + 1, self.cell, ROW - 2)

    def _hatch(self, left: float, low: float, width: float, height: float) -> None:
        self.canv.saveState()
        path = self.canv.beginPath()
        path.rect(left, low, width, height)
        self.canv.clipPath(path, stroke=1, fill=0)
        step = 3.4
        for n in range(int((width + height) / step) + 1):
            self.canv.line(left + n * step - height, low, left + n * step, low + height)
        self.canv.restoreState()
