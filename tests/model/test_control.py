"""Plans: what is judged, in which order, what is said, and what can never be in one."""

from __future__ import annotations

import json
import re
import shutil
from itertools import product
from pathlib import Path
from typing import Any, get_args

import pytest

from model.control import Case, Control, JudgedOption, load_control, plan, year_of
from model.control.facts import Place, When
from model.control.year import best_months, in_order
from model.errors import AnswerError, FloraError
from model.flora.load import CONFIGS
from model.identify import Key

# A number followed by a unit in which rates are given: per area, per volume, or a share of a mix.
RATE = re.compile(
    r"\d\s*(?:%|per ?cent|(?:m?l|litres?|k?g|grams?|lb|oz|floz|pints?|gal)\s*(?:/|per|in)\s*(?:\d+\s*)?"
    r"(?:ha|hectares?|acres?|m2|m²|square|l\b|litres?|gal|kg))|\b1\s*(?::|in)\s*\d{2,}",
    re.IGNORECASE,
)


def the(options: tuple[JudgedOption, ...], method: str, *actives: str) -> JudgedOption:
    (found,) = [o for o in options if o.method == method and {a.name for a in o.actives} == set(actives)]
    return found


def words(option: JudgedOption) -> str:
    return " ".join(reason.text for reason in option.reasons)


def test_every_species_has_a_plan_with_something_that_needs_no_herbicide(control: Control) -> None:
    assert set(control.treatments) == set(control.flora.ids)
    for species in control.flora.ids:
        without = [o for o in plan(control, Case((species,), 5)).options if not o.actives]
        assert any(option.method in ("hand", "mow", "cover", "leave") for option in without), species


def test_no_plan_contains_a_rate(control: Control) -> None:
    assert RATE.search("5 L/ha") and RATE.search("10 mL per 10 L") and RATE.search("1:40") and RATE.search("2 %")
    for species in control.flora.ids:
        for case in (
            Case((species,), 5, "couch", state="TAS", near=("edibles", "pond", "pets", "bees"), used=(4,)),
            Case((species,), 11, "buffalo", "bed", 20.0, "flowering", "NSW", ("grazing", "children")),
            Case((species,), 8, "unknown", "paving"),
        ):
            told = json.dumps(plan(control, case).as_json(control), ensure_ascii=False)
            assert RATE.search(re.sub(r"\d+ per cent weed cover", "", told)) is None, species


def test_rates_are_not_hidden_in_the_files_either() -> None:
    for path in [*(CONFIGS / "control").glob("*.yaml"), *(CONFIGS / "plans").glob("*.yaml")]:
        text = "\n".join(line.split("#")[0] for line in path.read_text(encoding="utf-8").splitlines())
        assert RATE.search(text) is None, path


def test_methods_come_in_the_order_of_a_good_adviser(control: Control) -> None:
    order = list(control.methods.methods)
    assert order == [
        "leave", "cultural", "mow", "hand", "cover", "pre_emergent", "selective", "wipe", "non_selective",
    ]  # fmt: skip
    for species in control.flora.ids:
        places = [order.index(option.method) for option in plan(control, Case((species,), 5, "couch")).options]
        assert places == sorted(places)


def test_what_is_for_some_lawns_only_waits_until_the_grass_is_known_and_is_out_on_others(control: Control) -> None:
    for lawn, suited in (("unknown", "wait"), ("kikuyu", "no")):
        option = the(plan(control, Case(("paspalum_dilatatum",), 1, lawn)).options, "selective", "foramsulfuron")
        (reason,) = [reason for reason in option.against if reason.text.endswith("lawns only.")]
        assert reason.suited == option.suited == suited


def test_what_is_not_known_of_a_lawn_is_never_shown_as_safe(control: Control) -> None:
    tried = 0
    for lawn in control.lawns:
        for species in control.flora.ids:
            for option in plan(control, Case((species,), 5, lawn)).options:
                for active in option.actives:
                    if active.lawn_rating == "unknown" and control.actives[active.name].use != "non_selective":
                        tried += 1
                        assert option.suited != "yes"
                        assert "label" in words(option) or option.suited == "no"
    assert tried > 500
    assert all(
        a.lawn_rating == "unknown" for o in plan(control, Case(("bellis_perennis",), 5)).options for a in o.actives
    )


def test_bindii_on_buffalo_in_june_and_on_couch_in_november(control: Control) -> None:
    june = plan(control, Case(("soliva_sessilis",), 6, "buffalo")).options
    assert the(june, "selective", "bromoxynil", "MCPA").suited == "yes"
    assert the(june, "selective", "2,4-D", "mecoprop", "dicamba").suited == "no"
    assert the(june, "selective", "2,4-D", "mecoprop", "dicamba").months == (6, 7, 8)
    assert the(june, "hand").suited == "yes" and the(june, "hand").months == (4, 5, 6, 7, 8)
    november = plan(control, Case(("soliva_sessilis",), 11, "couch")).options
    assert the(november, "selective", "2,4-D", "mecoprop", "dicamba").suited == "wait"
    assert "wait until June" in words(the(november, "selective", "2,4-D", "mecoprop", "dicamba"))
    assert any("spines" in text for text in the(november, "selective", "bromoxynil", "MCPA").leaves)


def test_both_traps_of_the_word_buffalo_are_explained(control: Control) -> None:
    traps = " ".join(trap.text for trap in plan(control, Case(("soliva_sessilis",), 6, "buffalo")).traps)
    assert "carpet grass" in traps and "Bouteloua" in traps


def test_a_group_used_here_before_comes_after_another(control: Control) -> None:
    def first(used: tuple[int, ...]) -> set[int]:
        options = plan(control, Case(("poa_annua",), 5, "queensland_blue_couch", used=used)).options
        return {a.group for a in next(o for o in options if o.method == "pre_emergent").actives}

    assert first(()) == {3}
    assert first((3,)) == {14}
    used = plan(control, Case(("taraxacum_officinale",), 5, "couch", used=(4,))).options
    assert "Group 4 was used here before" in words(the(used, "selective", "2,4-D"))


def test_unclassified_actives_are_no_group_to_rotate_with(control: Control) -> None:
    option = the(plan(control, Case(("paspalum_dilatatum",), 12, "couch", used=(0,))).options, "selective", "MSMA")
    assert "does not rotate groups" in words(option)
    assert "used here before" not in words(option)


def test_resistance_that_is_known_in_the_weed_is_said(control: Control) -> None:
    option = the(plan(control, Case(("plantago_lanceolata",), 5, "couch")).options, "selective", "2,4-D")
    (reason,) = [r for r in option.reasons if "30 years" in r.text]
    assert reason.standing == "published" and reason.source == ("PATTON_2018",)


def test_what_is_near_changes_the_advice(control: Control) -> None:
    def option(
        species: str, lawn: str, *near: Any, stage: Any = None, method: str = "selective", actives: str
    ) -> JudgedOption:
        case = Case((species,), 12 if species == "cyperus_rotundus" else 5, lawn, near=near, stage=stage)
        return the(plan(control, case).options, method, *actives.split("+"))

    pond = option("cyperus_rotundus", "tall_fescue", "pond", actives="halosulfuron-methyl")
    assert pond.suited == "wait" and "distance to water" in words(pond)
    assert option("cyperus_rotundus", "tall_fescue", actives="halosulfuron-methyl").suited == "yes"
    beds = option("trifolium_repens", "zoysia", "edibles", actives="triclopyr+clopyralid")
    assert beds.suited == "no" and "clippings" in words(beds)
    bees = option("trifolium_repens", "couch", "bees", stage="flowering", actives="mecoprop+dicamba")
    assert bees.suited == "wait" and "mow the flowers off" in words(bees)
    assert "kept off" in words(option("trifolium_repens", "couch", "grazing", actives="mecoprop+dicamba"))


def test_cautions_follow_the_case(control: Control) -> None:
    made = plan(control, Case(("trifolium_repens",), 5, "zoysia", near=("pets", "children")))
    told = " ".join(caution.text for caution in made.cautions)
    for part in (
        "label comes first",
        "licence",
        "protective",
        "Drift",
        "waterways",
        "until it has dried",
        "hens",
        "burrs",
    ):
        assert part in told, part
    assert "landfill" in told, "clopyralid is among the options"
    without = plan(control, Case(("soliva_sessilis",), 6, "couch"))
    assert "landfill" not in " ".join(caution.text for caution in without.cautions)


def test_a_ban_of_a_state_is_kept(control: Control) -> None:
    def suited(month: int, state: str | None) -> str:
        case = Case(("taraxacum_officinale",), month, "couch", state=state)
        return the(plan(control, case).options, "selective", "2,4-D").suited

    # Out of its season (April, May, September and October) it waits, where the ban does not rule it out.
    assert [suited(m, "TAS") for m in (4, 5, 8, 9, 10, 12)] == ["wait", "yes", "wait", "wait", "no", "no"]
    assert [suited(m, "VIC") for m in (4, 5, 8, 9, 10, 12)] == ["yes", "yes", "wait", "yes", "yes", "wait"]
    assert suited(10, None) == "yes"
    september = the(
        plan(control, Case(("taraxacum_officinale",), 9, "couch", state="TAS")).options, "selective", "2,4-D"
    )
    assert [reason.factor for reason in september.against] == ["law"], "not its season, which September is"
    law = plan(control, Case(("taraxacum_officinale",), 5, state="SA")).law
    assert len(law) >= 3 and "Not confirmed" in law[-1].text


def test_who_is_exempt_comes_first(control: Control) -> None:
    """DPIRD (2020), domestic use of pesticides: the grounds of a home are exempt in Western Australia."""
    law = plan(control, Case(("taraxacum_officinale",), 5, "couch", state="WA")).law
    assert law[0].text.startswith("Exempt, Western Australia")
    assert plan(control, Case(("poa_annua",), 5, "kikuyu")).law == (), "no state was given"


def test_cover_stage_and_place_are_judged(control: Control) -> None:
    assert the(plan(control, Case(("soliva_sessilis",), 6, cover=60)).options, "hand").suited == "no"
    assert the(plan(control, Case(("soliva_sessilis",), 6, cover=10)).options, "hand").suited == "yes"
    seeding = plan(control, Case(("soliva_sessilis",), 6, "couch", stage="seeding")).options
    assert the(seeding, "selective", "bromoxynil", "MCPA").suited == "wait"
    up = plan(control, Case(("soliva_sessilis",), 3, "couch", stage="seedling")).options
    assert "next season" in words(the(up, "pre_emergent", "isoxaben"))
    bed = plan(control, Case(("soliva_sessilis",), 6, "buffalo", place="bed")).options
    assert the(bed, "cover").suited == "yes"
    assert not [option for option in bed if option.method == "selective"], "what is only for a lawn is no choice here"
    assert "keep it off the lawn" in words(the(bed, "non_selective", "glyphosate"))


WITHOUT_SEED = {  # of these no seed is known here, or hardly any, and the answer "in seed" points to another plant
    "tradescantia_fluminensis": "not known to set seed here",
    "oxalis_articulata": "not known to set seed here",
    "oxalis_pes_caprae": "little or no seed here",
    "oxalis_debilis": "little or no seed here",
    "oxalis_latifolia": "little or no seed here",
    "moss_in_lawns": "have no seed",
    "algae_on_turf": "have no seed",
}


@pytest.mark.parametrize("species", WITHOUT_SEED)
def test_no_seed_heads_are_bagged_of_a_plant_that_sets_no_seed_here(species: str, control: Control) -> None:
    assert control.flora.species[species].season.seeds is None
    for place in ("lawn", "bed"):
        now = plan(control, Case((species,), 6, "couch", place=place, stage="seeding")).summary[0]
        assert now.startswith("Now: check its name") and WITHOUT_SEED[species] in now
        assert "bag the seed heads" not in now
    assert "check its name" not in " ".join(plan(control, Case((species,), 6, "couch", stage="young")).summary)


@pytest.mark.parametrize("species", WITHOUT_SEED)
def test_in_seed_puts_nothing_off_on_a_plant_that_sets_no_seed_here(species: str, control: Control) -> None:
    for month, place in product(control.flora.species[species].season.seen, get_args(Place)):
        said, none = (plan(control, Case((species,), month, "couch", place, stage=s)) for s in ("seeding", None))
        assert said.options == none.options, (month, place)


def test_burrs_are_taken_up_first_only_where_the_plant_that_has_them_is_in_seed(control: Control) -> None:
    both = ("soliva_sessilis", "poa_annua")
    july = plan(control, Case(species=both, month=7, lawn="buffalo", together=True)).summary[0]
    assert july.startswith("Now: bag the seed heads first"), "winter grass is in seed then, bindii is not"
    november = plan(control, Case(species=both, month=11, lawn="buffalo", together=True)).summary[0]
    assert november.startswith("Now: take up the burrs first")


def test_seed_heads_are_bagged_where_one_of_several_plants_sets_seed(control: Control) -> None:
    both = plan(control, Case(("tradescantia_fluminensis", "stellaria_media"), 6, "couch", stage="seeding"))
    assert len(both.first) == 2 and both.summary[0].startswith("Now: bag the seed heads first")


def test_a_plant_that_may_stay_may_stay_in_seed_too(control: Control) -> None:
    seeding = plan(control, Case(("cotula_australis",), 12, "couch"))
    assert seeding.options[0].method == "leave"
    assert seeding.summary[0].startswith("Now: leave it, or bag the seed heads first; pull it")


def test_a_shortlist_with_a_plant_that_may_stay_asks_first_which_it_is(control: Control) -> None:
    bindii_or_cotula = plan(control, Case(("soliva_sessilis", "cotula_australis"), 7, "couch")).summary[0]
    assert bindii_or_cotula.startswith("Now: find out which it is, as common cotula may stay; pull")


def test_what_suits_one_of_several_plants_now_is_not_called_nothing_to_do(control: Control) -> None:
    oxalis = plan(control, Case(("oxalis_pes_caprae", "oxalis_latifolia"), 7, "couch", together=True))
    assert oxalis.summary[0].startswith("Now: for soursob only, mow it again and again")


def test_what_has_no_month_in_common_waits_for_the_name(control: Control) -> None:
    case = Case(("oxalis_articulata", "oxalis_latifolia", "oxalis_pes_caprae"), 7, "couch")
    assert "Only once you know which it is: fluroxypyr (group 4)." in plan(control, case).summary[1]


@pytest.mark.parametrize("species", ["axonopus_compressus", "axonopus_fissifolius", "stenotaphrum_secundatum"])
def test_a_grass_without_rhizomes_has_none_to_shoot_again(species: str, control: Control) -> None:
    for place in ("lawn", "bed"):
        made = plan(control, Case((species,), 1, "kikuyu", place))
        said = " ".join([s.text for s in made.first] + [text for o in made.options for text in o.leaves])
        assert "hizome" not in said


def test_what_a_plan_says_of_re_laying_a_lawn_says_where_it_is_planned(control: Control) -> None:
    """On a lawn all that kills the whole patch is ruled out."""
    said = [s.text for treatment in control.treatments.values() for s in treatment.about if "re-lay it" in s.text]
    assert said and all("Ask for the plan of a bed" in text for text in said)


def test_a_lawn_is_not_weeded_out_of_itself(control: Control) -> None:
    for species, lawn in (
        ("cynodon_dactylon", "couch"),
        ("cenchrus_clandestinus", "kikuyu"),
        ("lolium_perenne", "ryegrass"),
    ):
        made = plan(control, Case((species,), 12, lawn))
        assert made.itself and made.options == made.only == () and "this lawn itself" in made.summary[0]
        bed = plan(control, Case((species,), 12, lawn, place="bed"))
        assert not bed.itself and bed.by("yes"), "in a bed it is a weed like another"


def test_in_a_shortlist_the_lawn_itself_is_ruled_out_for_what_it_is(control: Control) -> None:
    """What cannot be dug out of a couch lawn, as it may be the lawn, is not said to suit both."""
    made = plan(control, Case(("cynodon_dactylon", "paspalum_dilatatum"), 12, "couch"))
    assert not made.itself and "This lawn is couch itself" in " ".join(words(o) for o in made.options)
    assert not [option for option in made.by("yes") if option.actives]


def test_a_shortlist_gets_what_applies_to_all_and_notes_where_they_differ(control: Control) -> None:
    made = plan(control, Case(("taraxacum_officinale", "hypochaeris_radicata"), 5, "couch"))
    alone = [plan(control, Case((s,), 5, "couch")) for s in made.case.species]
    keys = [{o.key for o in p.options} for p in alone]
    assert {o.key for o in made.options} == keys[0] & keys[1]
    hand = the(made.options, "hand")
    assert {"crown", "taproot", "whole plant"} <= set(hand.out)
    assert made.distinctions and made.distinctions[0].separate_by
    wide = plan(control, Case(("trifolium_repens", "oxalis_corniculata"), 5, "buffalo"))
    assert wide.only and {o.species for o in wide.only} == {("trifolium_repens",), ("oxalis_corniculata",)}
    ranks = {"yes": 0, "wait": 1, "no": 2}
    for option in wide.options:
        worst = max(
            ranks[o.suited]
            for s in wide.case.species
            for o in plan(control, Case((s,), 5, "buffalo")).options
            if o.key == option.key
        )
        assert ranks[option.suited] == worst
    assert json.loads(json.dumps(made.as_json(control)))["species"] == list(made.case.species)


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ({"lawn": "bufalo"}, "did you mean buffalo"),
        ({"species": ("soliva_sesilis",)}, "did you mean soliva_sessilis"),
        ({"species": ()}, "no weed was named"),
        ({"month": 13}, "give 1 to 12"),
        ({"cover": 140.0}, "impossible"),
        ({"state": "NZ"}, "state 'NZ' is not known"),
        ({"near": ("kids",)}, "near 'kids' is not known"),
        ({"stage": "old"}, "stage 'old' is not known"),
        ({"place": "roof"}, "place 'roof' is not known"),
        ({"used": (77,)}, "group 77"),
    ],
)
def test_a_case_with_an_unknown_word_is_refused(change: dict[str, Any], told: str, control: Control) -> None:
    case = Case(**{"species": ("soliva_sessilis",), "month": 6, **change})
    with pytest.raises(AnswerError, match=re.escape(told)):
        plan(control, case)


def test_rain_fast_hours_are_the_published_ones_or_said_to_be_assumed(control: Control) -> None:
    option = the(plan(control, Case(("soliva_sessilis",), 6, "couch")).options, "selective", "bromoxynil", "MCPA")
    hours = {a.name: (a.rain_fast_hours, a.rain_fast_published) for a in option.actives}
    assert hours == {"bromoxynil": (2.0, True), "MCPA": (6.0, False)}
    wants_rain = the(plan(control, Case(("soliva_sessilis",), 3)).options, "pre_emergent", "isoxaben")
    assert wants_rain.actives[0].rain_fast_hours is None


def test_options_are_timed_by_the_season_of_the_plant(control: Control) -> None:
    def months(when: When, species: str) -> tuple[int, ...]:
        return best_months(when, control.flora.species[species], control.methods)

    assert months("before_germination", "soliva_sessilis") == (2, 3)
    assert months("flowers", "soliva_sessilis") == (8, 9, 10, 11, 12)
    assert months("young", "stellaria_media") == (3, 4, 5, 6), "an annual that seeds is no longer young"
    assert set(months("young", "euphorbia_peplus")) == set(range(3, 12)), (
        "what seeds all year is young when it comes up"
    )
    assert months("any", "poa_annua") == tuple(range(1, 13))
    assert in_order({12, 1, 2, 6}) == (12, 1, 2, 6)


def test_a_year_has_the_stages_and_the_best_months(control: Control) -> None:
    year = year_of(control, "soliva_sessilis")
    assert year.stages["germinates"] == (3, 4, 5, 6)
    assert year.best["selective"] == (5, 6, 7, 8)
    for species in control.flora.ids:
        assert year_of(control, species).best, species


@pytest.mark.parametrize(
    ("file", "old", "new", "told"),
    [
        (
            "plans/soliva_sessilis.yaml",
            "kind: winter_annual_broadleaf",
            "kind: winter_anual",
            "winter_anual is not known",
        ),
        ("plans/soliva_sessilis.yaml", "bromoxynil, MCPA", "bromoxinil, MCPA", "did you mean bromoxynil"),
        ("plans/soliva_sessilis.yaml", "months: [3, 4], ", "months: [3, 4], when: any, ", "either when or months"),
        ("plans/soliva_sessilis.yaml", "[CLEM_BURWEED]", "[CLEM_BURWED]", "did you mean CLEM_BURWEED"),
        ("plans/soliva_sessilis.yaml", "source: [CLEM_BURWEED]", "source: [CP]", "says published"),
        ("control/tolerance.yaml", "buffalo: {rating: injures", "buffalo: {rating: bad", "rating"),
        ("control/actives.yaml", "  use: pre_emergent", "  uses: pre_emergent", "no such field"),
        ("control/cautions.yaml", "label:", "label: 3\nother:", "must be a mapping of fields"),
        ("control/kinds.yaml", "actives: [isoxaben], ", "", "must name actives"),
    ],
)
def test_a_wrong_file_is_named(file: str, old: str, new: str, told: str, key: Key, tmp_path: Path) -> None:
    configs = tmp_path / "configs"
    for folder in ("control", "plans"):
        shutil.copytree(CONFIGS / folder, configs / folder)
    shutil.copy(CONFIGS / "spray.yaml", configs / "spray.yaml")
    path = configs / file
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new, 1), encoding="utf-8")
    with pytest.raises(FloraError, match=re.escape(told)) as raised:
        load_control(key.flora, configs)
    assert str(path) in str(raised.value)
