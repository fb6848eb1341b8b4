"""Paint plants into a picture, the farthest part first."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from training.drawn import brush, colour
from training.drawn.blade import paint_blades
from training.drawn.brush import Fixed, Mark, Picture
from training.drawn.curve import Array
from training.drawn.flower import disc_of
from training.drawn.kinds import attitude, flower_parts, seen_from
from training.drawn.organ import Blossom, Bristles, Flakes, Plant, Stem
from training.drawn.view import Light, View

# Outlines of small pieces: along and across their axis.
_POINTED = np.array([(-1.0, 0.0), (-0.4, 0.85), (0.2, 0.75), (1.0, 0.0), (0.2, -0.75), (-0.4, -0.85)])
_ROUND = disc_of((0.0, 0.0), 1.0)


class Easel:
    """One picture being painted: plants are put on it, then painted all together by depth."""

    def __init__(self, picture: Picture, view: View, light: Light) -> None:
        self.picture = picture
        self._view, self._light = view, light
        self._strokes: list[tuple[float, Sequence[Mark]]] = []
        self._shadows: list[Fixed] = []

    def put(self, plant: Plant, at: tuple[float, float] = (0.0, 0.0)) -> None:
        """Stand a plant with its foot at x, y (mm)."""
        foot = np.array([*at, 0.0])
        for batch in plant.leaves:
            for blade in paint_blades(batch, foot, self._view, self._light, 0.25 * plant.height):
                self._strokes.append((blade.near, blade.marks))
                self._shadows.append(blade.shadow)
        for stem in plant.stems:
            self._put_stem(stem, foot)
        for flakes in plant.flakes:
            self._put_flakes(flakes, foot)
        for bristles in plant.bristles:
            self._put_bristles(bristles, foot)
        for blossom in plant.blossoms:
            self._put_blossom(blossom, foot)

    def finish(self) -> Picture:
        """Paint all that was put."""
        self._paint_shadows()
        for _, marks in sorted(self._strokes, key=lambda stroke: stroke[0]):
            for points, tone, width in marks:
                if width:
                    brush.line(self.picture, points, tone, width)
                else:
                    brush.fill(self.picture, points, tone)
        return self.picture

    def _paint_shadows(self) -> None:
        """The shadow of all leaves on the ground, soft from the sky and sharper from the sun."""
        high, wide = self.picture.shape[:2]
        mask = np.zeros((high // 2 + 1, wide // 2 + 1), np.uint8)
        for points in self._shadows:
            brush.fill(mask, points, (255,))
        sharp, soft = (brush.soften(mask, sigma).astype(np.float32) for sigma in (0.8 + wide / 400, wide / 45))
        dark = np.clip(1 - (sharp * min(0.44, 0.73 * self._light.direct) + soft * 0.26) / 255, 0.3, 1)
        self.picture[...] = (self.picture * brush.scaled(dark, wide, high)[..., None]).astype(np.uint8)

    def _put_stem(self, stem: Stem, foot: Array) -> None:
        px, near = self._view.project(stem.path + foot)
        light = self._light.sky * 0.8 + self._light.direct * 0.55
        thick, thin = self._view.scale * stem.thick, self._view.scale * stem.thin
        tone, edge = colour.lit(stem.colour, light), colour.lit(stem.colour, light * 0.55)
        if thick < 2.4:
            line, width = brush.fixed(px), 2 if thick > 1.5 else 1
            marks: list[Mark] = [(line + np.array([6, 11], np.int32), edge, width), (line, tone, width)]
        else:
            size = np.linspace(thick, max(1.0, thin), len(px))
            rim, rod = brush.ribbon(px, size + 1.4), brush.ribbon(px, size)
            bright = brush.ribbon(px - 0.14 * size.max(), size * 0.4)
            marks = [(brush.fixed(rim), edge, 0), (brush.fixed(rod), tone, 0)]
            marks.append((brush.fixed(bright), colour.lit(tone, 1.18), 0))
            if stem.ridged:
                marks += [(brush.fixed(px + np.array([part * thick, 0.0])), edge, 1) for part in (-0.25, 0.05, 0.3)]
        self._strokes.append((float(near.mean()) - 0.3, marks))

    def _put_flakes(self, flakes: Flakes, foot: Array) -> None:
        rows, scale = flakes.rows, self._view.scale
        px, near = self._view.project(rows[:, :3] + foot)
        way = self._view.towards(rows[:, 3:6])[:, :2] * [1, -1]
        flat = np.hypot(*way.T)[:, None]
        unit = way / np.maximum(flat, 1e-6)
        along = unit * np.maximum(flat, 0.35) * rows[:, 6:7] * scale / 2
        across = np.stack([-unit[:, 1], unit[:, 0]], axis=1) * np.maximum(rows[:, 7:8] * scale, 0.9) / 2
        shape = np.stack([px + a * along + b * across for a, b in (_POINTED if flakes.pointed else _ROUND)], axis=1)
        light = self._light.sky * 0.85 + self._light.direct * (0.45 + 0.3 * rows[:, 5])
        values = np.clip(rows[:, 8:11] * light[:, None], 0, 255)
        tones, darks = values.tolist(), (values * 0.55).tolist()
        fixed, rim, size = brush.fixed(shape), brush.fixed(shape + np.array([0.35, 0.6])), rows[:, 6] * scale
        inner = brush.fixed(px[:, None] + 0.55 * (shape - px[:, None]) - 0.07 * size[:, None, None])
        for i, depth in enumerate(near.tolist()):
            marks: list[Mark] = [(rim[i], darks[i], 0)] if size[i] > 2.5 else []
            marks.append((fixed[i], tones[i], 0))
            if size[i] > 11:  # large enough to show its roundness
                marks.append((inner[i], colour.lit(tones[i], 1.14), 0))
            self._strokes.append((depth, marks))

    def _put_bristles(self, bristles: Bristles, foot: Array) -> None:
        ends, near = self._view.project(bristles.rows[:, :6].reshape(-1, 2, 3) + foot)
        light = self._light.sky * 0.8 + self._light.direct * 0.6
        tones = np.clip(bristles.rows[:, 6:9] * light, 0, 255).tolist()
        for points, depth, tone in zip(brush.fixed(ends), near.mean(axis=1).tolist(), tones, strict=True):
            self._strokes.append((depth, [(points, tone, 1)]))

    def _put_blossom(self, blossom: Blossom, foot: Array) -> None:
        centre, near = self._view.project(np.array(blossom.centre) + foot)
        size, form = blossom.radius * self._view.scale, blossom.form
        sun = max(0.0, float(np.dot(blossom.facing, self._light.sun)))
        gain = self._light.sky * 0.9 + self._light.direct * (0.35 + 0.55 * sun)
        if size < 1.6:
            marks: list[Mark] = [(brush.fixed(disc_of(centre, max(0.7, size))), colour.lit(form.colour, gain), 0)]
        else:
            facing = self._view.towards(np.array(blossom.facing))
            form = seen_from(form, facing)
            matrix = attitude(form, blossom.variant, facing) * size
            marks = []
            for part in flower_parts(form, blossom.variant):
                points, tone = part.points @ matrix.T + centre, colour.lit(part.colour, gain)
                if part.width:
                    marks.append((brush.fixed(points), tone, max(1, round(part.width * size))))
                    continue
                marks.append((brush.fixed(points), colour.lit(tone, 0.76), 0))
                middle = points.mean(axis=0)
                rim = min(0.25, 1.1 / max(1.0, float(np.abs(points - middle).max())))
                marks.append((brush.fixed(middle + (points - middle) * (1 - rim) - 0.2), tone, 0))
        self._strokes.append((float(near) + blossom.radius, marks))
