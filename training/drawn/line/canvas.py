"""A sketch of lines and pale areas on a square of 100 by 100, y down, written as a small SVG.

What lies in front hides what lies behind, by geometry: no colour of paper is needed, so that the
same drawing works on light and on dark ground. This is the only module that touches shapely.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any
from xml.sax.saxutils import escape

import numpy as np
import shapely  # type: ignore[import-untyped]
from numpy.typing import NDArray

Points = NDArray[np.float64]
Given = Any  # points as an array or as rows of two numbers; where areas are asked for, an area too
FINE, THIN, BOLD = 0.9, 1.4, 2.7  # stroke widths; the part that is asked about is bold
PALE, INK = "pale", "ink"
GRID = 10  # whole steps of the SVG's own unit in one of ours
_PALE = 'fill="currentColor" fill-opacity="0.15" stroke="none"'
_INK = 'fill="currentColor" stroke="none"'


@dataclass(frozen=True)
class Shape:
    """One stroke or area: ``weight`` 0 has no stroke, ``fill`` is none, pale or ink."""

    form: Any
    weight: float
    fill: str | None
    hides: bool


def merged(*outlines: Given) -> Any:
    """Several closed outlines as one area, as a stem and its branches are."""
    return shapely.union_all([as_area(outline) for outline in outlines])


def without(area: Given, *others: Given) -> Any:
    """An area less others."""
    return as_area(area).difference(shapely.union_all([as_area(other) for other in others]))


def within(area: Given, other: Given) -> Any:
    """The part of an area that lies inside another."""
    return as_area(area).intersection(as_area(other))


def wider(form: Given, by: float) -> Any:
    """An area with a margin; of an open line, the band along it."""
    return (form if isinstance(form, shapely.Geometry) else shapely.LineString(np.asarray(form))).buffer(
        by, quad_segs=6
    )


def is_inside(area: Given, x: float, y: float) -> bool:
    """Whether a place lies inside an area."""
    return bool(as_area(area).contains(shapely.Point(x, y)))


def as_area(outline: Given) -> Any:
    """A closed outline as an area that the functions here understand."""
    if isinstance(outline, shapely.Geometry):
        return outline
    polygon = shapely.Polygon(np.asarray(outline, dtype=float))
    return polygon if polygon.is_valid else shapely.make_valid(polygon).buffer(0)


class Sketch:
    """A drawing while it is drawn: the later lies in front."""

    def __init__(self) -> None:
        self._shapes: list[Shape] = []
        self._words: list[tuple[float, float, str, float]] = []

    def area(
        self,
        outline: Given,
        weight: float = THIN,
        fill: str | None = None,
        hides: bool = True,
    ) -> None:
        """A closed outline, or an area that ``merged``, ``without`` or ``within`` gave."""
        self._shapes.append(Shape(as_area(outline), weight, fill, hides))

    def line(self, points: Given, weight: float = THIN) -> None:
        """An open line."""
        self._shapes.append(Shape(shapely.LineString(np.asarray(points, dtype=float)), weight, None, False))

    def lines(self, many: Iterable[Given], weight: float = THIN) -> None:
        """Open lines, all of one weight."""
        self._shapes.append(
            Shape(shapely.MultiLineString([np.asarray(one, dtype=float) for one in many]), weight, None, False)
        )

    def lines_in(self, area: Given, many: Iterable[Given], weight: float = THIN) -> None:
        """Open lines, as far as they lie inside an area (hatching)."""
        form = shapely.MultiLineString([np.asarray(one, dtype=float) for one in many])
        self._shapes.append(Shape(form.intersection(as_area(area)), weight, None, False))

    def place(self, other: Sketch, margin: float) -> None:
        """Put another sketch in front, with a margin around it where nothing else is drawn."""
        areas = [shape.form for shape in other._shapes if not _is_line(shape.form)]
        halo = shapely.union_all(areas).buffer(margin, quad_segs=4)
        self._shapes += [Shape(halo, 0, None, True), *other._shapes]

    def number(self, x: float, y: float, text: str, size: float = 11) -> None:
        """A number, centred at a place; only rulers and counts have them."""
        self._words.append((x, y, text, size))

    def _seen(self) -> tuple[Any, Any]:
        """Of each shape, what later ones do not hide: its area (or line) and its edge, a little simplified."""
        forms = np.array([shape.form for shape in self._shapes], dtype=object)
        lines = shapely.get_dimensions(forms) == 1
        edges = np.where(lines, forms, shapely.boundary(forms))
        covers = np.array([shape.hides for shape in self._shapes], dtype=bool) & ~lines
        behind, front = shapely.STRtree(forms).query(forms, predicate="intersects")
        found: dict[int, list[Any]] = {}
        for low, high in zip(behind.tolist(), front.tolist(), strict=True):
            if high > low and covers[high]:
                found.setdefault(low, []).append(forms[high])
        if found:
            rows = list(found)
            hidden = np.array([shapely.union_all(each) if len(each) > 1 else each[0] for each in found.values()])
            forms[rows], edges[rows] = shapely.difference(forms[rows], hidden), shapely.difference(edges[rows], hidden)
        return shapely.simplify(forms, 0.05), shapely.simplify(edges, 0.05)

    def svg(self, title: str, name: str) -> str:
        """The drawing as SVG; ``title`` is its text alternative, ``name`` makes the title's id its own."""
        strokes: dict[float, list[str]] = {}
        fills: dict[str, list[str]] = {PALE: [], INK: []}
        for shape, seen, edge in zip(self._shapes, *self._seen(), strict=True):
            if shape.fill:
                fills[shape.fill].append(_d(seen))
            if shape.weight:
                strokes.setdefault(shape.weight, []).append(_d(edge))
        size = 100 * GRID
        parts = [
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {size} {size}" width="120" height="120"',
            f' role="img" aria-labelledby="{name}" fill="none" stroke="currentColor"',
            ' stroke-linecap="round" stroke-linejoin="round">',
            f'<title id="{name}">{escape(title)}</title>',
        ]
        parts += [
            f'<path {look} d="{d}"/>' for kind, look in ((PALE, _PALE), (INK, _INK)) if (d := "".join(fills[kind]))
        ]
        parts += [
            f'<path stroke-width="{weight * GRID:g}" d="{"".join(pieces)}"/>'
            for weight, pieces in sorted(strokes.items())
            if any(pieces)
        ]
        parts += [
            f'<text x="{x * GRID:.0f}" y="{y * GRID:.0f}" font-size="{size * GRID:.0f}" text-anchor="middle"'
            f' font-family="system-ui,sans-serif" font-weight="600" {_INK}>{escape(text)}</text>'
            for x, y, text, size in self._words
        ]
        return "".join([*parts, "</svg>"])


def _is_line(form: Any) -> bool:
    return "Line" in form.geom_type


def _d(form: Any) -> str:
    """A geometry as path data in whole numbers, relative after the first point of each piece."""
    if form.is_empty:
        return ""
    if form.geom_type == "MultiLineString":
        form = shapely.line_merge(form)
    pieces = []
    for part in shapely.get_parts(form):
        if part.geom_type == "Polygon":
            pieces += [_piece(shapely.get_coordinates(ring), True) for ring in (part.exterior, *part.interiors)]
        elif part.geom_type in ("LineString", "LinearRing"):
            points = shapely.get_coordinates(part)
            pieces.append(_piece(points, len(points) > 3 and bool(np.array_equal(points[0], points[-1]))))
    return "".join(pieces)


def _piece(points: Points, closed: bool) -> str:
    whole = np.rint(points * GRID).astype(int)
    if closed:
        whole = whole[:-1]
    steps = np.diff(whole, axis=0)
    steps = steps[np.any(steps != 0, axis=1)]
    if not len(steps):
        return ""
    told = " ".join(f"{x} {y}" for x, y in steps.tolist()).replace(" -", "-")
    return f"M{whole[0, 0]} {whole[0, 1]}l{told}{'z' if closed else ''}"
