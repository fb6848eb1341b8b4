"""The few strokes that everything is painted with, by OpenCV.

Pictures are uint8 (height, width, 3), RGB. Points are float (n, 2), x right and y down, in px.
Polygons are anti-aliased at a sixteenth of a pixel.
"""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

Picture = NDArray[np.uint8]
Floats = NDArray[np.float32]
Points = NDArray[np.float64]
Fixed = NDArray[np.int32]  # the same in sixteenths of a px
Colour = tuple[float, ...]
Mark = tuple[Fixed, tuple[float, float, float], int]  # points, colour and width of a line; 0: a filled shape
_SHIFT = 4


def fixed(points: Points) -> Fixed:
    """Points in sixteenths of a pixel. The pixel centre lies at whole numbers."""
    return (points * (1 << _SHIFT)).round().astype(np.int32)


def fill(picture: Any, points: Points | Fixed, colour: Colour) -> None:
    """Fill one polygon."""
    cv2.fillPoly(picture, [_fixed(points)], colour, cv2.LINE_AA, _SHIFT)


def line(picture: Any, points: Points | Fixed, colour: Colour, width: float) -> None:
    """Draw an open line, at least 1 px wide."""
    cv2.polylines(picture, [_fixed(points)], False, colour, max(1, round(width)), cv2.LINE_AA, _SHIFT)


def _fixed(points: Any) -> Fixed:
    return np.asarray(points) if points.dtype == np.int32 else fixed(points)


def ribbon(points: Points, widths: NDArray[np.float64]) -> Points:
    """The polygon of a line whose width changes along it."""
    step = np.gradient(points, axis=0)
    step /= np.maximum(np.hypot(step[:, 0], step[:, 1]), 1e-6)[:, None]
    across = np.stack([-step[:, 1], step[:, 0]], axis=1) * widths[:, None] / 2
    return np.concatenate([points + across, (points - across)[::-1]])


def soften(array: Any, sigma: float) -> Any:
    """Gaussian blur; ``sigma`` in px."""
    return cv2.GaussianBlur(array, (0, 0), sigma)


def scaled(array: Any, width: int, height: int) -> Any:
    """Resize by straight lines between pixels."""
    return cv2.resize(array, (width, height), interpolation=cv2.INTER_LINEAR)


def cloud(dice: np.random.Generator, height: int, width: int, grain: float, octaves: int = 3) -> Floats:
    """Smooth noise, float32 (height, width), about -1..1; ``grain`` px is its coarsest feature."""
    total = np.zeros((height, width), np.float32)
    size, weight, norm = grain, 1.0, 0.0
    for _ in range(octaves):
        rows, columns = max(2, round(height / size) + 1), max(2, round(width / size) + 1)
        rough = dice.normal(0, 1, (rows, columns)).astype(np.float32)
        total += weight * cv2.resize(rough, (width, height), interpolation=cv2.INTER_CUBIC)
        norm += weight**2
        size, weight = max(1.0, size / 2.3), weight * 0.62
    return np.asarray(total / np.float32(1.6 * norm**0.5))
