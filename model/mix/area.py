"""Areas from shapes that can be measured with a tape, less the garden beds in them."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from model.errors import nearest
from model.mix.doubt import MixError, doubt_about
from model.mix.number import readable, tidy
from model.mix.result import Result
from model.mix.unit import METRES, NUMBER, plain, read_quantity


@dataclass(frozen=True)
class Form:
    """A kind of shape: the names of its sizes, in metres, and its area from them."""

    sizes: tuple[str, ...]
    area: Callable[..., float]
    formula: str


def _three_sides(a: float, b: float, c: float) -> float:
    half = (a + b + c) / 2
    square = half * (half - a) * (half - b) * (half - c)
    if square <= 0:
        raise MixError(
            f"sides of {readable(a)}, {readable(b)} and {readable(c)} m do not make a triangle; measure again"
        )
    return math.sqrt(square)


def _ring(outer: float, inner: float) -> float:
    if inner >= outer:
        raise MixError("a ring is wider outside than inside; give the outer diameter first")
    return math.pi * (outer**2 - inner**2) / 4


FORMS: Mapping[str, Form] = {
    "rectangle": Form(("length", "width"), lambda a, b: a * b, "{0} m x {1} m"),
    "triangle": Form(("base", "height"), lambda a, b: a * b / 2, "{0} m x {1} m / 2"),
    "sides": Form(("side", "side", "side"), _three_sides, "triangle of sides {0}, {1} and {2} m"),
    "circle": Form(("diameter",), lambda d: math.pi * d**2 / 4, "pi x ({0} m / 2)^2"),
    "ellipse": Form(("length", "width"), lambda a, b: math.pi * a * b / 4, "pi x {0} m x {1} m / 4"),
    "trapezium": Form(
        ("parallel side", "other parallel side", "distance between them"),
        lambda a, b, h: (a + b) / 2 * h,
        "({0} m + {1} m) / 2 x {2} m",
    ),
    "ring": Form(("outer diameter", "inner diameter"), _ring, "pi x ({0}^2 - {1}^2) m2 / 4"),
}


@dataclass(frozen=True)
class Shape:
    """One measured piece: ``form`` of FORMS, ``sizes`` in metres in its order; ``less`` where it is subtracted."""

    form: str
    sizes: tuple[float, ...]
    less: bool = False

    @property
    def area_m2(self) -> float:
        """Its own area, always more than 0. Raises MixError where the sizes make no such shape."""
        return FORMS[self.form].area(*self.sizes)

    @property
    def working(self) -> str:
        """The formula with its numbers."""
        formula = FORMS[self.form].formula.format(*(readable(size) for size in self.sizes))
        return f"{'less ' if self.less else ''}{self.form}: {formula} = {readable(self.area_m2)} m2"

    def as_json(self) -> dict[str, Any]:
        """The same as plain data."""
        sizes = [tidy(size) for size in self.sizes]
        return {"shape": self.form, "sizes_m": sizes, "area_m2": tidy(self.area_m2), "less": self.less}


def read_shape(form: str, text: str, less: bool = False) -> Shape:
    """Read the sizes of a shape: numbers with x between them, in metres or in a unit after the last.

    >>> read_shape("rectangle", "10 x 5").area_m2
    50.0

    Raises MixError naming the sizes that the shape needs.
    """
    if form not in FORMS:
        raise MixError(f"{form} is not a shape that is known; {nearest(form, FORMS)}")
    sizes = FORMS[form].sizes
    texts = [part.strip() for part in re.split(r"(?<![A-Za-z])\s*[x*X\u00d7]\s*|\s+by\s+", plain(text))]
    if len(texts) != len(sizes):
        raise MixError(f"a {form} needs {len(sizes)}: {' x '.join(sizes)}, in metres")
    unit = re.sub(rf"^{NUMBER}", "", texts[-1]).strip()
    with_unit = [f"{part} {unit}".strip() if re.fullmatch(NUMBER, part) else part for part in texts]
    shape = Shape(form, tuple(read_quantity(part, METRES) for part in with_unit), less)
    _ = shape.area_m2  # impossible sizes are an error now, not later
    return shape


def measure_area(shapes: Sequence[Shape]) -> Result:
    """Add up the shapes and subtract the beds. Raises MixError if nothing is left."""
    if not any(not shape.less for shape in shapes):
        raise MixError("no shape is given; name one, such as a rectangle, with its sizes in metres")
    total = sum(-shape.area_m2 if shape.less else shape.area_m2 for shape in shapes)
    if total <= 1e-9 * max(shape.area_m2 for shape in shapes):
        raise MixError("what is subtracted is not less than the whole; measure again")
    working = tuple(shape.working for shape in shapes)
    if len(shapes) > 1:
        sums = " ".join(f"{'-' if shape.less else '+'} {readable(shape.area_m2)}" for shape in shapes)
        working += (f"{sums.removeprefix('+ ')} = {readable(total)} m2",)
    return Result(
        figures={"area_m2": total, "area_hectares": total / 10_000},
        rows=(("area", f"{readable(total)} m2"),),
        working=working,
        doubts=doubt_about("area", total),
        details={"shapes": [shape.as_json() for shape in shapes]},
    )
