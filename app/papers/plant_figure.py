"""The picture of a plant on paper: a photo in its own colours with its caption, or line drawings of its characters."""

from __future__ import annotations

import io
import xml.etree.ElementTree as ElementTree
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from fontTools.pens.reportLabPen import ReportLabPen
from fontTools.svgLib.path import parse_path
from reportlab.lib.units import mm
from reportlab.lib.utils import ImageReader
from reportlab.platypus import Flowable, Image, Paragraph, Spacer, Table

from app.figures.line_drawings import SVG
from app.figures.telling import MOST, Sketch
from app.papers.pdf import GREY, INK, MARGIN, WIDTH, grey, safe, style
from app.papers.sheet import OWN_FACE

COLUMN, HIGHEST, GAP = 40 * mm, 38 * mm, 4 * mm  # of the figure, and what parts it from the words beside it
SQUARE = 1000  # units of a drawing
CAPTION = style(7, textColor=grey(GREY), spaceBefore=2)
NOT_THE_PLANT = "Line drawings of the most telling characters; none shows the whole plant."
TOP_LEFT: list[Any] = [
    OWN_FACE,
    ("VALIGN", (0, 0), (-1, -1), "TOP"),
    *((f"{side}PADDING", (0, 0), (-1, -1), 0) for side in ("LEFT", "RIGHT", "TOP", "BOTTOM")),
]


@dataclass(frozen=True)
class SheetPhoto:
    """A small JPEG without metadata, and what it is: of the plant itself, or by whom and under which licence."""

    data: bytes
    caption: str


def beside(words: Sequence[Flowable], figure: Sequence[Flowable]) -> Sequence[Flowable]:
    """The words with the figure at their right; the words alone where there is none."""
    if not figure:
        return words
    widths = [WIDTH - 2 * MARGIN - COLUMN - GAP, GAP, COLUMN]
    return [Table([[list(words), "", list(figure)]], widths, hAlign="LEFT", style=TOP_LEFT), Spacer(1, 3)]


def photo_figure(photo: SheetPhoto) -> list[Flowable]:
    """A photo with its caption."""
    wide, high = ImageReader(io.BytesIO(photo.data)).getSize()
    scale = min(HIGHEST / high, COLUMN / wide)
    image = Image(io.BytesIO(photo.data), wide * scale, high * scale, hAlign="LEFT")
    return [image, Paragraph(safe(photo.caption), CAPTION)]


def drawings_figure(plants: Sequence[tuple[str, Sequence[Sketch]]]) -> list[Flowable]:
    """A row of drawings for each plant, under its name where there are several; empty where nothing is drawn."""
    drawn = [(name, sketches) for name, sketches in plants if sketches]
    width = COLUMN / MOST
    found: list[Flowable] = []
    for name, sketches in drawn:
        if len(drawn) > 1:
            found.append(Paragraph(safe(name), CAPTION))
        side = width - 2 * mm if len(drawn) == 1 else width - 5 * mm
        cells = [LineDrawing(sketch.drawing.svg, side) for sketch in sketches] + [""] * (MOST - len(sketches))
        found.append(Table([cells], [width] * MOST, hAlign="LEFT", style=TOP_LEFT))
    return [*found, Paragraph(NOT_THE_PLANT, CAPTION)] if found else []


class LineDrawing(Flowable):
    """A drawing of configs/figures in black and greys; its letters are left out, as no state has any."""

    def __init__(self, svg: str, side: float) -> None:
        super().__init__()
        self.root = ElementTree.fromstring(svg)
        self.width = self.height = side

    def wrap(self, available_width: float, available_height: float) -> tuple[float, float]:
        """It is as large as it is."""
        return self.width, self.height

    def draw(self) -> None:
        """Each path filled and stroked as the file says."""
        canvas = self.canv
        canvas.saveState()
        canvas.scale(self.width / SQUARE, -self.height / SQUARE)
        canvas.translate(0, -SQUARE)
        square = canvas.beginPath()
        square.rect(0, 0, SQUARE, SQUARE)  # stems may run out of it
        canvas.clipPath(square, stroke=0, fill=0)
        canvas.setLineCap(1)
        canvas.setLineJoin(1)
        canvas.setFillGray(INK)
        canvas.setStrokeGray(INK)
        for element in self.root.iter(f"{SVG}path"):
            filled, stroked = element.get("fill", "none") != "none", element.get("stroke") != "none"
            canvas.setFillAlpha(float(element.get("fill-opacity", "1")))
            canvas.setLineWidth(float(element.get("stroke-width", "1")))
            path: Any = canvas.beginPath()
            path.closePath = path.close  # the name that the pen calls
            parse_path(element.get("d", ""), ReportLabPen(None, path))
            canvas.drawPath(path, stroke=int(stroked), fill=int(filled), fillMode=1)
        canvas.restoreState()
