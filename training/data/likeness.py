"""Whether one picture is a part cut from another: the one is slid over the other."""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image

Floats = NDArray[np.float32]
SCALES = 9
LEAST_SIDE = 8  # px; smaller templates fit anywhere


def likeness(one: NDArray[np.uint8], other: NDArray[np.uint8], least: float) -> float:
    """How well one grey picture is found within the other, or the other within it: 0-1, higher is more alike.

    The largest normalised cross-correlation over places, and over scales from ``least`` of the
    larger picture's side to the whole of it. 1 is the same picture but for brightness and contrast.
    """
    return max(_within(one, other, least), _within(other, one, least))


def _within(whole: NDArray[np.uint8], part: NDArray[np.uint8], least: float) -> float:
    ground = whole.astype(np.float32)
    template = Image.fromarray(part)
    fit = min(ground.shape[0] / part.shape[0], ground.shape[1] / part.shape[1])
    best = 0.0
    for scale in np.linspace(least, 1.0, SCALES):
        width = min(round(part.shape[1] * fit * scale), ground.shape[1])
        height = min(round(part.shape[0] * fit * scale), ground.shape[0])
        if min(width, height) >= LEAST_SIDE:
            small = np.asarray(template.resize((width, height), Image.Resampling.BOX), dtype=np.float32)
            best = max(best, correlation(ground, small))
    return best


def correlation(ground: Floats, template: Floats) -> float:
    """Largest normalised cross-correlation of a template with the places of its size in a picture.

    Places of almost one colour, where the value means nothing, are passed over.
    """
    height, width = template.shape
    centred = template - template.mean()
    strength = float(np.sqrt((centred**2).sum()))
    if strength < 1.0:
        return 0.0
    product = cv2.matchTemplate(ground, centred, cv2.TM_CCORR)
    sums, squares = (_boxes(part, height, width) for part in cv2.integral2(ground))
    spread = squares - sums**2 / (height * width)
    uneven = spread > height * width
    if not uneven.any():
        return 0.0
    return float(min((product[uneven] / (strength * np.sqrt(spread[uneven]))).max(), 1.0))


def _boxes(integral: NDArray[Any], height: int, width: int) -> NDArray[np.float64]:
    """Sums over all boxes of a size, from an integral image."""
    return np.asarray(
        integral[height:, width:]
        - integral[:-height, width:]
        - integral[height:, :-width]
        + integral[:-height, :-width]
    )
