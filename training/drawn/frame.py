"""How blades stand in space and in the picture, worked out for a whole batch at once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from training.drawn import colour
from training.drawn.colour import Rgb
from training.drawn.leaf import LeafForm, leaf_shape
from training.drawn.organ import Blossom, Leaves
from training.drawn.view import View

Array = NDArray[np.float64]
FLOOR = 0.6  # mm: blades lie on the ground, not in it


@dataclass(frozen=True)
class Light:
    """``sun``: unit vector towards it. ``direct`` and ``sky``: their shares of the light, about 1 in sum."""

    sun: tuple[float, float, float]
    direct: float
    sky: float


@dataclass(frozen=True)
class Frames:
    """A batch of blades in the picture; the first axis of every array is the blade.

    ``rib`` (n, 3, 2): p0, b, c of the midrib parabola in px. ``across`` (n, 2), ``right`` (n,)
    as in ``patch.Bend``. ``light`` (n, 4). ``near`` (n,) mm towards the camera. ``length`` px.
    ``under`` (n,): whether the underside shows. ``sun_along``, ``sun_across``, ``shine`` for relief and gloss.
    """

    rib: Array
    across: Array
    right: Array
    light: Array
    near: Array
    length: Array
    under: NDArray[np.bool_]
    sun_along: Array
    sun_across: Array
    shine: Array
    first: Array  # unit direction at the base (n, 3)
    bend: Array  # unit direction that it droops to (n, 3)
    left_side: Array
    right_side: Array


def place_blades(leaves: Leaves, foot: Array, view: View, light: Light, crowd: float) -> Frames:
    """Stand the blades of a batch at ``foot`` (mm) and look at them.

    ``crowd`` (mm) is the height below which neighbours take the light.
    """
    rows = leaves.rows
    turn, rise, length, droop, roll, fold, width = (rows[:, i] for i in range(3, 10))
    ct, st, cr, sr, zero = np.cos(turn), np.sin(turn), np.cos(rise), np.sin(rise), np.zeros(len(rows))
    first = np.stack([cr * ct, cr * st, sr], axis=1)
    bend = np.stack([sr * ct, sr * st, -cr], axis=1)
    u = np.array([0.0, 0.5, 1.0])[None, :, None]
    points = rows[:, None, :3] + foot
    points = points + length[:, None, None] * (u * first[:, None] + 0.5 * u * u * droop[:, None, None] * bend[:, None])
    points[..., 2] = np.maximum(points[..., 2], FLOOR)
    px, near = view.project(points)
    c = 2 * (px[:, 0] + px[:, 2] - 2 * px[:, 1])
    rib = np.stack([px[:, 0], px[:, 2] - px[:, 0] - c, c], axis=1)
    level = np.stack([-st, ct, zero], axis=1)
    middle = first + 0.5 * droop[:, None] * bend
    middle /= np.linalg.norm(middle, axis=1)[:, None]
    normal0 = np.cross(middle, level)
    side = level * np.cos(roll)[:, None] + normal0 * np.sin(roll)[:, None]
    normal = np.cross(middle, side)
    cf, sf = np.cos(fold)[:, None], np.sin(fold)[:, None]
    left, right = side * cf + normal * sf, -side * cf + normal * sf
    far = view.distance * view.across
    size = view.scale * far / np.maximum(far - near[:, 1], far * 0.12) * length * width
    left_px = view.towards(left)[:, :2] * [1, -1] * size[:, None]
    right_px = view.towards(right)[:, :2] * [1, -1] * size[:, None]
    whole = left_px - right_px
    unit = whole / np.maximum(np.hypot(whole[:, 0], whole[:, 1]), 1e-6)[:, None]
    on_left = np.maximum((left_px * unit).sum(axis=1), 0.05 * size)
    on_right = np.maximum(-(right_px * unit).sum(axis=1), 0.05 * size)
    under = view.towards(normal)[:, 2] < 0
    tip = first + droop[:, None] * bend
    lights, shine = _light((first, tip / np.linalg.norm(tip, axis=1)[:, None]), side, fold, under, light, view)
    shaded = 1 - 0.42 * np.exp(-np.maximum(points[:, 1, 2], 0) / max(crowd, 1.0))
    sun = np.array(light.sun)
    power = light.direct * 0.06 * np.where(under, -0.4, 1.0)
    return Frames(
        rib,
        unit * on_left[:, None],
        on_right / on_left,
        lights * (shaded * rows[:, 10])[:, None],
        near[:, 1] + 0.02 * near[:, 2],
        np.hypot(*(px[:, 2] - px[:, 0]).T),
        under,
        -(middle @ sun) * power,
        (side @ sun) * power,
        shine,
        first,
        bend,
        left,
        right,
    )


def _light(
    ways: Sequence[Array], side: Array, fold: Array, under: NDArray[np.bool_], light: Light, view: View
) -> tuple[Array, Array]:
    """Brightness at base and tip of both halves, and how near the mirror direction each end is.

    ``ways``: unit directions of the blades at base and tip.
    """
    sun, values, shine = np.array(light.sun), [], []
    cf, sf = np.cos(fold)[:, None], np.sin(fold)[:, None]
    eye = np.array([0.0, -np.sin(view.tilt), np.cos(view.tilt)])
    half_way = (sun + eye) / max(1e-6, float(np.linalg.norm(sun + eye)))
    for sign in (-1.0, 1.0):
        for way in ways:
            normal = np.cross(way, side)
            normal = normal * cf + sign * side * sf
            normal = np.where(under[:, None], -normal, normal)
            direct = normal @ sun
            through = 0.42 * np.maximum(-direct, 0)
            values.append(light.direct * (np.maximum(direct, 0) + through) + light.sky * (0.72 + 0.28 * normal[:, 2]))
            shine.append(np.abs(normal @ half_way))
    return np.stack(values, axis=1), np.stack([shine[0], shine[1]], axis=1)


@lru_cache(maxsize=4096)
def coarse_outline(form: LeafForm, variant: int, length: float) -> Array:
    """A few points of the outline, enough for a blade ``length`` px long in the picture."""
    shape = leaf_shape(form, variant)
    points = shape.outline
    if shape.strokes:
        return _frond(form, variant)
    keep = (46 if form.edge in ("lobed", "deep_lobed", "prickly") else 22) if length > 14 else 14
    if len(points) > keep:
        points = points[np.unique(np.linspace(0, len(points) - 1, keep).astype(int))]
    return points


def _frond(form: LeafForm, variant: int) -> Array:
    """A jagged outline that stands for a finely cut blade seen from afar."""
    x = np.linspace(0.02 + form.stalk, 1, 26)
    jag = np.where(np.arange(26) % 2 == 0, 0.25, 1.0)
    y = form.ratio / 2 * np.sin(np.pi * (0.2 + 0.72 * (x - form.stalk) / (1 - form.stalk))) * jag
    stalk = np.array([[0.0, 0.012]])
    half = np.concatenate([stalk, np.stack([x, np.maximum(y, 0.012)], axis=1)])
    return np.concatenate([half, (half * [1, -1])[::-1]])


def outlines(leaves: Leaves, frames: Frames, outline: Array, chosen: NDArray[np.intp], foot: Array) -> Array:
    """Points in space (mm), (chosen, points, 3), of the chosen blades of a batch."""
    rows = leaves.rows[chosen]
    u, v = outline[None, :, 0, None], outline[None, :, 1, None]
    length, droop, width = (rows[:, i][:, None, None] for i in (5, 6, 9))
    points = rows[:, None, :3] + foot
    points = points + length * (u * frames.first[chosen][:, None] + 0.5 * u * u * droop * frames.bend[chosen][:, None])
    side = np.where(v > 0, frames.left_side[chosen][:, None], -frames.right_side[chosen][:, None])
    points = points + length * width * v * side
    points[..., 2] = np.maximum(points[..., 2], FLOOR * 0.6)
    return np.asarray(points)


def attitude(blossom: Blossom, facing: Array) -> Array:
    """The 2 x 2 matrix from the flower's frame to picture axes, for a unit radius."""
    flat = float(np.hypot(facing[0], facing[1]))
    along = np.array([facing[0], -facing[1]]) / flat if flat > 1e-3 else np.array([0.0, -1.0])
    if blossom.form.view == "side":
        # The flower opens along its facing; seen from the side its axis lies in the picture.
        up = along * max(0.45, flat)
        return np.column_stack([np.array([-along[1], along[0]]), -up])
    squash = max(0.3, abs(float(facing[2])))
    turn = blossom.variant * 2.4
    spin = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    axes = np.column_stack([np.array([-along[1], along[0]]), along])
    return np.asarray(axes @ np.diag([1.0, squash]) @ axes.T @ spin)


def aged(base: Rgb, age: Array, under: NDArray[np.bool_]) -> Array:
    """Colours (n, 3) of leaves by age: 0 fresh, 0.5 yellow, 1 dead; undersides are paler."""
    first = np.clip(age * 2, 0, 1)[:, None]
    second = np.clip(age * 2 - 1, 0, 1)[:, None]
    tone = np.array(base) * (1 - first) + np.array(colour.YELLOWED) * first
    tone = tone * (1 - second) + np.array(colour.DEAD) * second
    return np.where(under[:, None], tone * 0.7 + np.array([168, 184, 150]) * 0.3, tone)
