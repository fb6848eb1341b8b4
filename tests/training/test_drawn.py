"""Plants drawn from their characters: the same for a seed, and changed by exactly what is changed."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from model.errors import FloraError
from model.flora.species import Frequency, Score, Species
from model.identify import Key
from training.drawn import PLAIN_LAWN, draw, plan_scene
from training.drawn.drawing import Drawing, drawing_of
from training.drawn.ground import GROUNDS, bare_ground
from training.drawn.grow import STAGES, grow
from training.drawn.kinds import flower_parts
from training.drawn.leaf import LeafForm, form_of, leaf_shape
from training.drawn.organ import Plant
from training.drawn.samples import GARDEN_FLOWER, SAMPLES, write_samples
from training.drawn.traits import show

ROOT = Path(__file__).resolve().parents[2]


def with_states(species: Species, character: str, states: dict[str, Frequency]) -> Species:
    """The same species with one character corrected, in memory."""
    score = Score(states=states, source=["MEM"], standing="from memory")
    return species.model_copy(update={"characters": {**species.characters, character: score}})


def pixels(species: Species | None, seed: int, **given: object) -> np.ndarray:
    return np.asarray(draw(species, seed, side=160, **given), dtype=float)  # type: ignore[arg-type]


def foliage(plant: Plant) -> list[tuple[LeafForm, np.ndarray]]:
    return [(batch.form, batch.rows) for batch in plant.leaves]


def test_same_seed_draws_the_same_picture_and_another_seed_another(key: Key) -> None:
    dandelion = key.flora.species["taraxacum_officinale"]
    first = pixels(dandelion, 3)
    flower_parts.cache_clear()
    assert np.array_equal(first, pixels(dandelion, 3)), "caches must not change a picture"
    assert np.abs(first - pixels(dandelion, 4)).mean() > 5


def test_every_species_grows_to_every_stage(key: Key) -> None:
    for number, species in enumerate(key.flora.species.values()):
        for stage in (STAGES[number % 4], "flowering"):
            plant = grow(show(species, 11), stage)
            parts = sum(len(batch.rows) for batch in plant.leaves) + len(plant.stems)
            assert parts > 0, f"{species.id} has nothing to show as {stage}"
            assert all(np.isfinite(batch.rows).all() for batch in plant.leaves), species.id
            assert plant.spread > 0 and plant.height > 0


def test_species_of_all_kinds_can_be_painted(key: Key) -> None:
    for number, species in enumerate(list(key.flora.species.values())[::10]):
        picture = pixels(species, number, stage=STAGES[number % 4], ground=GROUNDS[number % 3])
        assert picture.shape == (160, 160, 3)
        assert picture.std() > 5, f"{species.id} is an empty picture"


def test_flowering_plants_bear_what_leafy_ones_do_not(key: Key) -> None:
    for name in ("taraxacum_officinale", "trifolium_repens", "veronica_persica", "oxalis_corniculata"):
        species = key.flora.species[name]
        counts = {
            stage: sum(len(grow(show(species, seed), stage).blossoms) for seed in range(6))
            for stage in ("leaves", "flowering")
        }
        assert counts["leaves"] == 0 < counts["flowering"], name


def test_corrected_flower_colour_changes_the_flowers_and_nothing_else(key: Key) -> None:
    dandelion = key.flora.species["taraxacum_officinale"]
    blue = with_states(dandelion, "flower_colour", {"blue": "always"})
    before, after = grow(show(dandelion, 5), "flowering"), grow(show(blue, 5), "flowering")
    for (form, rows), (other_form, other_rows) in zip(foliage(before), foliage(after), strict=True):
        assert form == other_form and np.array_equal(rows, other_rows)
    assert [b.centre for b in before.blossoms] == [b.centre for b in after.blossoms]
    heads = [(b, a) for b, a in zip(before.blossoms, after.blossoms, strict=True) if b.form.kind == "straps"]
    assert heads
    for one, other in heads:
        assert one.form.colour[0] > 200 > other.form.colour[0] and other.form.colour[2] > one.form.colour[2]
    was, now = pixels(dandelion, 5, stage="flowering"), pixels(blue, 5, stage="flowering")
    changed = np.abs(was - now).max(axis=2) > 40
    assert 0 < changed.mean() < 0.5, "only the flowers change colour"


def test_corrected_leaf_outline_changes_the_leaves(key: Key) -> None:
    clover = key.flora.species["trifolium_repens"]
    hearts = with_states(clover, "leaf_outline", {"heart": "always"})
    ovals = with_states(clover, "leaf_outline", {"oval": "always"})
    one, other = form_of(show(hearts, 2)), form_of(show(ovals, 2))
    assert (one.outline, other.outline) == ("heart", "oval")
    tip = leaf_shape(one).outline
    middle = np.abs(tip[:, 1]) < 0.02
    assert tip[middle, 0].max() < tip[:, 0].max() - 0.05, "a heart is notched at its tip"
    assert np.abs(pixels(hearts, 2, stage="leaves") - pixels(ovals, 2, stage="leaves")).mean() > 0.3


def test_corrected_leaf_build_and_habit_change_the_plant(key: Key) -> None:
    dandelion = key.flora.species["taraxacum_officinale"]
    cut = with_states(dandelion, "leaf_build", {"finely_cut": "always"})
    assert form_of(show(cut, 1)).outline == "divided"
    assert leaf_shape(form_of(show(cut, 1))).strokes
    upright = with_states(dandelion, "growth_habit", {"erect": "always"})
    leafy = with_states(upright, "leaf_arrangement", {"alternate": "always"})
    tall, flat = (
        sum(grow(show(plant, seed, "leaves"), "leaves").height for seed in range(1, 9)) for plant in (leafy, dandelion)
    )
    assert tall > 1.3 * flat


@pytest.mark.parametrize("character", ["milky_sap", "crushed_smell", "underground", "ligule", "styles"])
def test_traits_that_cannot_be_seen_change_nothing(key: Key, character: str) -> None:
    species = key.flora.species["taraxacum_officinale"]
    without = species.model_copy(
        update={"characters": {name: score for name, score in species.characters.items() if name != character}}
    )
    assert np.array_equal(pixels(species, 8), pixels(without, 8))


def test_the_usual_plant_is_drawn_and_a_young_one_as_its_file_says(key: Key) -> None:
    ribwort, thistle = key.flora.species["plantago_lanceolata"], key.flora.species["cirsium_vulgare"]
    assert {show(ribwort, seed).state("flower_colour", "") for seed in range(9)} == {"brown"}, (
        "white and green are rarer"
    )
    low, high = ribwort.characters["flower_width"].range  # type: ignore[union-attr]
    assert low < show(ribwort, 1).number("flower_width") < high
    habits = [show(thistle, 1, stage).state("growth_habit", "") for stage in ("leaves", "flowering")]
    assert habits == ["rosette", "erect"]


def test_lobes_follow_the_leaf_edge() -> None:
    def filled(edge: str) -> float:
        """Area of the blade over that of its bounding box."""
        points = leaf_shape(LeafForm("lance", edge, 0.3, lobe_depth=0.85 if edge == "deep_lobed" else 0.4)).outline
        x, y = points.T
        area = abs(float(np.dot(x, np.roll(y, 1)) - np.dot(y, np.roll(x, 1)))) / 2
        return area / ((x.max() - x.min()) * (y.max() - y.min()))

    assert filled("smooth") > filled("lobed") > filled("deep_lobed")


def test_petals_are_as_many_as_the_flower_build_says(key: Key) -> None:
    from training.drawn.bloom import bloom_of

    for name, count in (("veronica_persica", 4), ("malva_nicaeensis", 5), ("romulea_rosea", 6)):
        bloom = bloom_of(show(key.flora.species[name], 1))
        assert (bloom.open.kind, bloom.open.count) == ("petals", count), name
        assert len(flower_parts(bloom.open)) > count


def test_plain_lawn_is_a_class_of_its_own() -> None:
    plan = plan_scene(None, 1)
    assert (plan.species, plan.ground) == (PLAIN_LAWN, "turf")
    lawn = pixels(None, 1)
    assert lawn[..., 1].mean() > lawn[..., 2].mean() + 10, "grass is greener than it is blue"


def test_what_is_given_is_kept_in_the_plan(key: Key) -> None:
    species = key.flora.species["poa_annua"]
    plan = plan_scene(species, 9, "seeding", "gravel")
    assert (plan.stage, plan.ground) == ("seeding", "gravel")
    assert "poa_annua" in str(plan) and "gravel" in str(plan)
    with pytest.raises(dataclasses.FrozenInstanceError):
        plan.seed = 2  # type: ignore[misc]


def test_grounds_differ() -> None:
    soil, gravel = (bare_ground(kind, 120, 2.0, np.random.default_rng(1)).mean(axis=(0, 1)) for kind in GROUNDS[1:])
    assert soil[0] > soil[2] + 15, "soil is brown"
    assert abs(gravel[0] - gravel[2]) < 20, "gravel is grey"


def test_drawing_files_are_checked_and_belong_to_species(key: Key, tmp_path: Path) -> None:
    for file in sorted((ROOT / "configs" / "drawing").glob("*.yaml")):
        assert file.stem in key.flora.species, f"{file.name} belongs to no species"
        drawing = drawing_of(file.stem)
        assert isinstance(drawing, Drawing) and set(drawing.source) <= set(key.flora.sources)
        colours = key.flora.characters["flower_colour"].states
        assert set(drawing.petal_colours) <= set(colours), file.name
    (tmp_path / "drawing").mkdir()
    (tmp_path / "drawing" / "poa_annua.yaml").write_text(
        "source: [MEM]\nstanding: from memory\nleaf_color: '#112233'\n"
    )
    with pytest.raises(FloraError, match="leaf_color: no such field"):
        drawing_of("poa_annua", tmp_path)


def test_samples_show_twelve_species_a_plain_lawn_and_a_garden_flower(key: Key, tmp_path: Path) -> None:
    names = [sample.species for sample in SAMPLES]
    weeds = {name for name in names if name in key.flora.species}
    assert (len(weeds), names.count(PLAIN_LAWN), names.count(GARDEN_FLOWER)) == (12, 1, 1)
    assert len({sample.file for sample in SAMPLES}) == len(SAMPLES)
    rows = write_samples(tmp_path, SAMPLES[-1:])
    assert [len(row.split("|")) for row in rows] == [7]
    assert all((tmp_path / sample.file).stat().st_size < 120_000 for sample in SAMPLES[-1:])


def test_the_sample_images_are_those_that_are_drawn_and_are_redrawn_from_their_seeds(tmp_path: Path) -> None:
    folder = Path(__file__).resolve().parents[2] / "sample_images"
    assert {sample.file for sample in SAMPLES} == {file.name for file in folder.glob("*.jpg")}
    write_samples(tmp_path, SAMPLES[:1])
    kept, again = (np.asarray(Image.open(place / SAMPLES[0].file), dtype=int) for place in (folder, tmp_path))
    assert np.abs(kept - again).mean() < 2.0
