"""A plain portrait on paper: the whole plant, and beside it its head and one leaf enlarged, each with a scale."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from PIL import Image, ImageDraw

from model.flora.species import Species
from training.drawn.bloom import bloom_of
from training.drawn.chance import dice
from training.drawn.cluster import flower_stem_end
from training.drawn.curve import arc
from training.drawn.foliage import foliage_of, leaf
from training.drawn.grass_head import grass_head
from training.drawn.grow import RIPE, Stage, grow
from training.drawn.kinds import views_of
from training.drawn.organ import Growth, Plant
from training.drawn.paint import Easel
from training.drawn.traits import Shown, show, tilt_of
from training.drawn.view import Light, fitting

SIDE = 900  # px
PAPER, INK = 246, (60, 60, 60)  # greys
EVEN = Light((-0.14, -0.2, 0.97), 0.45, 0.95)
SIZES = (1, 2, 5, 10, 20, 50, 100, 200, 500)  # mm of the scale
# Flowers that are known by how they stand together; of others one is shown.
CROWDED = ("spike", "tiny_green", "two_lipped", "pea", "button", "spurge_cup")
BESIDE = 0.4  # width and height of a detail, as a share of the picture


@dataclass(frozen=True)
class Portrait:
    """The plan of a portrait: one plant at a stage, and the ``seed`` that arranges its leaves."""

    species: str
    seed: int
    stage: Stage
    tilt: float

    def __str__(self) -> str:
        return f"{self.species} (seed {self.seed}): one plant, {self.stage}"


def plan_portrait(species: Species, seed: int, stage: Stage | None = None) -> Portrait:
    """The plan of a portrait: one whole plant, in flower where no stage is given."""
    chosen: Stage = stage or "flowering"
    return Portrait(species.id, seed, chosen, tilt_of(show(species, seed, chosen), chosen in RIPE))


def draw_portrait(plan: Portrait, species: Species, side: int = SIDE) -> Image.Image:
    """Paint the plan of a portrait: RGB, ``side`` px square, every part with a scale in millimetres."""
    shown = show(species, plan.seed, plan.stage)
    picture = Image.new("RGB", (side, side), (PAPER,) * 3)
    small = round(side * BESIDE)
    picture.paste(_panel(grow(shown, plan.stage), plan.tilt, side, side - small), (0, 0))
    head = one_head(shown, plan.stage)
    details = [(one_leaf(shown), 0.0)] if head is None else [(head, 1.3), (one_leaf(shown), 0.0)]
    top = 0.3 if head is None else 0.05
    for place, (plant, tilt) in enumerate(details):
        panel = _panel(plant, tilt, small, small)
        picture.paste(panel, (side - small, round(top * side) + place * round(0.47 * side)))
    return picture


def one_head(shown: Shown, stage: Stage) -> Plant | None:
    """The head or cluster at the end of one stem; None while the plant bears nothing."""
    if stage not in RIPE:
        return None
    chance = dice(shown.seed, "head")
    growth = Growth(shown, foliage_of(shown, chance), bloom_of(shown), RIPE[stage])
    bloom = growth.bloom
    assert bloom is not None
    short, stalked = 3 * bloom.radius + 3, shown.state("flower_stalk", "leafy") != "none"
    if shown.flower_build in ("grass_spikelets", "sedge_spikelets"):
        stem = arc((0, 0, 0), 0.0, 1.5, 0.5 * short + 6, 0.1, 9)
        growth.stem(stem, 0.7, 0.6)
        grass_head(growth, stem, chance)
    elif shown.flower_build in CROWDED and (stalked or shown.flower_build == "spike"):
        shape = shown.state("cluster_shape", "")
        tall = short * (6 if shape in ("row", "panicle") or (bloom.open.kind == "tiny" and shape == "whorls") else 1)
        stem = arc((0, 0, 0), 0.0, 1.5, tall, 0.1, 9)
        growth.stem(stem, max(0.35, 0.12 * bloom.radius), max(0.3, 0.1 * bloom.radius))
        flower_stem_end(growth, stem, chance)
    else:
        form, radius = (bloom.ripe, bloom.ripe_radius) if stage == "seeding" else (bloom.open, bloom.radius)
        facing = (0, -0.9, 0.4) if "top" in views_of(form.kind) else (0, 0, 1)
        growth.blossom(form, (0, 0, 0), np.array(facing), radius, 0)
    return growth.done()


def one_leaf(shown: Shown) -> Plant:
    """One full-grown leaf, laid flat."""
    chance = dice(shown.seed, "one leaf")
    growth = Growth(shown, foliage_of(shown, chance))
    leaf(growth, (0, 0, 2), math.pi / 2 if not shown.grassy else 1.0, 0.02, 1.0, chance)
    return growth.done()


def _panel(plant: Plant, tilt: float, high: int, wide: int) -> Image.Image:
    """A plant that fills a part of the picture ``wide`` x ``high`` px, with its scale at the foot."""
    view = fitting(plant.points(), tilt, wide, 0.93 * high)
    easel = Easel(np.full((high, wide, 3), PAPER, dtype=np.uint8), view, EVEN)
    easel.put(plant)
    picture = Image.fromarray(easel.finish())
    return _scaled(picture, view.scale)


def _scaled(picture: Image.Image, scale: float) -> Image.Image:
    """The picture with a scale at its foot; ``scale`` px a mm."""
    wide, high = picture.size
    length = max((size for size in SIZES if size * scale <= 0.45 * wide), default=SIZES[0])
    thick, pen = max(1, wide // 250), ImageDraw.Draw(picture)
    left, foot, tick = 0.06 * wide, high - 0.04 * wide, max(3, wide // 80)
    right = left + length * scale
    pen.line([(left, foot), (right, foot)], fill=INK, width=thick)
    for end in (left, right):
        pen.line([(end, foot - tick), (end, foot + tick)], fill=INK, width=thick)
    pen.text((left, foot - tick), f"{length} mm", fill=INK, anchor="lb", font_size=max(9, min(24, wide // 18)))
    return picture
