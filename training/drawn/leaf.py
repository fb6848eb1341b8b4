"""The shape of a leaf blade from its characters: outline, lobes, teeth and veins, as points.

All shapes lie in the blade's own frame: x from 0 at the base to 1 at the tip, y across, in
units of the blade's length. Painting is elsewhere, so that figures can use the same points.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from training.drawn.chance import noise_dice
from training.drawn.traits import Shown

Points = NDArray[np.float64]
VARIANTS = 3  # blades of one form that differ in their noise
# Width over length where the species file gives none (leaflets), from memory.
RATIO = {
    "linear": 0.12,
    "lance": 0.32,
    "spoon": 0.62,
    "oval": 0.68,
    "round_kidney": 1.05,
    "heart": 1.12,
    "fishtail": 1.55,
    "triangular": 0.85,
    "divided": 0.6,
}

TIPS = {"boat": "grass_boat", "abrupt": "grass_abrupt"}
VEINS = {"ribs": "parallel", "hidden": "none"}


@dataclass(frozen=True)
class LeafForm:
    """Everything that the shape and the surface of one blade depend on.

    ``ratio``: width over length. ``stalk``: share of the length that is a bare stalk.
    """

    outline: str
    edge: str = "smooth"
    ratio: float = 0.5
    stalk: float = 0.0
    lobes: str = "blunt"
    lobe_count: int = 5
    lobe_depth: float = 0.6
    teeth: int = 9
    veins: str = "pinnate"
    mark: str = "none"
    hairs: str = "none"
    arrow: bool = False


@dataclass(frozen=True)
class LeafShape:
    """Points of one blade: ``outline`` closed, ``midrib`` and ``veins`` open lines.

    ``strokes`` are the segments (with their width) of a blade that is cut too finely to have
    an outline of its own; then ``outline`` only surrounds them.
    """

    outline: Points
    midrib: Points
    veins: tuple[Points, ...]
    strokes: tuple[tuple[Points, float], ...] = ()
    spines: tuple[Points, ...] = ()


def form_of(shown: Shown) -> LeafForm:
    """The form of one blade, or of one leaflet, that a plant shows."""
    build = shown.state("leaf_build", "simple")
    outline = shown.state("leaf_outline", "oval")
    edge = shown.state("leaf_edge", "smooth")
    stalk = 0.0
    if build == "finely_cut":
        outline = "divided"
    if shown.grassy:
        ratio = min(0.14, shown.number("blade_width") / shown.number("leaf_length"))
        outline, edge = TIPS.get(shown.state("leaf_tip", "tapering"), "grass"), "smooth"
    elif build in ("three_leaflets", "feather"):
        ratio = RATIO.get(outline, 0.6)
    else:
        length = shown.number("leaf_length")
        stalk = min(0.6, shown.number("petiole_length") / length)
        blade = length * (1 - stalk)
        ratio = shown.number("leaf_width") / blade
        low = {"round_kidney": 0.85, "linear": 0.03, "lance": 0.1}.get(outline, 0.25)
        high = {"round_kidney": 1.35, "linear": 0.16, "lance": 0.42, "spoon": 0.75}.get(outline, 1.0)
        ratio = min(max(ratio, low), high)
    drawing = shown.drawing
    depth = {"lobed": 0.38, "deep_lobed": 0.7, "prickly": 0.5}.get(edge, 0.0)
    lobes = drawing.lobes or ("spreading" if edge == "prickly" else "blunt")
    return LeafForm(
        outline=outline,
        edge=edge,
        ratio=round(ratio, 3),
        stalk=0.0 if shown.grassy else round(stalk * 5) / 5,
        lobes=lobes,
        lobe_count=drawing.lobe_count or 5,
        lobe_depth=min(0.92, depth * 1.25) if drawing.lobe_depth is None or not depth else drawing.lobe_depth,
        teeth=drawing.teeth or (12 if build == "simple" else 7),
        veins=VEINS.get(shown.state("leaf_veins", "ribs" if shown.grassy or outline == "linear" else ""), "pinnate"),
        mark=shown.state("leaf_mark", "none"),
        hairs=shown.state("leaf_hairs", "none"),
        arrow=drawing.arrow_base,
    )


@lru_cache(maxsize=4096)
def leaf_shape(form: LeafForm, variant: int = 0) -> LeafShape:
    """The points of a blade of this form; variants differ a little, as leaves of one plant do."""
    chance = noise_dice(variant, form)
    if form.outline == "divided":
        return _divided(form, chance)
    shape = _round(form, chance) if form.outline == "round_kidney" else _along(form, chance)
    return _stalked(shape, form.stalk, form.ratio)


def _profile(outline: str, t: Points) -> Points:
    """Half width along the blade, 1 at its widest."""
    if outline.startswith("grass"):  # even sides, then a short or a long tip
        tip = {"grass_boat": 0.07, "grass_abrupt": 0.2}.get(outline, 0.5)
        return np.asarray((0.8 + 0.2 * np.minimum(1, t * 6)) * np.minimum(1.0, (1 - t) / tip) ** 0.75)
    peak, base, tip = {
        "linear": (0.35, 0.35, 0.55),
        "lance": (0.42, 0.85, 1.0),
        "spoon": (0.72, 1.35, 0.55),
        "oval": (0.44, 0.62, 0.72),
        "triangular": (0.2, 0.5, 1.35),
        "heart": (0.8, 1.1, 0.5),
    }.get(outline, (0.45, 0.7, 0.8))
    rising = np.sin(np.clip(t / peak, 0, 1) * np.pi / 2) ** base
    falling = np.cos(np.clip((t - peak) / (1 - peak), 0, 1) * np.pi / 2) ** tip
    return np.where(t < peak, rising, falling)


def _notched(form: LeafForm) -> Points:
    """Half outline of a leaflet that is notched at its tip, from base to notch."""
    deep = 0.84 if form.outline == "heart" else 0.78
    if form.outline == "heart":
        x = [0.0, 0.15, 0.35, 0.55, 0.72, 0.87, 0.96, 1.0, 0.99, 0.94, deep]
        y = [0.03, 0.12, 0.3, 0.44, 0.5, 0.49, 0.43, 0.32, 0.2, 0.09, 0.0]
    else:
        x = [0.0, 0.2, 0.5, 0.8, 0.95, 1.0, 0.97, 0.91, 0.84, deep]
        y = [0.02, 0.11, 0.27, 0.42, 0.5, 0.47, 0.38, 0.25, 0.1, 0.0]
    grid, fine = np.linspace(0, 1, len(x)), np.linspace(0, 1, 30)
    return np.stack([np.interp(fine, grid, x), np.interp(fine, grid, y) * form.ratio], axis=1)


def _cut(form: LeafForm, t: Points, chance: np.random.Generator) -> tuple[Points, Points]:
    """Factor on the half width, and shift along the blade, that lobes or teeth make."""
    factor, shift = np.ones_like(t), np.zeros_like(t)
    if form.edge == "toothed":
        phase = (t * form.teeth + chance.uniform(0, 1)) % 1.0
        return factor - 0.13 * (1 - phase) * np.clip((1 - t) / 0.08, 0, 1), shift
    if form.edge == "wavy":
        swing = np.sin(t * 2 * np.pi * chance.uniform(4, 6) + chance.uniform(0, 6))
        return factor + 0.09 * swing, shift
    if form.edge not in ("lobed", "deep_lobed", "prickly"):
        return factor, shift
    count = max(2.0, form.lobe_count * chance.uniform(0.85, 1.15))
    # Lobes grow a little larger towards the tip, where they end in the undivided part.
    phase = (count * t**0.9 + chance.uniform(0, 1)) % 1.0
    number = np.floor(count * t**0.9 + 0.5).astype(int) % 32
    each = chance.uniform(0.75, 1.12, 32)[number]
    if form.lobes == "back":
        rise = np.where(phase < 0.22, 1 - phase / 0.22, (np.maximum(phase - 0.22, 0) / 0.78) ** 1.3)
        shift = -0.07 * rise
    elif form.lobes == "forward":
        rise = np.where(phase < 0.75, (phase / 0.75) ** 0.9, 1 - (phase - 0.75) / 0.25)
        shift = 0.05 * rise
    elif form.lobes == "spreading":
        rise = np.maximum(0.0, 1 - np.abs(phase - 0.5) * 2.3) ** 0.9
    else:
        rise = 0.5 - 0.5 * np.cos(2 * np.pi * phase)
        rise = rise ** (0.7 if form.edge == "lobed" else 1.2)
    free = np.clip((0.88 - t) / 0.14, 0, 1)  # the tip is not cut
    depth = form.lobe_depth * chance.uniform(0.85, 1.08) * free
    return (1 - np.clip(depth, 0, 0.93) * (1 - rise)) * (1 + (each - 1) * free), shift * free * form.ratio * 2.2


def _along(form: LeafForm, chance: np.random.Generator) -> LeafShape:
    sides, spines = [], []
    for sign in (1.0, -1.0):
        if form.outline in ("heart", "fishtail"):
            half = _notched(form) * np.array([1.0, chance.uniform(0.93, 1.05)])
        else:
            cut = form.arrow or form.edge in ("lobed", "deep_lobed", "prickly", "toothed")
            t = np.linspace(0, 1, 90 if cut else 28)
            factor, shift = _cut(form, t, chance)
            width = _profile(form.outline, t) * factor * form.ratio / 2 * chance.uniform(0.94, 1.05)
            if form.arrow:  # two lobes at the base that point outwards
                width = np.maximum(width, 0.62 * form.ratio * np.clip(1 - np.abs(t - 0.07) / 0.09, 0, 1))
            half = np.stack([np.clip(t + shift, 0, 1), np.maximum(width, 0.004)], axis=1)
            if form.edge == "prickly":
                tops = 1 + np.nonzero((width[1:-1] > width[:-2]) & (width[1:-1] >= width[2:]))[0]
                for place in tops:
                    start = half[place]
                    spines.append(np.stack([start, start + np.array([0.012, 0.035])]) * np.array([1, sign]))
        sides.append(half * np.array([1.0, sign]))
    outline = np.concatenate([sides[0], sides[1][::-1]])
    end = 0.84 if form.outline in ("heart", "fishtail") else 0.98
    bend = chance.normal(0, 0.012)
    x = np.linspace(0, end, 8)
    midrib = np.stack([x, bend * np.sin(x * np.pi)], axis=1)
    return LeafShape(outline, midrib, _veins(form, chance, end), spines=tuple(spines))


def _veins(form: LeafForm, chance: np.random.Generator, end: float) -> tuple[Points, ...]:
    found: list[Points] = []
    if form.veins == "parallel":
        for part in (0.36, 0.7):
            x = np.linspace(0.0, 0.97, 15)
            for sign in (1, -1):
                found.append(np.stack([x, sign * part * _profile(form.outline, x) * form.ratio / 2], axis=1))
        return tuple(found)
    count = 7 if form.veins == "pinnate" else 0
    for i in range(count):
        start = 0.08 + 0.74 * end * i / count
        for sign in (1, -1):
            reach = 0.46 * form.ratio * float(_profile(form.outline, np.array([min(1.0, start + 0.15)]))[0])
            ahead = 0.16 + 0.2 * reach + chance.normal(0, 0.015)
            t = np.linspace(0, 1, 5)
            x = np.minimum(start + ahead * t**1.3, 0.985)
            found.append(np.stack([x, sign * reach * 0.92 * t], axis=1))
    return tuple(found)


def _round(form: LeafForm, chance: np.random.Generator) -> LeafShape:
    """A round or kidney-shaped blade with its stalk in a notch at the base."""
    turn = np.linspace(np.pi, -np.pi, 180)
    from_base = np.pi - np.abs(turn)  # 0 at the notch
    reach = 0.5 * (1 - 0.42 * np.exp(-((from_base / 0.33) ** 2)))
    lobes = form.lobe_count if form.edge != "toothed" else 5
    wave = np.abs(np.cos(turn * lobes / 2 * 0.86))
    if form.edge in ("lobed", "deep_lobed"):
        deep = form.lobe_depth if form.edge == "deep_lobed" else 0.2
        reach = reach * (1 - deep * (1 - wave**0.55) * np.clip(from_base / 0.5, 0, 1))
        if form.edge == "deep_lobed":
            reach = reach * (1 - 0.16 * np.abs(np.cos(turn * lobes * 1.5 * 0.86)) ** 0.7 * wave)
    if form.edge in ("toothed", "lobed", "wavy"):
        reach = reach * (1 - 0.07 * np.abs(np.cos(turn * max(5, form.teeth) * 0.8 + chance.uniform(0, 3))))
    reach = reach * (1 + 0.03 * np.sin(turn * 2 + chance.uniform(0, 6)))
    # The outline runs from the notch round and back; the lobes beside the notch reach back to 0.
    outline = np.stack([0.5 + reach * np.cos(turn), reach * np.sin(turn) * form.ratio], axis=1)
    hub = np.array([0.26, 0.0])
    rays = []
    for a in np.linspace(-2.1, 2.1, 7):
        nearest = int(np.argmin(np.abs(turn - a * 0.86)))
        edge = outline[nearest]
        t = np.linspace(0, 0.88, 5)[:, None]
        bow = np.array([0.03, 0.0]) * np.sin(t * np.pi)
        rays.append(hub + (edge - hub) * t + bow)
    return LeafShape(outline, np.stack([hub, [0.55, 0.0], [0.92, 0.0]]), tuple(rays))


def _divided(form: LeafForm, chance: np.random.Generator) -> LeafShape:
    """A blade cut again and again: a skeleton of segments with widths."""
    strokes: list[tuple[Points, float]] = []
    start = form.stalk
    thick = 0.04 if form.ratio < 0.5 else 0.031
    x = np.linspace(0, 1, 8)
    strokes.append((np.stack([x, 0.015 * np.sin(x * 3 + chance.uniform(0, 6))], axis=1), thick * 0.8))
    pairs = max(4, form.lobe_count)
    for i in range(pairs):
        t = i / (pairs - 1)
        for sign in (1.0, -1.0):
            foot = np.array([start + (1 - start) * (0.06 + 0.84 * t) + chance.normal(0, 0.012), 0.0])
            long = form.ratio * 0.56 * math.sin(math.pi * (0.22 + 0.62 * t)) ** 0.8 * chance.uniform(0.8, 1.15)
            lean = chance.uniform(0.75, 1.1)
            way = np.array([math.cos(lean), sign * math.sin(lean)])
            strokes.append((np.stack([foot, foot + way * long * 0.5, foot + way * long]), thick))
            for part in (0.3, 0.55, 0.8):
                for side in (1.0, -1.0):
                    turn = sign * lean + side * chance.uniform(0.5, 0.9)
                    fork = foot + way * long * part
                    end = fork + np.array([math.cos(turn), math.sin(turn)]) * long * chance.uniform(0.3, 0.5)
                    strokes.append((np.stack([fork, end]), thick))
    every = np.concatenate([s for s, _ in strokes])
    left, right = every[:, 1].min(), every[:, 1].max()
    box = np.array([[0, left], [1, left], [1, right], [0, right]])
    return LeafShape(box, np.stack([x, x * 0], axis=1), (), tuple(strokes))


def _stalked(shape: LeafShape, stalk: float, ratio: float) -> LeafShape:
    """The same blade behind a bare stalk that takes up its share of the length."""
    if stalk <= 0:
        return shape
    keep, half = 1 - stalk, 0.012 + 0.02 * ratio * (1 - stalk)

    def moved(points: Points) -> Points:
        return np.stack([stalk + keep * points[:, 0], keep * points[:, 1]], axis=1)

    outline = moved(shape.outline)
    # A stalk enters the notch of a round blade, which begins and ends its outline there.
    join = outline[0, 0] + 0.06 * keep
    outline = np.concatenate([[[0.0, half], [join, half]], outline, [[join, -half], [0.0, -half]]])
    rib = np.concatenate([[[0.0, 0.0]], moved(shape.midrib)])
    return LeafShape(
        outline, rib, tuple(moved(v) for v in shape.veins), shape.strokes, tuple(moved(s) for s in shape.spines)
    )
