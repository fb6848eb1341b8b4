"""Paint plants into a picture, the farthest part first."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from functools import partial

import numpy as np
from numpy.typing import NDArray

from training.drawn import brush, colour
from training.drawn.brush import Fixed, Picture
from training.drawn.colour import Rgb
from training.drawn.frame import Frames, Light, aged, attitude, coarse_outline, outlines, place_blades
from training.drawn.leaf import VARIANTS, LeafForm
from training.drawn.organ import Blossom, Bristles, Flakes, Leaves, Plant, Stem
from training.drawn.patch import Bend, paint_blade, paint_sprite
from training.drawn.sprite import VARIANTS as PAINTED
from training.drawn.sprite import sprite_of
from training.drawn.surface import LONG, LONG_NEAR, surface_of
from training.drawn.view import View

Array = NDArray[np.float64]
Mark = tuple[Fixed, Rgb, int]  # points, colour and width of a line; 0: a filled shape
BENT = 22.0  # px: shorter blades are plain polygons, longer ones bent surfaces
# Outlines of small pieces: along and across their axis.
_POINTED = ((-1.0, 0.0), (-0.4, 0.85), (0.2, 0.75), (1.0, 0.0), (0.2, -0.75), (-0.4, -0.85))
_ROUND = tuple((math.cos(k * math.pi / 6), math.sin(k * math.pi / 6)) for k in range(12))
SLENDER = 4.0  # px: and so are narrower ones


class Easel:
    """One picture being painted: plants are put on it, then painted all together by depth."""

    def __init__(self, picture: Picture, view: View, light: Light) -> None:
        self.picture = picture
        self._view, self._light = view, light
        self._strokes: list[tuple[float, Sequence[Mark], Callable[[], None] | None]] = []
        self._shadows: list[Fixed] = []
        sun = np.array(light.sun)
        # Where a shadow falls in the picture for 1 px of height.
        self._throw = view.towards(np.array([-sun[0], -sun[1], 0.0]) / max(0.35, sun[2]))[:2] * [1, -1]

    def put(self, plant: Plant, foot: tuple[float, float]) -> None:
        """Stand a plant with its foot at x, y (mm)."""
        at = np.array([foot[0], foot[1], 0.0])
        for batch in plant.leaves:
            self._put_leaves(batch, at, max(5.0, 0.25 * plant.height))
        if plant.stems:
            self._put_stems(plant.stems, at)
        for flakes in plant.flakes:
            self._put_flakes(flakes, at)
        for bristles in plant.bristles:
            self._put_bristles(bristles, at)
        for blossom in plant.blossoms:
            self._put_blossom(blossom, at)

    def finish(self, soften_back: float) -> Picture:
        """Paint all that was put; ``soften_back`` px blurs the farther half (depth of field)."""
        self._paint_shadows()
        self._strokes.sort(key=lambda stroke: stroke[0])
        half_way = len(self._strokes) // 3
        for number, (_, marks, then) in enumerate(self._strokes):
            if number == half_way and soften_back > 0.5:
                self.picture[...] = brush.soften(self.picture, soften_back * 0.7)
            self._paint(marks)
            if then is not None:
                then()
        return self.picture

    def _seen(self, points: Array) -> bool:
        low, high = points.min(axis=0), points.max(axis=0)
        side = self.picture.shape[0]
        return bool(high[0] > -2 and high[1] > -2 and low[0] < side + 2 and low[1] < side + 2)

    def _paint_shadows(self) -> None:
        """The shadow of all leaves on the ground, soft from the sky and sharper from the sun."""
        side = self.picture.shape[0]
        if not self._shadows:
            return
        mask = np.zeros((side // 2, side // 2), np.uint8)
        for points in self._shadows:
            brush.fill(mask, points, (255,))
        sharp = brush.soften(mask, 0.8 + side / 400).astype(np.float32)
        wide = brush.soften(mask, side / 45).astype(np.float32)
        power = 0.44 * min(1.0, self._light.direct / 0.6)
        dark = 1 - (sharp * power + wide * 0.26) / 255
        whole = brush.scaled(np.clip(dark, 0.3, 1), side, side)[..., None]
        self.picture[...] = (self.picture * whole).astype(np.uint8)

    def _put_leaves(self, batch: Leaves, foot: Array, crowd: float) -> None:
        frames = place_blades(batch, foot, self._view, self._light, crowd)
        side = self.picture.shape[0]
        wide = np.hypot(*frames.across.T) * batch.form.ratio * (1 + frames.right) / 2
        bent = (frames.length > BENT) & (wide > SLENDER) & ((wide > 0.13 * frames.length) | (wide > 9))
        variants = batch.rows[:, 12].astype(int) % VARIANTS
        sun = np.array(self._light.sun)
        tones = aged(batch.colour, batch.rows[:, 11], frames.under)
        for variant in range(VARIANTS):
            chosen = np.nonzero(variants == variant)[0]
            if not len(chosen):
                continue
            outline = coarse_outline(batch.form, variant, 10.0 if frames.length.max() < 14 else 60.0)
            space = outlines(batch, frames, outline, chosen, foot)
            px = self._view.project(space)[0]
            low, high = px.min(axis=1), px.max(axis=1)
            seen = (high > -2).all(axis=1) & (low < side + 2).all(axis=1)
            flat = brush.fixed(px)
            shade = space - (space[..., 2:] / max(sun[2], 0.35)) * sun * min(1.0, self._light.direct + 0.3)
            shade[..., 2] = 0
            self._shadows += list(brush.fixed(self._view.project(shade)[0] / 2))
            plain = chosen[seen & ~bent[chosen]]
            self._flat_strokes(batch.form, frames, plain, tones, flat[seen & ~bent[chosen]], outline)
            for place in np.nonzero(seen & bent[chosen])[0]:
                index = int(chosen[place])
                stroke = self._bent_stroke(
                    batch.form, variant, frames, index, tuple(tones[index].tolist()), flat[place]
                )
                self._put(float(frames.near[index]), [], stroke)

    def _bent_stroke(
        self, form: LeafForm, variant: int, frames: Frames, i: int, tone: Rgb, flat: Fixed
    ) -> Callable[[], None]:
        """A blade that is large enough to show its curve."""
        light, shine = frames.light[i].tolist(), frames.shine[i].tolist()
        p0, b, c = frames.rib[i]
        bend = Bend(
            p0, b, c, frames.across[i], float(frames.right[i]), light, float(frames.sun_along[i]),
            float(frames.sun_across[i]), form.gloss * self._light.direct, shine,
        )  # fmt: skip
        length = float(frames.length[i])
        throw = self._throw * min(9.0, max(1.5, 0.06 * length))
        shadow = 0.22 + 0.22 * self._light.direct if length > 34 else 0.0
        surface = partial(surface_of, form, variant, LONG_NEAR if length > 190 else LONG)

        def stroke() -> None:
            if not paint_blade(self.picture, surface(), bend, tone, shadow, throw):
                self._paint([(flat, colour.lit(tone, float(np.mean(light))), 0)])

        return stroke

    def _flat_strokes(
        self, form: LeafForm, frames: Frames, chosen: NDArray[np.intp], tones: Array, flat: Fixed, outline: Array
    ) -> None:
        """Small blades: two halves of even colour, a midrib, and the dark line below them."""
        light, long = frames.light[chosen], frames.length[chosen]
        left = np.clip(tones[chosen] * light[:, :2].mean(axis=1)[:, None], 0, 255)
        right = np.clip(tones[chosen] * light[:, 2:].mean(axis=1)[:, None], 0, 255)
        dark, rib = (0.34 * np.minimum(left, right)).tolist(), np.clip(left * 1.2, 0, 255).tolist()
        lefts, rights, near = left.tolist(), right.tolist(), frames.near[chosen].tolist()
        moves = np.round(self._throw * 16 * np.minimum(2.5, 0.6 + 0.05 * long)[:, None]).astype(np.int32)
        below = outline[:, 1] <= 1e-9
        at = np.array([0.0, 0.5, 0.9])[None, :, None]
        p0, b, c = (frames.rib[chosen, None, part] for part in range(3))
        veins = brush.fixed(p0 + b * at + c * at * at)
        for i, size in enumerate(long.tolist()):
            marks: list[Mark] = [(flat[i] + moves[i], dark[i], 0)] if size > 5 else []
            marks.append((flat[i], lefts[i], 0))
            if size > 6 and below.sum() > 2:
                marks.append((flat[i][below], rights[i], 0))
            if size > 13:
                marks.append((veins[i], rib[i], 1))
            spot = None
            if form.mark == "dark_spot" and size > 5:
                tone = colour.lit((96, 44, 42), float(light[i].mean()))
                spot = partial(brush.spot, self.picture, (veins[i][1] / 16).tolist(), 0.11 * size, tone)
            self._put(near[i], marks, spot)

    def _put_stems(self, stems: Sequence[Stem], foot: Array) -> None:
        ends = np.cumsum([len(stem.path) for stem in stems])
        every, nearness = self._view.project(np.concatenate([stem.path for stem in stems]) + foot)
        light = self._light.sky * 0.8 + self._light.direct * 0.55
        for stem, end in zip(stems, ends.tolist(), strict=True):
            px, near = every[end - len(stem.path) : end], nearness[end - len(stem.path) : end]
            if not self._seen(px):
                continue
            thick, thin = self._view.scale * stem.thick, self._view.scale * stem.thin
            tone, edge = colour.lit(stem.colour, light), colour.lit(stem.colour, light * 0.55)
            if thick < 2.4:
                line, width = brush.fixed(px), 2 if thick > 1.5 else 1
                marks = [(line + np.array([6, 11], np.int32), edge, width), (line, tone, width)]
            else:
                size = np.linspace(thick, max(1.0, thin), len(px))
                rim, rod = brush.ribbon(px + np.array([0.2, 0.3]), size + 0.9), brush.ribbon(px, size)
                bright = brush.ribbon(px - 0.14 * size.max(), size * 0.4)
                marks = [(brush.fixed(rim), edge, 0), (brush.fixed(rod), tone, 0)]
                marks.append((brush.fixed(bright), colour.lit(tone, 1.22), 0))
            self._put(float(near.mean()) - 0.3, marks)

    def _put_flakes(self, flakes: Flakes, foot: Array) -> None:
        rows, scale = flakes.rows, self._view.scale
        px, near = self._view.project(rows[:, :3] + foot)
        way = self._view.towards(rows[:, 3:6])[:, :2] * [1, -1]
        short = np.maximum(np.hypot(*way.T), 0.35)[:, None]
        unit = way / np.maximum(np.hypot(*way.T), 1e-6)[:, None]
        along = unit * short * rows[:, 6:7] * scale / 2
        across = np.stack([-unit[:, 1], unit[:, 0]], axis=1) * np.maximum(rows[:, 7:8] * scale, 0.9) / 2
        shape = np.stack([px + a * along + b * across for a, b in (_POINTED if flakes.pointed else _ROUND)], axis=1)
        light = self._light.sky * 0.85 + self._light.direct * (0.45 + 0.3 * rows[:, 5])
        values = np.clip(rows[:, 8:11] * light[:, None], 0, 255)
        tones, darks, nearness = values.tolist(), (values * 0.55).tolist(), near.tolist()
        fixed, rim, size = brush.fixed(shape), brush.fixed(shape + np.array([0.35, 0.6])), rows[:, 6] * scale
        inner = brush.fixed(px[:, None] + 0.55 * (shape - px[:, None]) - 0.07 * size[:, None, None])
        side = self.picture.shape[0]
        for i in np.nonzero((px > -20).all(axis=1) & (px < side + 20).all(axis=1))[0].tolist():
            marks: list[Mark] = [(rim[i], darks[i], 0)] if size[i] > 2.5 else []
            marks.append((fixed[i], tones[i], 0))
            if size[i] > 11:  # large enough to show its roundness
                marks.append((inner[i], colour.lit(tones[i], 1.14), 0))
            self._put(nearness[i], marks)

    def _put_bristles(self, bristles: Bristles, foot: Array) -> None:
        ends, near = self._view.project(bristles.rows[:, :6].reshape(-1, 2, 3) + foot)
        light = self._light.sky * 0.8 + self._light.direct * 0.6
        tones = np.clip(bristles.rows[:, 6:9] * light, 0, 255).tolist()
        for points, depth, tone in zip(ends, near.mean(axis=1).tolist(), tones, strict=True):
            if self._seen(points):
                self._put(depth, [(brush.fixed(points), tone, 1)])

    def _put_blossom(self, blossom: Blossom, foot: Array) -> None:
        centre, near = self._view.project(np.array(blossom.centre) + foot)
        far, depth = self._view.distance * self._view.across, float(near) + blossom.radius
        size = blossom.radius * self._view.scale * far / max(far - float(near), far * 0.12)
        if not self._seen(np.stack([centre - size, centre + size])):
            return
        facing, form = self._view.towards(np.array(blossom.facing)), blossom.form
        sun = max(0.0, float(np.dot(blossom.facing, self._light.sun)))
        gain = self._light.sky * 0.9 + self._light.direct * (0.35 + 0.55 * sun)
        if size < 1.6:
            tone = colour.lit(form.colour, gain * 0.95)
            self._put(depth, [], partial(brush.spot, self.picture, tuple(centre), max(0.7, size), tone))
            return
        matrix, variant = attitude(blossom, facing) * size, blossom.variant % PAINTED

        def stroke() -> None:
            paint_sprite(self.picture, sprite_of(form, variant), matrix, centre, np.full(3, gain), 0.4)

        self._put(depth, [], stroke)

    def _put(self, depth: float, marks: Sequence[Mark], then: Callable[[], None] | None = None) -> None:
        """Keep strokes of one part until all parts are there; ``depth`` mm towards the camera."""
        self._strokes.append((depth, marks, then))

    def _paint(self, marks: Sequence[Mark]) -> None:
        for points, tone, width in marks:
            if width:
                brush.line(self.picture, points, tone, width)
            else:
                brush.fill(self.picture, points, tone)
