"""The painted surface of a leaf blade: tint, relief and edge, made once a form and then bent into pictures."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from training.drawn import brush
from training.drawn.chance import noise_dice
from training.drawn.leaf import LeafForm, LeafShape, leaf_shape

LONG = 136  # px along a painted blade
LONG_NEAR = 288  # px along one that is seen from near
PAD = 6  # px around it
TINT_ONE = 110.0  # the tint that changes nothing


@dataclass(frozen=True)
class Surface:
    """One blade, its base at the left, at several sizes.

    ``levels``: uint8 (h, w, 4): three tints (TINT_ONE leaves the leaf's colour) and
    coverage. ``reliefs``: float32 (h, w, 2): slope of the surface along and across.
    ``half`` is the half width of the picture in blade lengths, ``long`` px a blade length.
    """

    levels: tuple[Any, ...]
    reliefs: tuple[Any, ...]
    half: float
    long: int

    def level_for(self, length: float) -> int:
        """The size to sample when the blade is ``length`` px long in the picture."""
        level, long = 0, float(self.long)
        while level + 1 < len(self.levels) and long > 1.6 * length:
            level, long = level + 1, long / 2
        return level


@lru_cache(maxsize=600)
def surface_of(form: LeafForm, variant: int, long: int = LONG) -> Surface:
    """Paint a blade of this form, ``long`` px; the same for the same form and variant."""
    shape = leaf_shape(form, variant)
    chance = noise_dice(variant, "surface", form)
    reach = float(np.abs(shape.outline[:, 1]).max())
    half = max(0.02, reach * 1.04) + PAD / long
    height, width = int(2 * half * long) + 1, long + 2 * PAD
    covered = _coverage(shape, form, chance, height, width)
    tint, relief = _inner(form, shape, chance, height, width, covered)
    _marks(form, shape, tint, chance)
    if form.hairs in ("soft", "bristly", "sticky"):
        covered = _fringe(form, shape, covered, tint, chance)
    picture = np.dstack([np.clip(tint * TINT_ONE, 0, 255).astype(np.uint8), covered])
    along, across = brush.slopes(relief)
    slope = np.dstack([along, across]).astype(np.float32)
    levels, reliefs = [np.ascontiguousarray(picture)], [slope]
    for _ in range(2 if long == LONG else 3):
        h, w = max(3, levels[-1].shape[0] // 2), levels[-1].shape[1] // 2
        levels.append(brush.scaled(levels[-1], w, h))
        reliefs.append(brush.scaled(reliefs[-1], w, h) * 0.7)
    return Surface(tuple(levels), tuple(reliefs), half, long)


def to_pixels(points: NDArray[np.float64], shape: tuple[int, ...]) -> NDArray[np.float64]:
    """From the blade's frame to px of its painted surface, which has this shape."""
    long = shape[1] - 2 * PAD
    return np.asarray(points * np.array([long, -long]) + np.array([PAD, (shape[0] - 1) / 2]))


def _coverage(shape: LeafShape, form: LeafForm, chance: np.random.Generator, height: int, width: int) -> Any:
    size, long = (height, width), width - 2 * PAD
    large = np.zeros((height * 2, width * 2), np.uint8)
    if shape.strokes:
        for points, thick in shape.strokes:
            ends = np.linspace(thick, thick * 0.7, len(points)) * long * 2
            brush.fill(large, brush.ribbon(to_pixels(points, size) * 2, ends), (255,))
            brush.spot(large, tuple(to_pixels(points, size)[-1] * 2), thick * 0.35 * long * 2, (255,))
    else:
        brush.fill(large, to_pixels(shape.outline, size) * 2, (255,))
        for spine in shape.spines:
            brush.line(large, to_pixels(spine, size) * 2, (255,), 2)
        if form.veins != "parallel" and chance.random() < 0.35:
            for _ in range(int(chance.integers(1, 5))):  # eaten
                place = shape.outline[int(chance.integers(len(shape.outline)))] * np.array([1, 1])
                where = to_pixels(place * np.array([1.0, chance.uniform(0.3, 1.0)]), size) * 2
                brush.spot(large, (where[0], where[1]), chance.uniform(2, 11), (0,))
    return brush.scaled(large, width, height)


def _inner(
    form: LeafForm, shape: LeafShape, chance: np.random.Generator, height: int, width: int, covered: Any
) -> tuple[Any, Any]:
    """Tint float32 (h, w, 3) about 1, and the height of the surface in px."""
    size, fine = (height, width), (width - 2 * PAD) / 232
    veins = np.zeros(size, np.uint8)
    rib = np.zeros((height, width), np.uint8)
    for vein in shape.veins:
        brush.line(veins, to_pixels(vein, size), (255,), 1)
    if len(shape.midrib) and not shape.strokes:
        points = to_pixels(shape.midrib, size)
        wide = 6.5 if form.texture == "stiff" or form.ratio > 0.25 else 3.5
        brush.fill(rib, brush.ribbon(points, np.linspace(max(1.3, wide * fine), 1.0, len(points))), (255,))
    veins_f = brush.soften(veins, 0.9 * fine + 0.1).astype(np.float32) / 255
    rib_f = brush.soften(rib, 0.9 * fine + 0.1).astype(np.float32) / 255
    valleys = brush.soften(np.maximum(veins, rib), 5.0 * fine).astype(np.float32) / 255
    blotch = brush.cloud(chance, height, width, 70 * fine, 2)
    grain = brush.cloud(chance, height, width, 7 * fine, 2)
    strength = {"fleshy": 0.25, "stiff": 1.0}.get(form.texture, 0.8)
    if form.veins == "parallel":
        strength *= 1.2
    light = 1 + 0.10 * blotch + 0.055 * grain - 0.32 * strength * (valleys - 0.25) * 0.6
    tint = np.repeat(light[..., None], 3, axis=2)
    pale = np.array([1.34, 1.26, 1.5], np.float32)
    for mask, power in ((veins_f, 0.55 * strength), (rib_f, 0.95)):
        part = (mask * power)[..., None]
        tint = tint * (1 - part) + tint * pale * part
    # Towards the edge a blade is thinner and lets light through; its tip ages first.
    inside = brush.soften(covered, 4.0 * fine).astype(np.float32) / 255
    tint *= (1 + 0.16 * np.clip(1 - inside, 0, 0.6))[..., None]
    if chance.random() < 0.5:
        x = np.linspace(0, 1, width, dtype=np.float32)[None]
        old = np.clip((x - chance.uniform(0.72, 1.0)) / 0.2 + 0.15 * blotch, 0, 1)[..., None] * chance.uniform(0.2, 1.0)
        tint = tint * (1 - old) + np.array([1.75, 1.12, 0.9], np.float32) * light[..., None] * old
    relief = 3.2 * strength * (1 - valleys) + 1.3 * grain * strength - 2.2 * rib_f + 3.0 * blotch
    relief = relief * fine
    if form.edge == "wavy":
        x = np.linspace(0, 1, width, dtype=np.float32)[None] * 5.0
        across = np.abs(np.linspace(-1, 1, height, dtype=np.float32))[:, None]
        relief = relief + 10 * across * np.sin(2 * np.pi * (x + 0.1 * blotch))
    return tint.astype(np.float32), relief.astype(np.float32)


def _marks(form: LeafForm, shape: LeafShape, tint: Any, chance: np.random.Generator) -> None:
    height, width = size = tint.shape[:2]
    fine = (width - 2 * PAD) / 232
    mask = np.zeros((height, width), np.uint8)
    base = form.stalk
    keep = 1 - base
    if form.mark == "pale_crescent":
        v = np.linspace(-1, 1, 15)
        across = v * form.ratio * keep * 0.42
        back = base + keep * (0.62 - 0.26 * np.abs(v) ** 1.4)
        thick = (0.13 * keep * (1 - 0.6 * np.abs(v))) * (width - 2 * PAD)
        brush.fill(mask, brush.ribbon(to_pixels(np.stack([back, across], axis=1), size), thick), (255,))
        _tint(tint, mask, np.array([1.45, 1.35, 1.75]), chance.uniform(0.5, 0.95), 2.0)
    elif form.mark == "dark_spot":
        turn = np.linspace(0, 2 * np.pi, 14)
        spot = np.stack([base + keep * (0.5 + 0.16 * np.cos(turn)), 0.15 * form.ratio * np.sin(turn)], axis=1)
        brush.fill(mask, to_pixels(spot * (1 + chance.normal(0, 0.02, spot.shape)), size), (255,))
        _tint(tint, mask, np.array([1.05, 0.42, 0.75]), chance.uniform(0.6, 0.95), 3.0)
    elif form.mark == "flecks":
        if form.ratio > 0.25 and form.edge == "prickly":
            for vein in (*shape.veins, shape.midrib):
                brush.line(mask, to_pixels(vein, size), (255,), 7 * fine)
            _tint(tint, mask, np.array([2.1, 1.7, 2.4]), 0.85, 2.5)
        else:
            for _ in range(60):
                brush.spot(
                    mask, (chance.uniform(0, width), chance.uniform(0, height)), chance.uniform(0.8, 2.4) * fine, (255,)
                )
            _tint(tint, mask, np.array([0.85, 0.5, 0.7]), 0.7, 0.8)
    if chance.random() < 0.45:  # rust, scald, dust
        spots = np.zeros((height, width), np.uint8)
        for _ in range(int(chance.integers(1, 9))):
            at = (chance.uniform(0, width), chance.uniform(0, height))
            brush.spot(spots, at, chance.uniform(0.6, 3.5) * fine, (255,))
        _tint(tint, spots, np.array([1.3, 0.85, 0.8]), 0.7, 0.7)
    if form.hairs == "woolly":
        felt = brush.cloud(chance, height, width, 5, 2)
        part = np.clip(0.32 + 0.3 * felt, 0, 0.8)[..., None]
        tint[...] = tint * (1 - part) + np.array([1.75, 1.45, 2.0]) * part
    elif form.hairs in ("soft", "bristly"):
        for _ in range(90 if form.hairs == "soft" else 60):
            x, y = chance.uniform(0, width), chance.uniform(0, height)
            end = np.array([[x, y], [x + chance.normal(4, 2), y + chance.normal(0, 3)]])
            brush.line(tint, end, (1.5, 1.35, 1.7), 1)


def _tint(tint: Any, mask: Any, colour: Any, power: float, soft: float) -> None:
    part = (brush.soften(mask, soft).astype(np.float32) / 255 * power)[..., None]
    tint[...] = tint * (1 - part) + tint * colour * part


def _fringe(form: LeafForm, shape: LeafShape, covered: Any, tint: Any, chance: np.random.Generator) -> Any:
    """Hairs that stand out from the edge, light against what is behind."""
    if shape.strokes:
        return covered
    edge = to_pixels(shape.outline, covered.shape)
    hairs = np.zeros_like(covered)
    middle = edge.mean(axis=0)
    for i in range(0, len(edge), max(1, len(edge) // 70)):
        out = edge[i] - middle
        out = out / max(1e-6, float(np.hypot(*out))) * chance.uniform(3, PAD)
        brush.line(hairs, np.stack([edge[i], edge[i] + out + chance.normal(0, 1, 2)]), (150,), 1)
    part = ((hairs > covered) * hairs.astype(np.float32) / 255)[..., None]
    tint[...] = tint * (1 - part) + np.array([1.9, 1.6, 2.2]) * part
    return np.maximum(covered, hairs)
