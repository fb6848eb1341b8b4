"""Portraits show the marks by which a person knows the plant, and plants that cannot be drawn say why."""

from __future__ import annotations

import numpy as np
import pytest

from model.identify import Key
from training.drawn import draw_portrait, plan_portrait
from training.drawn.chance import dice
from training.drawn.curve import Array, arc
from training.drawn.drawing import drawing_of
from training.drawn.foliage import foliage_of
from training.drawn.grass_head import grass_head
from training.drawn.grow import grow
from training.drawn.leaf import LeafForm, form_of, leaf_shape
from training.drawn.organ import Growth, Plant
from training.drawn.portrait import one_head
from training.drawn.traits import show


def head_of(key: Key, species: str) -> tuple[Growth, Plant]:
    """The head of a grass or sedge on an upright stalk."""
    shown = show(key.flora.species[species], 3)
    growth = Growth(shown, foliage_of(shown, dice(3, "leaves")))
    grass_head(growth, arc((0, 0, 0), 0.0, 1.5, 20, 0.0), dice(3, "head"))
    return growth, growth.done()


def pieces(plant: Plant) -> Array:
    return np.concatenate([flakes.rows for flakes in plant.flakes])


@pytest.mark.parametrize("species", ["paspalum_dilatatum", "plantago_lanceolata", "cyperus_rotundus", "poa_annua"])
def test_common_lawn_weeds_have_a_portrait(key: Key, species: str) -> None:
    assert drawing_of(species).not_drawn is None
    for stage in ("leaves", "flowering"):
        plant = key.flora.species[species]
        picture = np.asarray(draw_portrait(plan_portrait(plant, 1, stage), plant, 300), dtype=int)  # type: ignore[arg-type]
        green = picture[..., 1] - picture[..., 2] > 25
        assert green[:, :180].mean() > 0.02, "the whole plant on the left"
        assert green[:, 180:].mean() > 0.005, "its leaf on the right"
        assert (picture[0] == picture[0, 0]).all() and (picture[:, -1] == picture[0, 0]).all(), "nothing is cut off"


def test_paspalum_bears_spikelets_below_its_few_spaced_racemes_with_dark_anthers(key: Key) -> None:
    _, plant = head_of(key, "paspalum_dilatatum")
    racemes = [stem for stem in plant.stems if len(stem.path) == 12]
    assert 3 <= len(racemes) <= 7
    feet = sorted(float(stem.path[0, 2]) for stem in racemes)
    assert min(np.diff(feet)) > 5, "one after the other along the stalk"
    assert all(stem.path[-1, 2] < stem.path[:, 2].max() for stem in racemes), "they droop"
    rows = pieces(plant)
    dark = rows[rows[:, 8:11].max(axis=1) < 80]
    assert len(dark) > 40 and dark[:, 6].max() < 4


def test_ribwort_has_ribbed_lance_leaves_and_a_short_dark_head_with_a_ring_of_anthers(key: Key) -> None:
    shown = show(key.flora.species["plantago_lanceolata"], 1)
    form = form_of(shown)
    ribs = leaf_shape(form).veins
    assert form.outline == "lance" and 2 <= len(ribs) <= 4, "with the midrib three to five ribs"
    assert all(np.ptp(rib[:, 0]) > 0.5 for rib in ribs), "from base to tip"
    head = one_head(shown, "flowering")
    assert head is not None
    near = pieces(head)
    pale = near[:, 8:11].min(axis=1) > 150
    assert 10 < pale.sum() < (~pale).sum() / 3, "a ring of pale anthers on a dark head"
    assert np.ptp(near[~pale, 2]) < 5 * shown.number("flower_width"), "a short head"


def test_nutgrass_spreads_narrow_spikelets_on_unequal_rays_over_bracts(key: Key) -> None:
    _, plant = head_of(key, "cyperus_rotundus")
    rows = pieces(plant)
    spikelets = rows[rows[:, 6] > 8]
    assert len(spikelets) > 30 and (spikelets[:, 6] > 5 * spikelets[:, 7]).all()
    red, green, _ = spikelets[:, 8:11].mean(axis=0)
    assert red > 1.3 * green, "reddish brown"
    rays = [float(np.linalg.norm(stem.path[-1] - stem.path[0])) for stem in plant.stems if len(stem.path) == 5]
    assert max(rays) > 2 * min(rays)


def test_winter_grass_has_boat_shaped_tips_and_a_panicle_that_narrows_upwards(key: Key) -> None:
    shown = show(key.flora.species["poa_annua"], 1)

    def width_at(form: LeafForm, place: float) -> float:
        x, y = leaf_shape(form).outline.T
        return float(np.abs(y[np.abs(x - place) < 0.04]).max() / np.abs(y).max())

    assert width_at(form_of(shown), 0.88) > 0.8 > 0.5 > width_at(LeafForm("grass", ratio=0.06), 0.88)
    _, plant = head_of(key, "poa_annua")
    branches = [stem.path for stem in plant.stems if len(stem.path) == 7]
    reach = {float(path[0, 2]): float(np.hypot(*(path[-1] - path[0])[:2])) for path in branches}
    low, high = min(reach), max(reach)
    assert reach[low] > 2 * reach[high]


def test_sorrel_has_two_lobes_at_the_base_of_its_blade_and_dock_has_none(key: Key) -> None:
    def base(species: str) -> float:
        """Width near the foot of the blade over its greatest width further up."""
        form = form_of(show(key.flora.species[species], 1, "leaves"))
        x, y = leaf_shape(form).outline.T
        blade = (x - form.stalk) / (1 - form.stalk)
        return float(np.abs(y[np.abs(blade - 0.07) < 0.05]).max() / np.abs(y[blade > 0.3]).max())

    assert base("rumex_acetosella") > 1.1 > 0.9 > base("rumex_crispus")


def test_a_round_leaf_on_a_runner_lies_level_on_its_own_stalk(key: Key) -> None:
    plant = grow(show(key.flora.species["dichondra_repens"], 2, "leaves"), "leaves")
    rows = np.concatenate([batch.rows for batch in plant.leaves if batch.form.outline == "round_kidney"])
    assert len(rows) > 30 and np.abs(rows[:, 4]).max() < 0.6 and np.median(rows[:, 2]) > 3
