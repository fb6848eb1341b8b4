"""Which painted flower, bud or fruit a plant bears, from its characters."""

from __future__ import annotations

import random
from collections.abc import Callable

from training.drawn import colour
from training.drawn.colour import Rgb, from_hex, mixed
from training.drawn.curve import Array, Place
from training.drawn.flower import FlowerForm
from training.drawn.kinds import VARIANTS
from training.drawn.organ import Bloom, Growth
from training.drawn.traits import Shown

GREEN_FRUIT: Rgb = (132, 156, 78)
STRIPES: dict[str, Rgb] = {"pink": (186, 70, 104), "purple": (92, 54, 140), "green": (96, 140, 70)}
PETALS = {"five_petals": 5, "four_petals": 4, "three_petals": 3, "six_parts": 6}


def bloom_of(shown: Shown) -> Bloom:
    """The flowers and fruits of one plant."""
    radius = max(0.5, shown.number("flower_width") / 2)
    build = shown.flower_build
    if build in ("two_lipped", "pea") and not _in_head(shown):
        radius = max(radius, shown.numbers.get("petal_length", 2 * radius) / 2)
    ripe, size = _ripe(shown, radius)
    return Bloom(_open(shown), radius, ripe, size, shown.drawing.nodding)


def _in_head(shown: Shown) -> bool:
    return shown.state("cluster_shape", "head") == "head" and shown.number("flowers_per_cluster") >= 4


def _open(shown: Shown) -> FlowerForm:
    build, drawing, petal = shown.flower_build, shown.drawing, shown.flower_colour
    if build == "daisy":
        return FlowerForm(
            "daisy",
            petal,
            shown.disc_colour,
            count=drawing.rays or 20,
            ratio=drawing.petal_ratio or 0.17,
            disc=drawing.disc_size or 0.33,
            stripe=from_hex(drawing.throat_colour) if drawing.throat_colour else None,
        )
    if build == "dandelion":
        return FlowerForm("straps", petal, count=drawing.rays or 70, ratio=drawing.petal_ratio or 0.11)
    if build == "button":
        kind = "dome" if drawing.flat_heads else "button"
        kind = "thistle" if shown.state("head_bract_hairs", "none") == "spiny" else kind
        return FlowerForm(kind, petal, disc=drawing.disc_size or 0.6)
    if build == "pea":
        head = _in_head(shown)
        count = min(48, round(shown.number("flowers_per_cluster")))
        return FlowerForm("pea_head" if head else "pea", petal, count=count if head else 1)
    if build in PETALS:
        return _petals(shown, PETALS[build], petal)
    if build == "two_lipped":
        kind = "tubular" if shown.leaf_build == "finely_cut" else "lipped"
        return FlowerForm(kind, petal)
    if build == "spurge_cup":
        return FlowerForm("spurge", petal)
    return FlowerForm("tiny", mixed(petal, GREEN_FRUIT, 0.35), count=7)


def _petals(shown: Shown, count: int, petal: Rgb) -> FlowerForm:
    drawing = shown.drawing
    size = {"longer": 1.35, "level": 0.92, "absent": 0.5}[shown.state("petal_size", "longer")]
    stripe = shown.state("petal_stripe", "none")
    throat = from_hex(drawing.throat_colour) if drawing.throat_colour else mixed(petal, (206, 200, 90), 0.7)
    return FlowerForm(
        "petals",
        petal,
        throat,
        count=count,
        ratio=drawing.petal_ratio or (0.5 if count == 6 else 0.72),
        disc=size,
        notch=shown.state("petal_notch", "none"),
        stripe=STRIPES.get(stripe),
    )


def _ripe(shown: Shown, radius: float) -> tuple[FlowerForm, float]:
    """The fruit's form and radius."""
    kind, given = shown.state("seed_structure", "plain_seed"), shown.drawing.fruit_colour
    tone = from_hex(given) if given else GREEN_FRUIT
    long = shown.numbers.get("fruit_length", 2 * radius) / 2
    brown = from_hex(given) if given else (146, 112, 70)
    build = shown.flower_build
    table: dict[str, tuple[FlowerForm, float]] = {
        "parachutes": (FlowerForm("clock" if build == "dandelion" else "tuft", colour.FLOWER["white"]), radius * 1.15),
        "woolly_seeds": (FlowerForm("fluff", (214, 200, 184)), radius * 0.7),
        "heart_pod": (FlowerForm("heart_pod", tone), long),
        "coiled_burr": (FlowerForm("spiny_ball", tone, count=48), long),
        "barbed_needles": (FlowerForm("spiny_ball", (58, 48, 40), count=26), long),
        "grass_burr": (FlowerForm("spiny_ball", (172, 158, 96), count=60), long),
        "caltrop": (FlowerForm("spiny_ball", (150, 140, 84), count=10), long),
        "three_spined": (FlowerForm("spiny_ball", (150, 146, 84), count=9), long),
        "winged_spine_seed": (FlowerForm("spiny_ball", (156, 152, 92), count=34), radius),
        "black_kidney_pod": (FlowerForm("bare_disc", (48, 42, 38)), radius * 1.1),
        "pod_in_dead_flower": (FlowerForm("pea_head", (164, 126, 84), count=24), radius),
        "long_pod": (FlowerForm("capsule", tone, ratio=0.12), long),
        "capsule_upright": (FlowerForm("capsule", tone, ratio=0.34), long),
        "curved_capsule": (FlowerForm("capsule", (196, 180, 120), ratio=0.26), long),
        "lidded_capsule": (FlowerForm("ball", mixed(tone, brown, 0.4), count=1, disc=0.8), long),
        "three_lobed_capsule": (FlowerForm("ball", tone, count=3), long),
        "berry": (FlowerForm("ball", from_hex(given) if given else (36, 34, 44), count=1), long),
        "mallow_ring": (FlowerForm("cheese", tone, count=10, ratio=0.3), max(long, radius * 0.8)),
        "bristly_ring": (FlowerForm("cheese", mixed(tone, brown, 0.5), count=18, ratio=0.6), max(long, radius * 0.7)),
        "hooked_twin": (FlowerForm("twins", tone, disc=0.8), long),
        "winged_valves": (FlowerForm("winged", brown), long),
        "beaked_fruit": (FlowerForm("beak", tone), long),
        "nutlets": (FlowerForm("ball", mixed(tone, brown, 0.4), count=4), max(long, 0.6 * radius)),
    }
    plain = (FlowerForm("bare_disc", brown), radius * 0.8)
    if build not in ("daisy", "button"):
        plain = (FlowerForm("bud", mixed(tone, brown, 0.5)), 0.6 * radius)
    return table.get(kind, plain)


def bear(growth: Growth, form: FlowerForm, centre: Place, facing: Array, radius: float, dice: random.Random) -> None:
    """One flower or fruit at a place."""
    growth.blossom(form, centre, facing, radius * dice.uniform(0.88, 1.1), dice.randrange(VARIANTS))


def bear_some(growth: Growth, centre: Place, dice: random.Random, facing: Callable[[], Array]) -> None:
    """An open flower, or a fruit, as often as the plant has gone to seed."""
    bloom = growth.bloom
    assert bloom is not None
    form, radius = (bloom.ripe, bloom.ripe_radius) if dice.random() < growth.ripe else (bloom.open, bloom.radius)
    bear(growth, form, centre, facing(), radius, dice)
