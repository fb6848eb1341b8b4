"""The flora: complete, sourced, its look-alikes told apart, and its mistakes refused by name."""

from __future__ import annotations

import functools
import shutil
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from model.errors import FloraError
from model.flora import CONFIGS, Flora, Score, load_characters, load_flora
from model.flora.__main__ import separates
from model.flora.character import MOST_AT_ONCE, PARTS
from model.flora.load import read_mapping
from model.flora.species import Season
from model.identify import Key
from tests.model.test_question import character as asked_about

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


def test_every_look_alike_is_separated_by_a_character_named_for_it(key: Key) -> None:
    left = []
    for plant in key.flora.species.values():
        for entry in plant.look_alikes:
            if entry.species and not any(separates(key.flora, c, plant.id, entry.species) for c in entry.separate_by):
                left.append((plant.id, entry.species))
    assert left == []


def test_the_season_of_a_plant_agrees_with_its_flowering_months(key: Key) -> None:
    for plant in key.flora.species.values():
        score = plant.characters.get("flowering_month")
        if plant.season.flowers is None:  # mosses, algae
            assert not key.flora.is_applicable(plant.id, "flowering_month") and not isinstance(score, Score), plant.id
            continue
        assert isinstance(score, Score) and score.months is not None
        assert set(score.months) == set(plant.season.flowers), plant.id
        assert set(plant.season.flowers) <= set(plant.season.seen), plant.id


def test_common_names_that_are_shown_are_not_shared(key: Key) -> None:
    shown = [plant.common_name for plant in key.flora.species.values()]
    assert len(set(shown)) == len(shown)


def test_every_question_says_where_to_look_and_what_counts_as_no(key: Key) -> None:
    for character in key.flora.characters.values():
        assert character.question.endswith("?") and character.look.endswith(".") and character.otherwise.endswith(".")


def test_every_character_says_which_part_it_needs_and_roots_are_dug_for(key: Key) -> None:
    assert {c.part for c in key.flora.characters.values()} == set(PARTS)
    for character in key.flora.characters.values():
        assert character.part == "roots" or character.effort != "dig", character.id


def test_no_one_has_to_choose_between_more_than_eight_at_once(key: Key) -> None:
    assert MOST_AT_ONCE == 8
    many = 0
    for character in key.flora.characters.values():
        if character.groups:
            many += len(character.states) > MOST_AT_ONCE
            assert all(group.text and len(group.states) <= MOST_AT_ONCE for group in character.groups.values())
            assert len(character.groups) <= MOST_AT_ONCE
        else:
            assert len(character.states) <= MOST_AT_ONCE
    assert many > 0


def test_what_a_younger_plant_shows_is_not_what_the_older_one_shows(key: Key) -> None:
    """Else the stage need not be told."""
    for plant in key.flora.species.values():
        for name, told in plant.characters.items():
            if isinstance(told, Score) and told.before is not None:
                assert told.before not in (told.states, told.range), (plant.id, name)


@pytest.fixture
def copy(tmp_path: Path) -> Path:
    shutil.copytree(CONFIGS, tmp_path / "configs")
    return tmp_path / "configs"


@functools.cache
def parsed(shipped: Path) -> dict[str, Any]:
    return read_mapping(shipped)


def read_copy(copy: Path) -> Flora:
    """The flora of a copy; files that are as they were are parsed once for all tests."""

    def read(path: Path) -> dict[str, Any]:
        shipped = CONFIGS / path.relative_to(copy)
        return parsed(shipped) if path.read_bytes() == shipped.read_bytes() else read_mapping(path)

    return load_flora(copy, read)


BROKEN = {
    "unknown character": ("  leaf_build: {", "  leaf_bild: {", "unknown character leaf_bild; did you mean leaf_build?"),
    "unknown state": ("{finely_cut:", "{finely_cutt:", "leaf_build has no state finely_cutt; did you mean finely_cut?"),
    "unknown word": ("family: Asteraceae", "familly: Asteraceae", "familly: no such field"),
    "unknown source": ("names_source: [", "names_source: [NOWHERE, ", "source NOWHERE is not in sources.yaml"),
    "no mapping": ("scientific_name: Soliva", "- scientific_name: Soliva", "not valid YAML"),
    "key given twice": ("family: Asteraceae", "family: Asteraceae\nfamily: Poaceae", "(family is given twice)"),
    "unknown frequency": ("finely_cut: usually", "finely_cut: mostly", "always"),
}


@pytest.mark.parametrize("kind", BROKEN)
def test_a_broken_species_file_is_named_with_what_to_fix(copy: Path, kind: str) -> None:
    before, after, says = BROKEN[kind]
    path = copy / "species" / "soliva_sessilis.yaml"
    text = path.read_text(encoding="utf-8")
    if before not in text:
        before, after = before.replace("usually", "always"), after
    assert before in text
    path.write_text(text.replace(before, after, 1), encoding="utf-8")
    with pytest.raises(FloraError) as error:
        read_copy(copy)
    assert str(path) in str(error.value) and says in str(error.value)


def with_score(copy: Path, character: str, told: str) -> Path:
    """The file of bindii with another score of one character."""
    path = copy / "species" / "soliva_sessilis.yaml"
    lines = [line for line in path.read_text(encoding="utf-8").splitlines() if not line.startswith(f"  {character}: ")]
    at = lines.index("characters:") + 1
    lines.insert(at, f"  {character}: {{{told}, source: [MEM], standing: from memory}}")
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


AGED = {
    "before without when": ("spines", "states: {none: always}, before: {on_fruit: always}", "say with when until"),
    "unknown stage": ("spines", "states: {none: always}, when: fruiting", "'fruiting' is not one of"),
    "before is a range": ("spines", "states: {none: always}, when: seeding, before: [1, 2]", "before needs states"),
    "before is states": ("plant_height", "range: [1, 9], when: flowering, before: {a: always}", "a range where"),
    "before is empty": ("spines", "states: {none: always}, when: seeding, before: {}", "before needs states where"),
    "before has no such state": (
        "spines", "states: {none: always}, when: seeding, before: {on_friut: always}",
        "spines has no state on_friut; did you mean on_fruit?",
    ),
    "before has no such word": ("spines", "states: {none: always}, when: seeding, before: {none: mostly}", "always"),
    "before the wrong way round": (
        "plant_height", "range: [1, 9], when: flowering, before: [9, 1]", "before, as a range, is two positive numbers",
    ),
    "before of nothing": (
        "plant_height", "range: [1, 9], when: flowering, before: [0, 1]", "before, as a range, is two positive numbers",
    ),
    "before of months": (
        "flowering_month", "months: [9], when: flowering, before: {x: always}", "before needs states where there are",
    ),
    "before of months by a range": (
        "flowering_month", "months: [9], when: flowering, before: [8, 9]", "before needs states where there are",
    ),
    "before of three": ("plant_height", "range: [1, 9], when: flowering, before: [1, 2, 3]", "before"),
    "before out of its domain": (
        "plant_height", "range: [1, 9], when: flowering, before: [0.01, 9]",
        "plant_height [0.01, 9.0] is outside its domain",
    ),
    "older out of its domain": (
        "plant_height", "range: [1, 90000], when: flowering, before: [1, 9]",
        "plant_height [1.0, 90000.0] is outside its domain",
    ),
    "together of one": ("spines", "states: {none: always}, together: true", "together needs two or more states"),
    "together of a number": ("plant_height", "range: [1, 9], together: true", "together needs two or more states"),
}  # fmt: skip


@pytest.mark.parametrize("kind", AGED)
def test_an_incomplete_age_is_refused(copy: Path, kind: str) -> None:
    character, told, says = AGED[kind]
    path = with_score(copy, character, told)
    with pytest.raises(FloraError) as error:
        read_copy(copy)
    message = str(error.value)
    assert message.startswith(str(path)) and says in message and "\n" not in message, message


@pytest.mark.parametrize(
    ("character", "told"),
    [
        ("spines", "states: {on_fruit: always}, when: seeding"),
        ("spines", "states: {on_fruit: always}, when: seeding, before: {none: always}"),
        ("spines", "states: {on_fruit: usually, none: usually}, together: true, when: seeding, before: {none: always}"),
        ("plant_height", "range: [1, 9], when: flowering, before: [1, 1]"),
    ],
)
def test_a_complete_age_is_accepted(copy: Path, character: str, told: str) -> None:
    with_score(copy, character, told)
    assert isinstance(read_copy(copy).species["soliva_sessilis"].characters[character], Score)


def test_a_season_may_be_without_flowers_but_not_without_months_in_which_it_is_seen() -> None:
    fact: Any = {"source": ["MEM"], "standing": "from memory"}
    assert Season(seen=[6], **fact).flowers is None
    with pytest.raises(ValueError, match="seen"):
        Season(flowers=[6], **fact)
    for months in ([], [0], [13]):
        with pytest.raises(ValueError, match="flowers"):
            Season(seen=[6], flowers=months, **fact)


def test_a_plant_that_never_flowers_is_in_no_month_of_the_calendar(copy: Path) -> None:
    path = copy / "species" / "soliva_sessilis.yaml"
    lines = [x for x in path.read_text(encoding="utf-8").splitlines() if not x.startswith("  flowers: ")]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    made = read_copy(copy)
    row = made.ids.index("soliva_sessilis")
    assert made.species["soliva_sessilis"].season.flowers is None
    assert not made.calendar["flowers"][row].any() and made.calendar["seen"][row].any()


def score(**told: Any) -> Score:
    return Score(source=["CP"], standing="common practice", **told)


ROSETTE: Any = {"there": "always"}
STEMS: Any = {"gone": "always"}


@pytest.mark.parametrize(
    ("gate", "applies"),
    [
        (score(states=ROSETTE), True),
        (score(states={**STEMS, "there": "rarely"}), True),
        (score(states=STEMS), False),
        (score(states=STEMS, when="flowering"), False),
        (score(states=STEMS, when="flowering", before=ROSETTE), True),
        (score(states=STEMS, when="seeding", before={"other": "usually", "there": "rarely"}), True),
        (score(states=ROSETTE, when="flowering", before=STEMS), True),
        (score(states=STEMS, when="flowering", before={"other": "always"}), False),
        ("inapplicable", False),
        ("unknown", True),
        (None, True),
    ],
)  # fmt: skip
def test_a_part_is_there_if_the_plant_has_it_at_any_age(gate: Any, applies: bool) -> None:
    """Also what hangs on it in turn; what the plant itself is said to lack it lacks."""
    chain = asked_about("habit"), asked_about("ring", gated="habit"), asked_about("dots", gated="ring")
    asked = {c.id: c for c in chain}
    shown = {} if gate is None else {"habit": gate}
    species: Any = {
        "a": SimpleNamespace(characters=shown), "b": SimpleNamespace(characters={**shown, "ring": "inapplicable"}),
    }  # fmt: skip
    made = Flora(species, asked, {})
    assert made.is_applicable("a", "ring") is applies and made.is_applicable("a", "dots") is applies
    assert not made.is_applicable("b", "ring") and not made.is_applicable("b", "dots")


CHOICE = "test: {kind: choice, effort: glance, part: leaves, question: '?', look: ., otherwise: ., "
NINE = "states: {" + ", ".join(f"s{i}: so" for i in range(9)) + "}"
OUT_OF_ORDER = {
    "no part": (CHOICE.replace("part: leaves, ", "") + "states: {a: so}}", "part: "),
    "unknown part": (CHOICE.replace("leaves", "bark") + "states: {a: so}}", "part: "),
    "gone at no known time": (CHOICE + "states: {a: so}, until: seeding}", "until: "),
    "nine states at once": (CHOICE + NINE + "}", "more than 8 states are too many to choose from at once; give groups"),
    "a state in no group": (
        CHOICE + NINE + ", groups: {g: {text: so, states: [s0, s1, s2, s3]}, h: {text: so, states: [s4, s5, s6, s7]}}}",
        "groups must hold every state, each once",
    ),
    "a state in two groups": (
        CHOICE + NINE + ", groups: {g: {text: so, states: [s0, s1, s2, s3, s4]},"
        " h: {text: so, states: [s4, s5, s6, s7, s8]}}}",
        "groups must hold every state, each once",
    ),
    "a group of what is no state": (
        CHOICE + "states: {a: so, b: so}, groups: {g: {text: so, states: [a, b, c]}}}",
        "groups must hold every state, each once",
    ),
    "a group of nine": (
        CHOICE + NINE + ", groups: {g: {text: so, states: [s0, s1, s2, s3, s4, s5, s6, s7, s8]}}}",
        "at most 8 items",
    ),
    "an empty group": (
        CHOICE + "states: {a: so}, groups: {g: {text: so, states: [a]}, h: {text: so, states: []}}}", "at least 1",
    ),
    "a group without words": (CHOICE + "states: {a: so}, groups: {g: {states: [a]}}}", "groups: g: text"),
}  # fmt: skip


@pytest.mark.parametrize("kind", OUT_OF_ORDER)
def test_a_character_that_cannot_be_asked_is_refused(tmp_path: Path, kind: str) -> None:
    text, says = OUT_OF_ORDER[kind]
    (tmp_path / "characters.yaml").write_text(text + "\n", encoding="utf-8")
    with pytest.raises(FloraError) as error:
        load_characters(tmp_path)
    message = str(error.value)
    assert message.startswith(f"{tmp_path / 'characters.yaml'}: test: ") and says in message, message
    assert "\n" not in message


def test_eight_states_at_once_are_taken_and_more_in_groups(tmp_path: Path) -> None:
    path = tmp_path / "characters.yaml"
    eight = NINE.replace(", s8: so", "")
    path.write_text(CHOICE + eight + "}\n", encoding="utf-8")
    assert len(load_characters(tmp_path)["test"].states) == MOST_AT_ONCE
    groups = "groups: {g: {text: some, states: [s8, s0]}, h: {text: others, states: [s1, s2, s3, s4, s5, s6, s7]}}"
    path.write_text(f"{CHOICE}{NINE}, {groups}}}\n", encoding="utf-8")
    assert load_characters(tmp_path)["test"].groups["g"].states == ["s8", "s0"]


def test_a_published_standing_needs_a_published_source(copy: Path) -> None:
    path = copy / "species" / "soliva_sessilis.yaml"
    lines = path.read_text(encoding="utf-8").splitlines()
    at = next(i for i, line in enumerate(lines) if "milky_sap" in line and "source: [" in line)
    lines[at] = "  milky_sap: {states: {absent: always}, source: [MEM], standing: published}"
    path.write_text("\n".join(lines), encoding="utf-8")
    with pytest.raises(FloraError, match="says published, but none of its sources"):
        read_copy(copy)
