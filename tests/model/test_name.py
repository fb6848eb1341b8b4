"""Finding a plant by its names: one, several that a name may mean, or a hint."""

from __future__ import annotations

import pytest

from model.errors import AnswerError
from model.flora.name import PlantNames
from model.identify import Key

OXALIS = {
    "oxalis_articulata", "oxalis_corniculata", "oxalis_debilis", "oxalis_exilis", "oxalis_latifolia",
    "oxalis_perennans", "oxalis_pes_caprae",
}  # fmt: skip


def test_a_name_that_means_several_or_none_is_refused_with_a_hint(key: Key) -> None:
    names = PlantNames(key.flora)
    assert names.the_species("Bindy-Eye") == "soliva_sessilis"
    with pytest.raises(AnswerError, match=r"may be any of several plants; say which: .*trifolium_repens"):
        names.the_species("clover")
    with pytest.raises(AnswerError, match="'soliva sesilus' is not in the flora; did you mean"):
        names.the_species("soliva sesilus")


def test_one_slip_of_the_finger_and_words_without_quotes_are_read_as_meant(key: Key) -> None:
    names = PlantNames(key.flora)
    for typed in ("kikuya", "Bindi", "bidnii", "soliva sessilus", "Winter-gras"):
        assert len(names.the_plants(typed)) == 1, typed
    assert names.the_plants_in(["winter", "gras", "creeping", "oxalis", "bindi"]) == (
        "poa_annua", "oxalis_corniculata", "oxalis_exilis", "soliva_sessilis",
    )  # fmt: skip
    with pytest.raises(AnswerError, match="'tulips' is not in the flora"):
        names.the_plants_in(["winter", "grass", "tulips"])


def test_a_name_of_several_kinds_is_never_one_of_them_silently(key: Key) -> None:
    names = PlantNames(key.flora)
    assert names.the_plants("cudweed") == ("gamochaeta_americana", "gamochaeta_calviceps", "gamochaeta_purpurea")
    assert set(names.the_plants("fleabane")) > {"erigeron_bonariensis", "erigeron_sumatrensis"}
    assert names.the_plants("dandelion") == ("taraxacum_officinale",), "usually called just so"
    with pytest.raises(AnswerError, match="may be any of several"):
        names.the_species("cudweed")


def test_every_name_that_is_printed_is_one_that_is_taken(key: Key) -> None:
    names = PlantNames(key.flora)
    for species, plant in key.flora.species.items():
        assert names.the_usual(plant.common_name) == species or plant.common_name in {
            other.common_name for other in key.flora.species.values() if other is not plant
        }
        for name in (plant.common_name, *plant.common_names, plant.scientific_name, species):
            assert species in names.the_plants_in(name.split()), name
            assert species in names.the_plants_in([name]), name


@pytest.mark.parametrize(
    ("said", "meant"),
    [
        ("oxalis", OXALIS),
        ("Oxalises", OXALIS),
        ("spurges", {"euphorbia_maculata", "euphorbia_peplus", "euphorbia_prostrata"}),
        ("onion weed", {"allium_triquetrum", "asphodelus_fistulosus", "nothoscordum_borbonicum"}),
        ("milk thistles", {"silybum_marianum", "sonchus_oleraceus"}),
        ("nut-sedge", {"cyperus_esculentus", "cyperus_rotundus"}),
        ("veldtgrass", {"ehrharta_erecta", "ehrharta_longiflora"}),
        ("Chamaesyce", {"euphorbia_maculata", "euphorbia_prostrata"}),
        ("mosses", {"moss_in_lawns"}),
        ("daisies", {"bellis_perennis"}),
        ("couch", {"cynodon_dactylon"}),
        ("pes caprae", {"oxalis_pes_caprae"}),
    ],
)
def test_an_everyday_name_means_every_plant_that_has_it(key: Key, said: str, meant: set[str]) -> None:
    names = PlantNames(key.flora)
    assert set(names.candidates(said)) == set(names.the_plants(said)) == meant


def test_what_is_usually_called_so_comes_first_and_exact_refuses_several(key: Key) -> None:
    names = PlantNames(key.flora)
    clovers = names.the_plants("clover")
    assert set(clovers[:4]) == {s for s in key.flora.species if s.startswith("trifolium_")}
    assert set(clovers[4:]) == {"lotus_subbiflorus", "medicago_arabica", "medicago_polymorpha"}
    with pytest.raises(AnswerError, match=r"may be any of several plants; say which: hop clover \("):
        names.the_plants("clover", exact=True)
    assert names.the_plants("bindii", exact=True) == ("soliva_sessilis",)
    with pytest.raises(AnswerError, match=r"only part of a name; did you mean English daisy \(bellis_perennis\)\?"):
        names.the_plants("daisy", exact=True)


def test_a_word_of_too_many_names_names_nothing(key: Key) -> None:
    with pytest.raises(AnswerError, match=r"'grass' may be any of several plants; say which: .* and \d+ more$"):
        PlantNames(key.flora).the_plants("grass")


@pytest.mark.parametrize(
    ("said", "hint"),
    [
        ("lawn moss", "the nearest are: moss in lawns, moss"),
        ("kikooyu", "did you mean kikuyu?"),
        ("bindii burr", "the nearest are: bindii,"),
        ("angled oni", "angled onion"),
        ("", "the nearest are"),
        ("\u00a7", "the nearest are"),
    ],
)
def test_a_name_that_is_not_known_gets_names_with_its_words_as_a_hint(key: Key, said: str, hint: str) -> None:
    names = PlantNames(key.flora)
    assert names.candidates(said) == ()
    with pytest.raises(AnswerError) as error:
        names.the_plants(said)
    assert hint in str(error.value)


def test_every_name_of_the_flora_finds_its_plant_and_so_does_its_genus(key: Key) -> None:
    names = PlantNames(key.flora)
    for species, plant in key.flora.species.items():
        genus = plant.scientific_name.split()[0]
        for name in (species, plant.scientific_name, *plant.synonyms, *plant.common_names):
            assert species in names.candidates(name), name
        if genus != plant.scientific_name and names.look_up(genus) is None:
            assert species in names.candidates(genus)
