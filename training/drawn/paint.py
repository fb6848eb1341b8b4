"""Paint plants into a picture, the farthest part first."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from training.drawn import brush, colour
from training.drawn.brush import Picture
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
Stroke = tuple[float, Callable[[], None]]
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
        self._strokes: list[Stroke] = []
        self._shadows: list[NDArray[np.int32]] = []
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
        for number, (_, stroke) in enumerate(self._strokes):
            if number == half_way and soften_back > 0.5:
                self.picture[...] = brush.soften(self.picture, soften_back * 0.7)
            stroke()
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
            brush.fill_fixed(mask, points, (255,))
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
                self._strokes.append((float(frames.near[index]), stroke))

    def _bent_stroke(
        self, form: LeafForm, variant: int, frames: Frames, i: int, tone: Rgb, flat: NDArray[np.int32]
    ) -> Callable[[], None]:
        gloss = form.gloss * self._light.direct
        one, two, three, four = frames.light[i].tolist()
        bend = Bend(
            frames.rib[i, 0],
            frames.rib[i, 1],
            frames.rib[i, 2],
            frames.across[i],
            float(frames.right[i]),
            (one, two, three, four),
            float(frames.sun_along[i]),
            float(frames.sun_across[i]),
            gloss,
            (float(frames.shine[i, 0]), float(frames.shine[i, 1])),
        )
        throw = self._throw * min(9.0, max(1.5, 0.06 * float(frames.length[i])))
        shadow = 0.22 + 0.22 * self._light.direct if frames.length[i] > 34 else 0.0
        long = LONG_NEAR if frames.length[i] > 190 else LONG

        def stroke() -> None:
            if not paint_blade(self.picture, surface_of(form, variant, long), bend, tone, shadow, throw):
                lit = colour.lit(tone, float(frames.light[i].mean()))
                brush.fill_fixed(self.picture, flat, lit)

        return stroke

    def _flat_strokes(
        self,
        form: LeafForm,
        frames: Frames,
        chosen: NDArray[np.intp],
        tones: Array,
        flat: NDArray[np.int32],
        outline: Array,
    ) -> None:
        """Small blades: two halves of even colour, a midrib, and the dark line below them."""
        light = frames.light[chosen]
        left = np.clip(tones[chosen] * light[:, :2].mean(axis=1)[:, None], 0, 255)
        right = np.clip(tones[chosen] * light[:, 2:].mean(axis=1)[:, None], 0, 255)
        dark = (0.34 * np.minimum(left, right)).tolist()
        rib = np.clip(left * 1.2, 0, 255).tolist()
        lefts, rights, near = left.tolist(), right.tolist(), frames.near[chosen].tolist()
        long = frames.length[chosen]
        moves = np.round(self._throw * 16 * np.minimum(2.5, 0.6 + 0.05 * long)[:, None]).astype(np.int32)
        below = outline[:, 1] <= 1e-9
        at = np.array([0.0, 0.5, 0.9])[None, :, None]
        veins = brush.fixed(
            frames.rib[chosen, None, 0] + frames.rib[chosen, None, 1] * at + frames.rib[chosen, None, 2] * at * at
        )
        spotted = form.mark == "dark_spot"
        for i in range(len(chosen)):
            size = float(long[i])
            second = flat[i][below] if size > 6 else None
            vein = veins[i] if size > 13 else None
            under = flat[i] + moves[i] if size > 5 else None

            def stroke(
                whole: Any = flat[i],
                second: Any = second,
                vein: Any = vein,
                under: Any = under,
                i: int = i,
                size: float = size,
            ) -> None:
                if under is not None:
                    brush.fill_fixed(self.picture, under, dark[i])
                brush.fill_fixed(self.picture, whole, lefts[i])
                if second is not None and len(second) > 2:
                    brush.fill_fixed(self.picture, second, rights[i])
                if vein is not None:
                    brush.fixed_line(self.picture, vein, rib[i], 1)
                if spotted and size > 5:
                    x, y = (veins[i][1] / 16).tolist()
                    brush.spot(self.picture, (x, y), 0.11 * size, colour.lit((96, 44, 42), float(light[i].mean())))

            self._strokes.append((near[i], stroke))

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
                stroke = self._thread(brush.fixed(px), tone, edge, 2 if thick > 1.5 else 1)
            else:
                stroke = self._rod(px, np.linspace(thick, max(1.0, thin), len(px)), tone, edge)
            self._strokes.append((float(near.mean()) - 0.3, stroke))

    def _thread(self, px: NDArray[np.int32], tone: Rgb, edge: Rgb, width: int) -> Callable[[], None]:
        moved = px + np.array([6, 11], np.int32)

        def stroke() -> None:
            brush.fixed_line(self.picture, moved, edge, width)
            brush.fixed_line(self.picture, px, tone, width)

        return stroke

    def _rod(self, px: Array, size: Array, tone: Rgb, edge: Rgb) -> Callable[[], None]:
        def stroke() -> None:
            brush.fill(self.picture, brush.ribbon(px + np.array([0.2, 0.3]), size + 0.9), edge)
            brush.fill(self.picture, brush.ribbon(px, size), tone)
            brush.fill(self.picture, brush.ribbon(px - 0.14 * size.max(), size * 0.4), colour.lit(tone, 1.22))

        return stroke

    def _put_flakes(self, flakes: Flakes, foot: Array) -> None:
        rows = flakes.rows
        px, near = self._view.project(rows[:, :3] + foot)
        way = self._view.towards(rows[:, 3:6])[:, :2] * [1, -1]
        short = np.maximum(np.hypot(*way.T), 0.35)[:, None]
        unit = way / np.maximum(np.hypot(*way.T), 1e-6)[:, None]
        along = unit * short * rows[:, 6:7] * self._view.scale / 2
        across = np.stack([-unit[:, 1], unit[:, 0]], axis=1) * np.maximum(rows[:, 7:8] * self._view.scale, 0.9) / 2
        steps = _POINTED if flakes.pointed else _ROUND
        shape = np.stack([px + a * along + b * across for a, b in steps], axis=1)
        light = self._light.sky * 0.85 + self._light.direct * (0.45 + 0.3 * rows[:, 5])
        fixed, values = brush.fixed(shape), np.clip(rows[:, 8:11] * light[:, None], 0, 255)
        rim, tones, darks, nearness = (
            brush.fixed(shape + np.array([0.35, 0.6])),
            values.tolist(),
            (values * 0.55).tolist(),
            near.tolist(),
        )
        size = rows[:, 6] * self._view.scale
        large = size > 11  # large enough to show their roundness
        inner = (
            brush.fixed(px[:, None] + 0.55 * (shape - px[:, None]) - 0.07 * size[:, None, None])
            if large.any()
            else fixed
        )
        side = self.picture.shape[0]
        seen = (px > -20).all(axis=1) & (px < side + 20).all(axis=1)
        for i in np.nonzero(seen)[0].tolist():
            light_side = inner[i] if large[i] else None
            below = rim[i] if size[i] > 2.5 else None
            self._strokes.append((nearness[i], self._piece(fixed[i], below, light_side, tones[i], darks[i])))

    def _piece(self, fixed: Any, rim: Any, inner: Any, tone: Any, dark: Any) -> Callable[[], None]:
        bright = colour.lit(tone, 1.14) if inner is not None else tone

        def stroke() -> None:
            if rim is not None:
                brush.fill_fixed(self.picture, rim, dark)
            brush.fill_fixed(self.picture, fixed, tone)
            if inner is not None:
                brush.fill_fixed(self.picture, inner, bright)

        return stroke

    def _put_bristles(self, bristles: Bristles, foot: Array) -> None:
        ends, near = self._view.project(bristles.rows[:, :6].reshape(-1, 2, 3) + foot)
        light = self._light.sky * 0.8 + self._light.direct * 0.6
        tones = np.clip(bristles.rows[:, 6:9] * light, 0, 255).tolist()
        for points, depth, tone in zip(ends, near.mean(axis=1).tolist(), tones, strict=True):
            if self._seen(points):
                self._strokes.append((depth, self._hair(brush.fixed(points), tone)))

    def _hair(self, px: NDArray[np.int32], tone: Any) -> Callable[[], None]:
        return lambda: brush.fixed_line(self.picture, px, tone, 1)

    def _put_blossom(self, blossom: Blossom, foot: Array) -> None:
        centre, near = self._view.project(np.array(blossom.centre) + foot)
        far = self._view.distance * self._view.across
        size = blossom.radius * self._view.scale * far / max(far - float(near), far * 0.12)
        if not self._seen(np.stack([centre - size, centre + size])):
            return
        facing = self._view.towards(np.array(blossom.facing))
        sun = max(0.0, float(np.dot(blossom.facing, self._light.sun)))
        gain = np.full(3, self._light.sky * 0.9 + self._light.direct * (0.35 + 0.55 * sun))
        if size < 1.6:
            tone = colour.lit(blossom.form.colour, float(gain[0]) * 0.95)
            self._strokes.append(
                (
                    float(near) + blossom.radius,
                    lambda: brush.spot(self.picture, (centre[0], centre[1]), max(0.7, size), tone),
                )
            )
            return
        matrix = attitude(blossom, facing) * size
        variant = blossom.variant % PAINTED
        form = blossom.form

        def stroke() -> None:
            paint_sprite(self.picture, sprite_of(form, variant), matrix, centre, gain, 0.4)

        self._strokes.append((float(near) + blossom.radius, stroke))
