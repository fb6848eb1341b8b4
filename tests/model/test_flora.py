"""The flora: complete, sourced, its look-alikes told apart, and its mistakes refused by name."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from model.errors import FloraError
from model.flora import CONFIGS, Score, load_flora
from model.flora.__main__ import separates
from model.identify import Key

# Ids that answer files may hold for ever; the list grows, nothing leaves it.
FIRST_WORDS = """
leaf_build leaf_arrangement leaf_outline leaf_edge leaf_hairs leaf_underside leaf_mark leaf_texture leaf_base_ears
leaf_tip middle_leaflet stipules milky_sap crushed_smell stem_section stem_hairs stem_colour growth_habit stem_rooting
underground flower_build flower_colour disc_colour flower_stalk stalk_hollow stalk_ridged seed_structure spines
petal_size petal_notch stamens styles ligule leaf_bud grass_head racemes spikelet_hairs leaflet_pairs life_span
plant_height stem_length leaf_length leaf_width leaflet_length blade_width petal_length flower_width
flowers_per_cluster spikelet_length flowering_month stalk_height petiole_length pedicel_length ligule_length
fruit_length petal_stripe head_bracts outer_bracts
"""
FIRST_VOCABULARY = FIRST_WORDS.split()


def test_at_least_sixty_species_with_at_least_fifteen_characters_each(key: Key) -> None:
    assert len(key.flora.ids) >= 60
    for plant in key.flora.species.values():
        scored = [
            c for c, s in plant.characters.items() if isinstance(s, Score) and key.flora.is_applicable(plant.id, c)
        ]
        assert len(scored) >= 15, plant.id


def test_no_character_of_the_first_vocabulary_has_gone(key: Key) -> None:
    assert set(FIRST_VOCABULARY) <= set(key.flora.characters)


def test_the_vocabulary_beside_the_repository_is_kept_state_by_state(key: Key) -> None:
    import yaml

    shared = Path(__file__).resolve().parents[3] / "shared" / "characters.yaml"
    if not shared.exists():
        pytest.skip("the first vocabulary is not beside this repository, so an answer that was lost goes unseen")
    for entry in yaml.safe_load(shared.read_text(encoding="utf-8")):
        ours = key.flora.characters[entry["id"]]
        assert ours.kind == entry["kind"] and ours.effort == entry["effort"]
        assert ours.unit == entry.get("unit")
        assert set(entry.get("states") or {}) <= set(ours.states)


def test_every_species_of_the_facts_and_of_the_photos_is_in_the_flora(key: Key) -> None:
    import csv

    shared = Path(__file__).resolve().parents[3] / "shared"
    if not shared.exists():
        pytest.skip("the facts are not beside this repository, so missing species would go unseen")
    wanted = set()
    for path in (shared / "facts" / "traits.csv", shared / "photos" / "manifest.csv"):
        with path.open(encoding="utf-8", newline="") as file:
            wanted |= {row["species"] for row in csv.DictReader(file)} - {""}
    assert wanted <= set(key.flora.ids)


def test_every_look_alike_is_told_apart_by_a_character_that_is_named_for_it(key: Key) -> None:
    left = []
    for plant in key.flora.species.values():
        for entry in plant.look_alikes:
            if entry.species and not any(separates(key.flora, c, plant.id, entry.species) for c in entry.separate_by):
                left.append((plant.id, entry.species))
    assert left == []


def test_the_season_of_a_plant_agrees_with_its_flowering_months(key: Key) -> None:
    for plant in key.flora.species.values():
        score = plant.characters.get("flowering_month")
        assert isinstance(score, Score) and score.months is not None
        assert set(score.months) == set(plant.season.flowers), plant.id
        assert set(plant.season.flowers) <= set(plant.season.seen), plant.id


def test_common_names_that_are_shown_are_not_shared(key: Key) -> None:
    shown = [plant.common_name for plant in key.flora.species.values()]
    assert len(set(shown)) == len(shown)


def test_every_question_says_where_to_look_and_what_counts_as_no(key: Key) -> None:
    for character in key.flora.characters.values():
        assert character.question.endswith("?") and character.look.endswith(".") and character.otherwise.endswith(".")


@pytest.fixture
def copy(tmp_path: Path) -> Path:
    shutil.copytree(CONFIGS, tmp_path / "configs")
    return tmp_path / "configs"


BROKEN = {
    "unknown character": ("  leaf_build: {", "  leaf_bild: {", "unknown character leaf_bild; did you mean leaf_build?"),
    "unknown state": ("{finely_cut:", "{finely_cutt:", "leaf_build has no state finely_cutt; did you mean finely_cut?"),
    "unknown word": ("family: Asteraceae", "familly: Asteraceae", "familly: no such field"),
    "unknown source": ("names_source: [", "names_source: [NOWHERE, ", "source NOWHERE is not in sources.yaml"),
    "no mapping": ("scientific_name: Soliva", "- scientific_name: Soliva", "not valid YAML"),
    "unknown frequency": ("finely_cut: usually", "finely_cut: mostly", "always"),
}


@pytest.mark.parametrize("kind", BROKEN)
def test_a_broken_species_file_is_named_with_what_to_mend(copy: Path, kind: str) -> None:
    before, after, says = BROKEN[kind]
    path = copy / "species" / "soliva_sessilis.yaml"
    text = path.read_text(encoding="utf-8")
    if before not in text:
        before, after = before.replace("usually", "always"), after
    assert before in text
    path.write_text(text.replace(before, after, 1), encoding="utf-8")
    with pytest.raises(FloraError) as error:
        load_flora(copy)
    assert str(path) in str(error.value) and says in str(error.value)


def test_a_published_standing_needs_a_published_source(copy: Path) -> None:
    path = copy / "species" / "soliva_sessilis.yaml"
    lines = path.read_text(encoding="utf-8").splitlines()
    at = next(i for i, line in enumerate(lines) if "milky_sap" in line and "source: [" in line)
    lines[at] = "  milky_sap: {states: {absent: always}, source: [MEM], standing: published}"
    path.write_text("\n".join(lines), encoding="utf-8")
    with pytest.raises(FloraError, match="says published, but none of its sources"):
        load_flora(copy)
