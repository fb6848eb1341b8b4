"""The kinds of flowers, heads and fruits: which painter makes their shapes, and how they are turned into a picture."""

from __future__ import annotations

import random
from collections.abc import Callable, Mapping
from dataclasses import replace
from functools import lru_cache

import numpy as np

from training.drawn import daisy, fruit, pea
from training.drawn import flower as flowers
from training.drawn.chance import dice
from training.drawn.flower import FlowerForm, Part, Points, Sketch

VARIANTS = 3
BALLS = ("pea_head", "clock", "fluff", "spiny_ball", "ball", "tiny", "dome")  # as deep as they are wide
Painter = Callable[[Sketch, FlowerForm, random.Random], None]
_PAINTERS: Mapping[tuple[str, str], Painter] = {
    ("daisy", "top"): daisy.daisy_from_top,
    ("daisy", "side"): daisy.daisy_from_side,
    ("straps", "top"): daisy.straps_from_top,
    ("straps", "side"): daisy.straps_from_side,
    ("button", "top"): daisy.button_from_top,
    ("button", "side"): daisy.button_from_side,
    ("dome", "top"): daisy.button_from_top,
    ("thistle", "top"): daisy.thistle_from_top,
    ("thistle", "side"): daisy.thistle_from_side,
    ("pea", "side"): pea.pea_from_side,
    ("pea_head", "top"): pea.head_from_top,
    ("petals", "top"): flowers.petals_from_top,
    ("petals", "side"): flowers.petals_from_side,
    ("lipped", "side"): flowers.lipped,
    ("tubular", "side"): flowers.tubular,
    ("tiny", "top"): flowers.tiny,
    ("spurge", "top"): flowers.spurge_cup,
    ("bud", "side"): flowers.bud,
    ("clock", "top"): fruit.clock,
    ("tuft", "side"): fruit.tuft,
    ("fluff", "top"): fruit.fluff,
    ("heart_pod", "side"): fruit.heart_pod,
    ("spiny_ball", "top"): fruit.spiny_ball,
    ("capsule", "side"): fruit.capsule,
    ("ball", "top"): fruit.ball,
    ("cheese", "top"): fruit.cheese,
    ("twins", "side"): fruit.twins,
    ("bare_disc", "top"): fruit.bare_disc,
    ("winged", "side"): fruit.winged,
    ("beak", "side"): fruit.beak,
}
_VIEWS: Mapping[str, tuple[str, ...]] = {
    kind: tuple(view for other, view in _PAINTERS if other == kind) for kind, _ in _PAINTERS
}


def views_of(kind: str) -> tuple[str, ...]:
    """The views that a kind of flower can be painted from: top, side or both."""
    return _VIEWS[kind]


@lru_cache(maxsize=400)
def flower_parts(form: FlowerForm, variant: int = 0) -> tuple[Part, ...]:
    """The shapes of a flower, back to front, in its unit frame; their corners are rounded."""
    sketch = Sketch()
    _PAINTERS[form.kind, form.view](sketch, form, dice(variant, "flower", form))
    return tuple(part if part.width else replace(part, points=rounded(rounded(part.points))) for part in sketch.parts)


def rounded(points: Points) -> Points:
    """A closed outline with its corners cut (Chaikin 1974)."""
    after = np.roll(points, -1, axis=0)
    cut = np.empty((2 * len(points), 2))
    cut[0::2], cut[1::2] = 0.8 * points + 0.2 * after, 0.2 * points + 0.8 * after
    return cut


def seen_from(form: FlowerForm, facing: Points) -> FlowerForm:
    """The flower in the view that the camera has of it, from above or from the side, as far as it can be painted so.

    ``facing``: its direction in the picture's frame: right, up, towards the camera.
    """
    views, least = views_of(form.kind), 0.1 if form.kind in ("daisy", "straps", "petals") else 0.6
    return replace(form, view="side" if "top" not in views or ("side" in views and facing[2] < least) else "top")


def attitude(form: FlowerForm, variant: int, facing: Points) -> Points:
    """The 2 x 2 matrix from the flower's frame to picture axes, for a unit radius; ``facing`` as in ``seen_from``."""
    flat = float(np.hypot(facing[0], facing[1]))
    along = np.array([facing[0], -facing[1]]) / flat if flat > 1e-3 else np.array([0.0, -1.0])
    across = np.array([-along[1], along[0]])
    if form.view == "side":
        # The flower opens along its facing; seen from the side its axis lies in the picture.
        return np.column_stack([across, -along * max(0.45, flat)])
    squash, turn = 1.0 if form.kind in BALLS else max(0.3, abs(float(facing[2]))), variant * 2.4
    spin = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    axes = np.column_stack([across, along])
    return np.asarray(axes @ np.diag([1.0, squash]) @ axes.T @ spin)
