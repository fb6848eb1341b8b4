"""How blades stand in space, what light falls on them, and the strokes that paint them."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from training.drawn import brush
from training.drawn.brush import Fixed, Mark
from training.drawn.chance import noise_dice
from training.drawn.colour import lit
from training.drawn.curve import Array
from training.drawn.leaf import VARIANTS, LeafForm, Points, leaf_shape
from training.drawn.organ import Leaves
from training.drawn.view import Light, View

FLOOR = 0.4  # mm: blades lie on the ground, not in it
Factor = tuple[float, float, float]
RIB: Factor = (1.34, 1.26, 1.4)
VEIN: Factor = (1.16, 1.12, 1.16)


@dataclass(frozen=True)
class Painted:
    """One blade: nearness (mm), strokes back to front, and its shadow on the ground in half px."""

    near: float
    marks: list[Mark]
    shadow: Fixed


class _Stand:
    """Blades of a batch in space; the first axis of every array is the blade."""

    def __init__(self, rows: Array, foot: Array) -> None:
        turn, rise, length, droop, roll, fold, width = (rows[:, i, None] for i in range(3, 10))
        level = np.hstack([-np.sin(turn), np.cos(turn), 0 * turn])
        out = np.hstack([np.cos(turn), np.sin(turn), 0 * turn])
        up = np.array([0.0, 0.0, 1.0])
        self.foot, self.length, self.droop, self.width = rows[:, :3] + foot, length, droop, width
        self.first = np.cos(rise) * out + np.sin(rise) * up
        self.bend = np.sin(rise) * out - np.cos(rise) * up
        middle = self.first + 0.5 * droop * self.bend
        middle /= np.linalg.norm(middle, axis=1)[:, None]
        side = level * np.cos(roll) + np.cross(middle, level) * np.sin(roll)
        normal = np.cross(middle, side)
        self.left = side * np.cos(fold) + normal * np.sin(fold)
        self.right = -side * np.cos(fold) + normal * np.sin(fold)
        self.normals = tuple(normal * np.cos(fold) + sign * side * np.sin(fold) for sign in (-1, 1))

    def at(self, chosen: NDArray[np.intp], places: Points) -> Array:
        """Points (chosen, n, 3) in mm of places (n, 2) in the frame of the blade."""
        u, v = places[None, :, :1], places[None, :, 1:]
        length, droop = self.length[chosen][:, None], self.droop[chosen][:, None]
        rib = length * (u * self.first[chosen][:, None] + 0.5 * u * u * droop * self.bend[chosen][:, None])
        side = np.where(v > 0, self.left[chosen][:, None], -self.right[chosen][:, None])
        points = self.foot[chosen][:, None] + rib + length * self.width[chosen][:, None] * v * side
        points[..., 2] = np.maximum(points[..., 2], FLOOR)
        return np.asarray(points)


def paint_blades(batch: Leaves, foot: Array, view: View, light: Light, crowd: float) -> Iterator[Painted]:
    """The blades of a batch that stands at ``foot`` (mm); below ``crowd`` mm neighbours take the light."""
    stand, form, variants = _Stand(batch.rows, foot), batch.form, batch.rows[:, 11].astype(int) % VARIANTS
    sun = np.array(light.sun)
    size = view.scale * float(batch.rows[:, 5].max())
    for variant in range(VARIANTS):
        chosen = np.nonzero(variants == variant)[0]
        if not len(chosen):
            continue
        pieces = _pieces(form, variant, size > 25, size > 70, size > 200)
        space = [stand.at(chosen, points) for points, *_ in pieces]
        seen = [brush.fixed(view.project(points)[0]) for points in space]
        height = stand.at(chosen, np.array([[0.5, 0.0]]))[:, 0]
        near = view.project(height)[1] + 0.02 * view.project(stand.at(chosen, np.array([[1.0, 0.0]]))[:, 0])[1]
        shade = 1 - 0.25 * np.exp(-np.maximum(height[:, 2], 0) / max(crowd, 1.0))
        halves = _tones(stand, chosen, batch, light, view, shade)
        dropped = space[0] - space[0][..., 2:] / max(sun[2], 0.35) * sun * min(1.0, light.direct + 0.3)
        shadows = brush.fixed(view.project(dropped)[0] / 2)
        for i in range(len(chosen)):
            marks = []
            for (_, half, factor, width), points in zip(pieces, seen, strict=True):
                red, green, blue = halves[half][i]
                tone = lit((red * factor[0], green * factor[1], blue * factor[2]), 1.0)
                marks.append((points[i], tone, max(1, round(width * size)) if width else 0))
            yield Painted(float(near[i]), marks, shadows[i])


def _tones(
    stand: _Stand, chosen: NDArray[np.intp], batch: Leaves, light: Light, view: View, shade: Array
) -> tuple[Array, Array]:
    """Colours (chosen, 3) of the left and the right half; undersides are paler."""
    found, sun = [], np.array(light.sun)
    for normal in stand.normals:
        facing = normal[chosen]
        under = view.towards(facing)[:, 2] < 0
        facing = np.where(under[:, None], -facing, facing)
        direct = facing @ sun
        falls = light.direct * (np.maximum(direct, 0) + 0.42 * np.maximum(-direct, 0))
        falls += light.sky * (0.72 + 0.28 * facing[:, 2])
        tone = np.where(under[:, None], 0.7 * np.array(batch.colour) + (50, 55, 45), np.array(batch.colour))
        found.append(tone * (falls * shade * batch.rows[chosen, 10])[:, None])
    return found[0], found[1]


@lru_cache(maxsize=2000)
def _pieces(
    form: LeafForm, variant: int, middling: bool, near: bool, closest: bool
) -> list[tuple[Points, int, Factor, float]]:
    """What is painted of a blade, back to front: points, half (0 left, 1 right), factor on its colour, and the width of
    a line as a share of the blade's length (0: filled). The first is the outline. ``middling``, ``near`` and
    ``closest``: in what detail.
    """
    plain: Factor = (1.0, 1.0, 1.0)
    shape = leaf_shape(form, variant)
    if shape.strokes:
        if not middling:
            return [(_frond(form), 0, plain, 0.0)]
        ribbons = [brush.ribbon(line, np.linspace(wide, 0.6 * wide, len(line))) for line, wide in shape.strokes]
        return [(points, int(points[:, 1].mean() < 0), plain, 0.0) for points in ribbons]
    outline = shape.outline
    if not middling and len(outline) > 16:
        outline = outline[np.unique(np.linspace(0, len(outline) - 1, 16).astype(int))]
    below = outline[outline[:, 1] <= 1e-9]
    rib = np.stack([np.linspace(float(below[-1, 0]), 0.995, 8), np.zeros(8)], axis=1)
    pieces = [(outline, 0, plain, 0.0), (np.concatenate([below, rib]), 1, plain, 0.0)]
    if middling:
        pieces += _marks(form, noise_dice(variant, "marks", form))
        pieces += [(vein, int(vein[-1, 1] < 0), VEIN, 0.004) for vein in shape.veins if near]
        pieces.append((shape.midrib, 0, RIB, 0.012 if near else 0.006))
        pieces.append(
            (np.concatenate([outline, outline[:1]]), 0, (0.66, 0.7, 0.6) if near else (0.84, 0.86, 0.8), 0.004)
        )
    if near:
        pieces += [(spine, 0, (1.6, 1.5, 1.6), 0.003) for spine in shape.spines]
    if closest:
        pieces += [(hair, 0, (0.9, 0.95, 0.85), 0.001) for hair in _fringe(form, outline)]
    return pieces


def _marks(form: LeafForm, chance: np.random.Generator) -> list[tuple[Points, int, Factor, float]]:
    """Crescents, spots and flecks of a blade."""
    base, keep = form.stalk, 1 - form.stalk
    if form.mark == "pale_crescent":
        v = np.linspace(-1, 1, 15)
        arch = np.stack([base + keep * (0.62 - 0.26 * np.abs(v) ** 1.4), v * form.ratio * keep * 0.42], axis=1)
        return [(brush.ribbon(arch, 0.13 * keep * (1 - 0.6 * np.abs(v))), 0, (1.45, 1.3, 1.7), 0.0)]
    if form.mark == "dark_spot":
        turn = np.linspace(0, 2 * np.pi, 14)
        spot = np.stack([base + keep * (0.5 + 0.16 * np.cos(turn)), 0.15 * form.ratio * np.sin(turn)], axis=1)
        return [(spot, 0, (1.05, 0.45, 0.7), 0.0)]
    if form.mark == "flecks" and form.edge == "prickly":  # marbled along the veins
        return [(vein, 0, (1.9, 1.55, 2.1), 0.02) for vein in leaf_shape(form, 0).veins]
    if form.mark == "flecks":
        x, y = base + keep * chance.uniform(0.1, 0.9, 40), form.ratio * keep * chance.uniform(-0.25, 0.25, 40)
        fleck = 0.012 * np.array([[-1, 0], [0, 1], [1, 0], [0, -1.0]])
        return [(np.array(at) + fleck, 0, (0.85, 0.5, 0.7), 0.0) for at in zip(x, y, strict=True)]
    return []


def _fringe(form: LeafForm, outline: Points) -> list[Points]:
    """Hairs that stand out from the edge."""
    if form.outline.startswith("grass") or form.hairs not in ("soft", "bristly", "sticky", "woolly"):
        return []
    course = np.gradient(outline, axis=0)
    out = np.stack([-course[:, 1], course[:, 0]], axis=1) / np.maximum(np.hypot(*course.T), 1e-6)[:, None]
    step = max(1, len(outline) // 90)
    return [np.stack([at, at + 0.014 * way]) for at, way in zip(outline[::step], out[::step], strict=True)]


def _frond(form: LeafForm) -> Points:
    """A jagged outline that stands for a finely cut blade seen from afar."""
    x = np.linspace(0.02 + form.stalk, 1, 26)
    jag = np.where(np.arange(26) % 2 == 0, 0.25, 1.0)
    y = form.ratio / 2 * np.sin(np.pi * (0.2 + 0.72 * (x - form.stalk) / (1 - form.stalk))) * jag
    half = np.stack([x, np.maximum(y, 0.012)], axis=1)
    return np.concatenate([half, (half * [1, -1])[::-1]])
