"""Bend a painted surface along a curve into a picture; blend painted flowers into it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from training.drawn.brush import Picture
from training.drawn.colour import Rgb
from training.drawn.sprite import REACH, Sprite
from training.drawn.surface import PAD, TINT_ONE, Surface

Array = NDArray[np.float64]


FLAT = 60.0  # px: the relief of shorter blades is not seen


@dataclass(frozen=True)
class Bend:
    """How one blade lies in the picture: its midrib is p0 + b u + c u u (px), u from 0 to 1.

    ``across``: px for one blade length across on the left side, as a vector; ``right`` is the
    same length on the other side as a share of the left. ``light``: brightness at base and
    tip, left and right, (4,). ``along_light`` and ``across_light`` weigh the relief.
    """

    p0: Array
    b: Array
    c: Array
    across: Array
    right: float
    light: tuple[float, float, float, float]
    along_light: float
    across_light: float
    gloss: float
    shine: tuple[float, float]


def paint_blade(picture: Picture, surface: Surface, bend: Bend, colour: Rgb, shadow: float, throw: Array) -> bool:
    """Paint one blade and its shadow. False when it is seen edge-on and cannot be bent so.

    ``shadow`` 0..1 is how much it darkens what is below; ``throw`` px, where its shadow falls.
    """
    length = float(np.hypot(*(bend.b + bend.c)))
    wide = float(np.hypot(*bend.across))
    turned = abs(float(bend.across[0] * (bend.b + bend.c)[1] - bend.across[1] * (bend.b + bend.c)[0]))
    if turned < 0.22 * wide * max(length, 1.0) or wide < 1.0:
        return False
    box = _box(bend, surface.half, picture.shape, throw)
    if box is None:
        return True
    left, top, right, bottom = box
    u, v = _inverse_over(bend, box, wide)
    level = surface.level_for(length)
    tints, reliefs = surface.levels[level], surface.reliefs[level]
    zoom = np.float32((tints.shape[1] - 1) / (surface.levels[0].shape[1] - 1))
    middle = np.float32((tints.shape[0] - 1) / 2)
    map_x = u * np.float32(surface.long * zoom) + np.float32(PAD * zoom)
    map_y = middle - v * np.float32(surface.long * zoom)
    sampled = _sampled(tints, map_x, map_y)
    covered = sampled[..., 3].astype(np.float32) * np.float32(1 / 255)
    light = _light(bend, u, v, _sampled(reliefs, map_x, map_y) if length > FLAT else None)
    below = picture[top:bottom, left:right]
    ground = below.astype(np.float32)
    if shadow > 0.02:
        ground *= (1 - shadow * _moved(covered, throw))[..., None]
    painted = sampled[..., :3] * (np.array(colour, np.float32) / np.float32(TINT_ONE))
    painted *= light[..., None]
    if bend.gloss > 0.02:
        shine = np.clip(bend.shine[0] + (bend.shine[1] - bend.shine[0]) * u, 0, 1) ** 6
        painted += (shine * light * np.float32(120 * bend.gloss))[..., None]
    np.minimum(painted, 255, out=painted)
    painted -= ground
    painted *= covered[..., None]
    ground += painted
    picture[top:bottom, left:right] = ground.astype(np.uint8)
    return True


def _sampled(array: Any, x: Any, y: Any) -> Any:
    """The array at given places (px), by straight lines between samples; outside is 0."""
    return cv2.remap(array, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT)


def _box(bend: Bend, half: float, shape: tuple[int, ...], throw: Array) -> tuple[int, int, int, int] | None:
    u = np.array([-0.03, 0.25, 0.5, 0.75, 1.03])[:, None]
    rib = bend.p0 + bend.b * u + bend.c * u * u
    side = np.abs(bend.across) * half * max(1.0, bend.right) + np.abs(throw) + 2
    low, high = rib.min(axis=0) - side, rib.max(axis=0) + side
    left, top = max(0, math.floor(low[0])), max(0, math.floor(low[1]))
    right, bottom = min(shape[1], math.ceil(high[0]) + 1), min(shape[0], math.ceil(high[1]) + 1)
    return (left, top, right, bottom) if right - left > 1 and bottom - top > 1 else None


def _inverse(bend: Bend, x: Any, y: Any, wide: float) -> tuple[Any, Any]:
    """u and v of every pixel. Across the side vector the midrib is a parabola in u alone."""
    s = bend.across / wide
    nx, ny = np.float32(-s[1]), np.float32(s[0])
    beta, gamma = float(-s[1] * bend.b[0] + s[0] * bend.b[1]), float(-s[1] * bend.c[0] + s[0] * bend.c[1])
    if beta < 0:
        nx, ny, beta, gamma = -nx, -ny, -beta, -gamma
    q = nx * x + ny * y
    if abs(gamma) < 1e-3 * beta:
        u = q / np.float32(beta)
    else:
        # The root that starts at the base; beyond the turning point there is no blade.
        inner = np.float32(beta * beta) + np.float32(4 * gamma) * q
        u = 2 * q / (np.float32(beta) + np.sqrt(np.maximum(inner, 0)) + np.float32(1e-6))
        u = np.where(inner < 0, np.float32(9), u)
    t = (x - bend.b[0] * u - bend.c[0] * u * u) * np.float32(s[0]) + (
        y - bend.b[1] * u - bend.c[1] * u * u
    ) * np.float32(s[1])
    return u, np.where(t > 0, t / np.float32(wide), t / np.float32(wide * bend.right)).astype(np.float32)


def _inverse_over(bend: Bend, box: tuple[int, int, int, int], wide: float) -> tuple[Any, Any]:
    """``_inverse`` over a box of px; of a large box every third px, the rest in between."""
    left, top, right, bottom = box
    width, height = right - left, bottom - top
    if width * height < 9000 or min(width, height) < 12:
        x, y = np.arange(left, right, dtype=np.float32), np.arange(top, bottom, dtype=np.float32)
    else:
        # Where the middles of thirds fall, so that resizing puts every px back in its place.
        columns, rows = width // 3, height // 3
        x = left - 0.5 + (np.arange(columns, dtype=np.float32) + 0.5) * np.float32(width / columns)
        y = top - 0.5 + (np.arange(rows, dtype=np.float32) + 0.5) * np.float32(height / rows)
    u, v = _inverse(bend, x[None] - np.float32(bend.p0[0]), y[:, None] - np.float32(bend.p0[1]), wide)
    if len(x) == width:
        return u, v
    return cv2.resize(u.astype(np.float32), (width, height)), cv2.resize(v, (width, height))


def _light(bend: Bend, u: Any, v: Any, relief: Any | None) -> Any:
    one, two, three, four = (np.float32(part) for part in bend.light)
    left, right = one + (two - one) * u, three + (four - three) * u
    # The two halves meet in a soft fold along the midrib.
    part = np.clip(v * np.float32(14) + np.float32(0.5), 0, 1)
    light = right + (left - right) * part
    if relief is None:
        return np.clip(light, 0.08, 1.9)
    bump = relief[..., 0] * np.float32(bend.along_light) + relief[..., 1] * np.float32(bend.across_light)
    return np.clip(light * (1 + np.clip(bump, -0.4, 0.4)), 0.08, 1.9).astype(np.float32)


def _moved(covered: Any, throw: Array) -> Any:
    """Coverage, blurred and moved: the shadow of a blade on what lies below."""
    width = 3 if max(covered.shape) < 60 else 7
    soft = cv2.blur(covered, (width, width))
    dx, dy = round(float(throw[0])), round(float(throw[1]))
    moved = np.zeros_like(soft)
    h, w = soft.shape
    if abs(dx) >= w or abs(dy) >= h:
        return moved
    moved[max(0, dy) : h + min(0, dy), max(0, dx) : w + min(0, dx)] = soft[
        max(0, -dy) : h + min(0, -dy), max(0, -dx) : w + min(0, -dx)
    ]
    return moved


def paint_sprite(picture: Picture, sprite: Sprite, matrix: Array, centre: Array, gain: Any, shadow: float) -> None:
    """Blend a painted flower. ``matrix`` (2, 2) maps its radii to px; ``gain`` (3,) is the light on it."""
    spread = np.abs(matrix).sum(axis=1) * REACH + 2
    left, top = math.floor(centre[0] - spread[0]), math.floor(centre[1] - spread[1])
    right, bottom = math.ceil(centre[0] + spread[0]) + 1, math.ceil(centre[1] + spread[1]) + 1
    left, top = max(left, 0), max(top, 0)
    right, bottom = min(right, picture.shape[1]), min(bottom, picture.shape[0])
    if right - left < 2 or bottom - top < 2:
        return
    level = sprite.level_for(2 * float(spread.max()))
    side = level.shape[0]
    inner = matrix / (side / 2 / REACH)
    offset = centre - np.array([left, top]) - inner @ np.array([(side - 1) / 2, (side - 1) / 2])
    warped = cv2.warpAffine(level, np.column_stack([inner, offset]), (right - left, bottom - top)).astype(np.float32)
    covered = warped[..., 3:] * np.float32(1 / 255)
    below = picture[top:bottom, left:right].astype(np.float32)
    if shadow > 0:
        step = np.array([1.0, 1.5]) * max(1.0, 0.05 * float(spread.max()))
        below *= 1 - shadow * _moved(np.ascontiguousarray(covered[..., 0]), step)[..., None]
    below += np.minimum(warped[..., :3] * np.asarray(gain, np.float32), 255) - below * covered
    picture[top:bottom, left:right] = np.clip(below, 0, 255).astype(np.uint8)
