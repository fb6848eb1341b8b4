"""Weeds of the coast and the north: named by what a person sees, told from their look-alikes, and dealt with safely."""

from __future__ import annotations

from typing import Any

import pytest

from model.control import Case, Control, plan
from model.flora.name import PlantNames
from model.identify import Finding, Key, identify
from model.traits import Visible, check_answer

LEAVES: Visible = ("leaves",)
FLOWERS: Visible = ("leaves", "flowers")

PEGS: dict[str, Any] = {
    "leaf_build": "three_leaflets", "leaf_arrangement": "opposite", "leaf_outline": "oval", "leaf_edge": "toothed",
    "leaf_stalk": "clear", "leaf_point": "pointed", "leaf_hairs": "soft", "middle_leaflet": "stalked",
    "leaf_texture": "thin", "leaf_sheen": "dull", "stem_section": "square", "stem_colour": "reddish",
    "growth_habit": "erect", "runners": "none", "stem_rooting": "absent", "milky_sap": "absent", "leaf_length": 110,
    "leaflet_length": 50, "petiole_length": 30, "plant_height": 60, "flower_build": "button", "flower_colour": "yellow",
    "disc_colour": "yellow", "flower_stalk": "leafy", "spray_shape": "single", "flower_width": 9,
    "seed_structure": "barbed_needles",
}  # fmt: skip
TRAD: dict[str, Any] = {
    "leaf_build": "simple", "leaf_arrangement": "alternate", "leaf_outline": "oval", "leaf_edge": "smooth",
    "leaf_base": "rounded", "leaf_stalk": "none", "leaf_veins": "ribs", "leaf_point": "pointed", "leaf_hairs": "none",
    "leaf_texture": "fleshy", "leaf_sheen": "above", "stem_section": "round", "stem_colour": "green",
    "stem_hairs": "none", "growth_habit": "creeping", "joint_swollen": "present", "runners": "above",
    "stem_rooting": "present", "milky_sap": "absent", "leaf_length": 50, "leaf_width": 20, "stem_length": 80,
    "flower_build": "three_petals", "flower_colour": "white", "flower_stalk": "leafy", "petal_length": 9, "stamens": 6,
    "flower_width": 16, "flowers_per_cluster": 4,
}  # fmt: skip
BROAD: dict[str, Any] = {
    "leaf_build": "grassy", "leaf_arrangement": "alternate", "leaf_outline": "linear", "leaf_edge": "smooth",
    "leaf_tip": "boat", "ligule": "membrane", "ligule_length": 0.4, "leaf_bud": "folded", "runners": "above",
    "runner_width": 3.5, "leaf_sheen": "above", "leaf_hairs": "none", "leaf_texture": "thin", "shoot_section": "flat",
    "blade_surface": "flat", "blade_edge": "fringed", "collar_hairs": "few", "sheath_hairs": "none",
    "stem_section": "flattened", "stem_hairs": "all_round", "growth_habit": "creeping", "stem_rooting": "present",
    "blade_width": 10, "leaf_length": 80, "flower_build": "grass_spikelets", "grass_head": "fingers", "racemes": 3,
    "spikelet_length": 2.5, "awns": "none",
}  # fmt: skip
NARROW = {
    **BROAD, "leaf_sheen": "dull", "blade_edge": "smooth", "stem_hairs": "none", "blade_width": 5, "runner_width": 2,
    "blade_surface": "keeled",
}  # fmt: skip
BUFFALO = {
    **NARROW, "blade_width": 8, "runner_width": 4, "leaf_texture": "stiff", "ligule": "hairs", "collar_hairs": "tuft",
    "grass_head": "single_spike", "spikelet_length": 4.8,
}  # fmt: skip
SCURVY = {
    **TRAD, "leaf_outline": "lance", "leaf_sheen": "dull", "leaf_texture": "thin", "leaf_width": 11,
    "flower_colour": "blue", "stamens": 3, "petal_length": 7, "flowers_per_cluster": 1, "flower_width": 15,
}  # fmt: skip
HAIRY = {
    **SCURVY, "leaf_outline": "oval", "leaf_hairs": "soft", "leaf_stalk": "clear", "petiole_length": 5,
    "stem_hairs": "all_round", "leaf_length": 60, "leaf_width": 28, "petal_length": 5, "flower_width": 10,
}  # fmt: skip


def asked(key: Key, shown: dict[str, Any], visible: Visible, month: int) -> Finding:
    """The finding after at most twelve of the questions that the key asks, answered by what the plant shows."""
    answers: dict[str, Any] = {}
    finding = identify(key, answers, None, month, None, visible)
    while finding.next_question is not None and len(answers) < 12:
        character = finding.next_question.character
        answers = {**answers, character.id: check_answer(character, shown.get(character.id, "unsure"))}
        finding = identify(key, answers, None, month, None, visible)
    return finding


@pytest.mark.parametrize(
    ("shown", "species", "flowers_in"),
    [
        (PEGS, "bidens_pilosa", 3),
        ({**PEGS, "leaf_build": "feather", "leaflet_pairs": 2}, "bidens_pilosa", 3),
        (TRAD, "tradescantia_fluminensis", 10),
        (SCURVY, "commelina_cyanea", 1),
        (HAIRY, "commelina_benghalensis", 2),
        (BROAD, "axonopus_compressus", 2),
        (NARROW, "axonopus_fissifolius", 2),
        (BUFFALO, "stenotaphrum_secundatum", 2),
    ],
)
def test_true_answers_name_it_in_leaf_in_winter_and_in_flower(
    key: Key, shown: dict[str, Any], species: str, flowers_in: int
) -> None:
    for visible, month in ((LEAVES, 7), (FLOWERS, flowers_in)):
        finding = asked(key, shown, visible, month)
        assert finding.status in ("likely", "confirmed"), (species, visible, finding.status)
        assert finding.species == species, visible


def test_a_native_commelina_that_looks_like_trad_in_leaf_is_not_confirmed_as_trad(key: Key) -> None:
    alike = {**SCURVY, "leaf_outline": "oval", "leaf_texture": "fleshy"}
    in_leaf = asked(key, alike, LEAVES, 7)
    assert (in_leaf.status, in_leaf.candidates[0].species) == ("undecided", "commelina_cyanea")
    assert asked(key, alike, FLOWERS, 1).species == "commelina_cyanea"


def test_barbed_needles_are_found_among_what_pricks_and_mean_cobblers_pegs(key: Key) -> None:
    seed = key.flora.characters["seed_structure"]
    assert "barbed_needles" in seed.groups["prickly"].states
    finding = identify(key, {"seed_structure": check_answer(seed, "barbed_needles")}, None, 4, None, None)
    assert finding.candidates[0].species == "bidens_pilosa"


@pytest.mark.parametrize(
    ("said", "meant"),
    [
        ("Cobblers Pegs", {"bidens_pilosa"}),
        ("farmer's friend", {"bidens_pilosa"}),
        ("farmers friends", {"bidens_pilosa"}),
        ("sticky beaks", {"bidens_pilosa"}),
        ("stickybeak", {"bidens_pilosa"}),
        ("beggars tick", {"bidens_pilosa"}),
        ("black-jack", {"bidens_pilosa"}),
        ("trad", {"tradescantia_fluminensis"}),
        ("Wandering Jew", {"tradescantia_fluminensis", "commelina_cyanea", "commelina_benghalensis"}),
        ("native wandering jew", {"commelina_cyanea"}),
        ("Commelina", {"commelina_cyanea", "commelina_benghalensis"}),
        ("tradescantia", {"tradescantia_fluminensis"}),
        ("Tradescantia albiflora", {"tradescantia_fluminensis"}),
        ("broadleaf carpetgrass", {"axonopus_compressus"}),
        ("carpet grass", {"axonopus_compressus", "axonopus_fissifolius"}),
        ("buffalo", {"stenotaphrum_secundatum"}),
    ],
)
def test_names_that_people_type_for_them_are_taken(key: Key, said: str, meant: set[str]) -> None:
    assert set(PlantNames(key.flora).the_plants(said)) == meant


def test_the_plans_say_what_each_does_to_people_dogs_and_the_next_garden(control: Control) -> None:
    trad = plan(control, Case(("tradescantia_fluminensis",), 11, "unknown", "bed", state="QLD"))
    said = " ".join(statement.text for statement in trad.cautions)
    assert "rash in many dogs" in said and "Neither prohibited nor restricted" in said
    by_hand = next(option for option in trad.options if option.method == "hand")
    assert "every stem and joint" in by_hand.do[0].text and "stays out of compost" in by_hand.do[0].text
    pegs = plan(control, Case(("bidens_pilosa",), 4, "buffalo", stage="seeding"))
    assert any("seeds cling" in statement.text for statement in pegs.cautions)
    assert pegs.summary[0].startswith("Now: bag the seed heads first; pull it with the root")


def test_the_native_is_left_or_lifted_by_hand_and_never_sprayed(control: Control) -> None:
    for place in ("lawn", "bed"):
        native = plan(control, Case(("commelina_cyanea",), 1, "unknown", place))
        assert not [option for option in native.options if option.actives]
        assert "leave" in native.summary[0]
        assert any("be sure" in said.text for _, said in native.about)


def test_a_plant_that_grows_all_year_in_the_north_is_not_put_off_to_a_season(control: Control) -> None:
    pegs = plan(control, Case(("bidens_pilosa",), 7, "couch", state="QLD"))
    assert "all year" in pegs.about[0][1].text
    assert not [
        r.text for option in pegs.options if option.method != "cultural" for r in option.against if "time" in r.text
    ]
    khaki = plan(control, Case(("alternanthera_pungens",), 7, "couch", state="QLD"))
    by_hand = next(option for option in khaki.options if option.method == "hand")
    assert by_hand.against[0].text.endswith(
        "as a rule. It comes up again in September; where it shows now, give its growth stage."
    )


def test_no_lawn_is_offered_a_herbicide_that_is_not_for_these_weeds(control: Control) -> None:
    for lawn in control.lawns:
        for month in range(1, 13):
            trad = plan(control, Case(("tradescantia_fluminensis",), month, lawn)).options
            offered = {a.name for option in trad if option.suited == "yes" for a in option.actives}
            assert offered <= {"fluroxypyr", "triclopyr"}, (lawn, month)
            grass = plan(control, Case(("axonopus_compressus",), month, lawn)).options
            assert not [option for option in grass if option.suited == "yes" and option.actives], (lawn, month)
