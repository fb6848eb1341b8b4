"""The few strokes that everything is painted with; the only module that touches OpenCV.

Pictures are uint8 (height, width, 3), RGB. Points are float (n, 2), x right and y down, in px.
Polygons are anti-aliased at a sixteenth of a pixel.
"""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

cv2.setNumThreads(1)  # one picture, one core: whoever draws many runs many processes

Picture = NDArray[np.uint8]
Floats = NDArray[np.float32]
Points = NDArray[np.float64]
Colour = tuple[float, ...]
_SHIFT = 4
_FINE = 1 << _SHIFT


def fixed(points: Points) -> NDArray[np.int32]:
    """Points in sixteenths of a pixel. The pixel centre lies at whole numbers."""
    return (points * _FINE).round().astype(np.int32)


def fill(picture: Any, points: Points, colour: Colour) -> None:
    """Fill one polygon."""
    cv2.fillPoly(picture, [fixed(points)], colour, cv2.LINE_AA, _SHIFT)


def fill_fixed(picture: Any, points: NDArray[np.int32], colour: Colour) -> None:
    """Fill one polygon whose points were made by ``fixed``."""
    cv2.fillPoly(picture, [points], colour, cv2.LINE_AA, _SHIFT)


def line(picture: Any, points: Points, colour: Colour, width: float) -> None:
    """Draw an open line, at least 1 px wide."""
    cv2.polylines(picture, [fixed(points)], False, colour, max(1, round(width)), cv2.LINE_AA, _SHIFT)


def ribbon(points: Points, widths: NDArray[np.float64]) -> Points:
    """The polygon of a line whose width (px) changes along it."""
    step = np.gradient(points, axis=0)
    step /= np.maximum(np.hypot(step[:, 0], step[:, 1]), 1e-6)[:, None]
    across = np.stack([-step[:, 1], step[:, 0]], axis=1) * widths[:, None] / 2
    return np.concatenate([points + across, (points - across)[::-1]])


def spot(picture: Any, centre: tuple[float, float], radius: float, colour: Colour) -> None:
    """Fill a disc."""
    place = (round(centre[0] * _FINE), round(centre[1] * _FINE))
    cv2.circle(picture, place, max(1, round(radius * _FINE)), colour, -1, cv2.LINE_AA, _SHIFT)


def soften(array: Any, sigma: float) -> Any:
    """Gaussian blur; any sigma in px. A wide one is made at half the size, where it looks the same."""
    if sigma < 0.25:
        return array
    if sigma > 3.2 and min(array.shape[:2]) >= 96:
        height, width = array.shape[:2]
        half = cv2.resize(array, (width // 2, height // 2), interpolation=cv2.INTER_AREA)
        return cv2.resize(soften(half, sigma / 2), (width, height), interpolation=cv2.INTER_LINEAR)
    return cv2.GaussianBlur(array, (0, 0), sigma)


def smear(array: Any, side: int) -> Any:
    """Box blur over side x side px."""
    return cv2.blur(array, (side, side))


def scaled(array: Any, width: int, height: int) -> Any:
    """Resize, averaging areas when it gets smaller."""
    smaller = width < array.shape[1]
    return cv2.resize(array, (width, height), interpolation=cv2.INTER_AREA if smaller else cv2.INTER_LINEAR)


def enlarged(array: Any, width: int, height: int) -> Any:
    """Resize by straight lines between the samples."""
    return cv2.resize(array, (width, height), interpolation=cv2.INTER_LINEAR)


def look_up(array: Any, x: Floats, y: Floats) -> Any:
    """Sample at given places (px), linear; outside is 0."""
    return cv2.remap(array, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT)


def placed(array: Any, matrix: NDArray[np.float64], width: int, height: int) -> Any:
    """Warp by a 2 x 3 matrix that maps the array's px to the result's; outside is 0."""
    return cv2.warpAffine(array, matrix, (width, height), flags=cv2.INTER_LINEAR)


def plane(array: Any, matrix: NDArray[np.float64], width: int, height: int) -> Any:
    """Warp by a 3 x 3 matrix that maps the result's px to the array's; edges are mirrored."""
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    return cv2.warpPerspective(array, matrix, (width, height), flags=flags, borderMode=cv2.BORDER_REFLECT)


def slopes(array: Any) -> tuple[Any, Any]:
    """Horizontal and vertical slope of a float32 field."""
    return cv2.Sobel(array, cv2.CV_32F, 1, 0, ksize=3), cv2.Sobel(array, cv2.CV_32F, 0, 1, ksize=3)


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


def jpeg(picture: Picture, quality: int) -> Picture:
    """What a JPEG of this quality leaves of a picture."""
    flipped = np.ascontiguousarray(picture[..., ::-1])
    _, data = cv2.imencode(".jpg", flipped, [cv2.IMWRITE_JPEG_QUALITY, quality])
    found = cv2.imdecode(data, cv2.IMREAD_COLOR)
    return np.ascontiguousarray(np.asarray(found)[..., ::-1])


def blended(one: Any, part: float, other: Any, rest: float, plus: float = 0.0) -> Any:
    """Weighted sum of two pictures, kept within 0..255."""
    return cv2.addWeighted(one, part, other, rest, plus)


def recoloured(picture: Picture, matrix: NDArray[np.float64]) -> Picture:
    """Every pixel times a 3 x 3 matrix, kept within 0..255."""
    return np.asarray(cv2.transform(picture, matrix))


def dimmed(picture: Picture, light: Any) -> Picture:
    """Every pixel times a factor, float32 (height, width)."""
    return np.asarray(cv2.multiply(picture, cv2.merge([light, light, light]), dtype=cv2.CV_8U))


def fixed_line(picture: Any, points: NDArray[np.int32], colour: Colour, width: int) -> None:
    """Draw an open line whose points were made by ``fixed``."""
    cv2.polylines(picture, [points], False, colour, width, cv2.LINE_AA, _SHIFT)


def through(picture: Picture, table: NDArray[np.uint8]) -> Picture:
    """Change colours by a table, uint8 (256, 3)."""
    return np.asarray(cv2.LUT(picture, table[None]))
