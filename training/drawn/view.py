"""Where things of the garden come to lie in the picture: a pinhole camera over the ground."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True)
class View:
    """A camera. ``across``: mm that fit across the picture at the target. ``tilt``: 0 looks
    straight down, pi/2 level. ``roll``: turn of the camera (rad). ``target``: the point (mm)
    in the middle of the picture. ``side``: px. ``distance``: camera to target in units of
    ``across``.
    """

    across: float
    tilt: float
    roll: float
    target: tuple[float, float, float]
    side: int
    distance: float = 2.2

    @property
    def scale(self) -> float:
        """Px a mm at the target."""
        return self.side / self.across

    def project(self, points: Array) -> tuple[Array, Array]:
        """Points (..., 3) in mm to px (..., 2) and nearness (...) in mm towards the camera."""
        at = points - np.array(self.target)
        c, s = math.cos(self.tilt), math.sin(self.tilt)
        x, up, near = at[..., 0], at[..., 1] * c + at[..., 2] * s, at[..., 2] * c - at[..., 1] * s
        far = self.distance * self.across
        size = self.scale * far / np.maximum(far - near, far * 0.12)
        x, up = x * size, up * size
        cr, sr = math.cos(self.roll), math.sin(self.roll)
        middle = self.side / 2
        return np.stack([middle + x * cr - up * sr, middle - x * sr - up * cr], axis=-1), near

    def towards(self, vectors: Array) -> Array:
        """Directions (..., 3) in the picture's frame: right, up, towards the camera."""
        c, s = math.cos(self.tilt), math.sin(self.tilt)
        up = vectors[..., 1] * c + vectors[..., 2] * s
        near = vectors[..., 2] * c - vectors[..., 1] * s
        cr, sr = math.cos(self.roll), math.sin(self.roll)
        x = vectors[..., 0]
        return np.stack([x * cr - up * sr, x * sr + up * cr, near], axis=-1)

    def ground(self, mm_a_px: float, size: int, origin: tuple[float, float]) -> Array:
        """The 3 x 3 matrix from px of the picture to px of a ground tile.

        The tile has ``mm_a_px`` mm in a px and ``size`` px; ``origin`` is the place (mm) under its middle.
        """
        corners = np.array([[-1.0, -1, 0], [1, -1, 0], [1, 1, 0], [-1, 1, 0]]) * self.across * 0.3
        corners[:, :2] += np.array(self.target[:2])
        picture, _ = self.project(corners)
        tile = (corners[:, :2] - np.array(origin)) / mm_a_px * np.array([1, -1]) + size / 2
        return _homography(picture, tile)


def _homography(source: Array, target: Array) -> Array:
    """The projective map that takes four points to four others."""
    rows, right = [], []
    for (x, y), (u, v) in zip(source, target, strict=True):
        rows += [[x, y, 1, 0, 0, 0, -u * x, -u * y], [0, 0, 0, x, y, 1, -v * x, -v * y]]
        right += [u, v]
    return np.append(np.linalg.solve(np.array(rows), np.array(right)), 1.0).reshape(3, 3)
