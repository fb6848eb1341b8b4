"""The views of one photo that are looked at: the whole, and closer parts of it, at two sizes."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from PIL import Image

SIDE = 288  # px, side of the smaller views
LARGE_SIDE = 416  # px, side of the same parts seen larger, and mirrored
NEAR = 0.7  # side of the closer views, as a share of the photo's short side


def views(pixels: NDArray[np.uint8]) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Cut twelve square views from one upright photo.

    ``pixels`` uint8 (height, width, 3), as open_photo gives. Returns float32 (6, 3, SIDE, SIDE)
    and (6, 3, LARGE_SIDE, LARGE_SIDE), scaled to -1..1, which is what the backbone was trained
    with. Two parts span the short side, at one third and two thirds along the long side; four
    closer ones are the corners of the middle square, so that a small plant is seen larger.
    The large views are mirrored: a plant has no left and right, and a second look costs no more.

    >>> [stack.shape for stack in views(np.zeros((412, 600, 3), np.uint8))]
    [(6, 3, 288, 288), (6, 3, 416, 416)]
    """
    image = Image.fromarray(pixels)
    boxes = square_boxes(*image.size)
    return _cut(image, boxes, SIDE), _cut(image, boxes, LARGE_SIDE, mirrored=True)


def whole_views(pixels: NDArray[np.uint8], side: int) -> NDArray[np.float32]:
    """The two views of a photo that span its short side, float32 (2, 3, side, side) in -1..1."""
    image = Image.fromarray(pixels)
    return _cut(image, square_boxes(*image.size)[:2], side)


def _cut(
    image: Image.Image, boxes: list[tuple[float, float, float, float]], side: int, mirrored: bool = False
) -> NDArray[np.float32]:
    stack = np.empty((len(boxes), 3, side, side), np.float32)
    for place, box in zip(stack, boxes, strict=True):
        view = np.asarray(image.resize((side, side), Image.Resampling.BILINEAR, box=box, reducing_gap=None))
        np.divide(view[:, ::-1] if mirrored else view, np.float32(127.5), out=place.transpose(1, 2, 0))
    stack -= 1.0
    return stack


def square_boxes(width: int, height: int) -> list[tuple[float, float, float, float]]:
    """Left, top, right and bottom of each part, in px of a photo of this size."""
    short, spare = min(width, height), abs(width - height)
    boxes = []
    for share in (1 / 3, 2 / 3):
        left, top = (spare * share, 0.0) if width >= height else (0.0, spare * share)
        boxes.append((left, top, left + short, top + short))
    left, top = (width - short) / 2, (height - short) / 2
    near = short * NEAR
    for across in (0.0, short - near):
        for down in (0.0, short - near):
            boxes.append((left + across, top + down, left + across + near, top + down + near))
    return boxes
