"""Where things of the garden come to lie in the picture: a camera far away over the ground."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from training.drawn.curve import Array


@dataclass(frozen=True)
class Light:
    """``sun``: unit vector towards it. ``direct`` and ``sky``: their shares of the light, about 1 in sum."""

    sun: tuple[float, float, float]
    direct: float
    sky: float


@dataclass(frozen=True)
class View:
    """``scale``: px a mm. ``tilt``: 0 looks straight down, pi/2 level (rad). ``corner``: right and down (px) of the
    picture's corner from where the plant's foot lies.
    """

    scale: float
    tilt: float
    corner: tuple[float, float]

    def project(self, points: Array) -> tuple[Array, Array]:
        """Points (..., 3) in mm to px (..., 2) and nearness (...) in mm towards the camera."""
        seen = self.towards(points)
        return seen[..., :2] * [self.scale, -self.scale] - self.corner, seen[..., 2]

    def on_the_ground(self, side: int) -> tuple[float, float, float, float]:
        """The piece of ground under a picture ``side`` px square: its lowest x and y, and highest x and y, in mm."""
        (left, top), flat = self.corner, self.scale * math.cos(self.tilt)
        return left / self.scale, -(top + side) / flat, (left + side) / self.scale, -top / flat

    def towards(self, vectors: Array) -> Array:
        """Directions (..., 3) in the picture's frame: right, up, towards the camera."""
        c, s = math.cos(self.tilt), math.sin(self.tilt)
        x, y, z = vectors[..., 0], vectors[..., 1], vectors[..., 2]
        return np.stack([x, y * c + z * s, z * c - y * s], axis=-1)


def fitting(points: Iterable[Array], tilt: float, wide: float, high: float, margin: float = 0.07) -> View:
    """The view of points (n, 3) in mm that fills ``wide`` x ``high`` px but for a ``margin`` on each side."""
    px = np.concatenate([View(1.0, tilt, (0.0, 0.0)).project(some)[0] for some in points])
    low, top = px.min(axis=0), px.max(axis=0)
    size, room = np.maximum(top - low, 2.0), np.array([wide, high])
    scale = float(((1 - 2 * margin) * room / size).min())
    right, down = scale * (low + top) / 2 - room / 2
    return View(scale, tilt, (float(right), float(down)))
