"""Fifteen weeds in the right place: lawn, bed and paving. All of it is common practice, no source."""

from __future__ import annotations

import pytest

from model.control import Case, Control, JudgedOption, Plan, plan
from model.control.facts import Place


def of(made: Plan, method: str) -> list[JudgedOption]:
    """The options with a method."""
    return [option for option in made.options if option.method == method]


def on(control: Control, species: str, month: int, place: Place, lawn: str = "couch", **told: object) -> Plan:
    """The plan for a place."""
    return plan(control, Case((species,), month, lawn, place, **told))  # type: ignore[arg-type]


def one(made: Plan, method: str, *actives: str) -> JudgedOption:
    """The one option with a method and these actives."""
    (found,) = [o for o in of(made, method) if {active.name for active in o.actives} == set(actives)]
    return found


def has(made: Plan, method: str, *actives: str) -> bool:
    """Whether it is a choice there, be it that it waits."""
    return any(o.suited != "no" and {a.name for a in o.actives} >= set(actives) for o in of(made, method))


@pytest.mark.parametrize(
    ("lawn", "usual", "ruled_out"),
    [("buffalo", ("bromoxynil", "MCPA"), ("MCPA", "dicamba")), ("couch", ("MCPA", "dicamba"), None)],
)
def test_bindii_in_june_has_the_mix_of_its_lawn(
    lawn: str, usual: tuple[str, ...], ruled_out: tuple[str, ...] | None, control: Control
) -> None:
    """Common practice, no source."""
    made = on(control, "soliva_sessilis", 6, "lawn", lawn)
    first = of(made, "selective")[0]
    assert {active.name for active in first.actives} == set(usual)
    assert first.suited == "yes" and first.usual
    assert " + ".join(usual) in made.summary[1]
    if ruled_out is not None:
        assert one(made, "selective", *ruled_out).suited == "no"


def test_bindii_in_spring_is_a_matter_of_burrs_and_no_longer_of_spraying(control: Control) -> None:
    """Common practice, no source."""
    made = on(control, "soliva_sessilis", 10, "lawn")
    assert made.first and "burrs" in made.summary[0]
    assert of(made, "hand")[0].suited == "yes"
    assert not [o for o in of(made, "selective") if o.suited == "yes"]


@pytest.mark.parametrize("place", ["lawn", "bed", "paving"])
@pytest.mark.parametrize(
    "weed", ["taraxacum_officinale", "euphorbia_maculata", "euphorbia_peplus", "hypochaeris_radicata"]
)
def test_a_taproot_comes_out_whole_wherever_it_grows(weed: str, place: Place, control: Control) -> None:
    """Common practice, no source."""
    (hand,) = of(on(control, weed, 5, place), "hand")
    assert hand.suited == "yes"
    assert "taproot" in hand.out


def test_no_selective_herbicide_for_a_lawn_is_offered_in_beds_or_on_paving(control: Control) -> None:
    """Common practice, no source."""
    for species in control.treatments:
        for place in ("bed", "paving"):
            assert not [o for o in on(control, species, 6, place).options if o.method in ("selective", "wipe", "mow")]
        # A sheet or mulch that keeps light out kills a lawn, and a spray that kills everything does as well.
        made = on(control, species, 6, "lawn", "kikuyu")
        assert not [o for o in made.options if o.method in ("cover", "non_selective") and o.suited != "no"], species


def test_what_is_done_in_beds_and_on_paving_does_not_speak_of_the_turf(control: Control) -> None:
    """Common practice, no source: in a bed there is no turf to thicken and nothing to mow."""
    for species in control.treatments:
        for place in ("bed", "paving"):
            for option in on(control, species, 1, place).options:
                words = f"{option.short}. {option.do[0].text}".casefold()
                assert "turf" not in words and "warm-season lawns" not in words, (species, place, words)
                assert option.method != "cultural" or "mow" not in words, (species, place, words)


@pytest.mark.parametrize("oxalis", ["oxalis_pes_caprae", "oxalis_latifolia", "oxalis_debilis"])
def test_bulb_oxalis_in_a_bed_is_dug_with_its_soil_and_sprayed_at_the_first_flowers(
    oxalis: str, control: Control
) -> None:
    """Common practice, no source."""
    flowers = control.flora.species[oxalis].season.flowers or ()
    made = on(control, oxalis, 10, "bed")
    assert "bulbs" in of(made, "hand")[0].out and "soil" in of(made, "hand")[0].do[0].text
    spot = one(made, "non_selective", "glyphosate")
    assert set(spot.months) <= {(m - 2) % 12 + 1 for m in flowers} | set(flowers)
    assert len(spot.months) <= 2
    assert of(made, "pre_emergent")


def test_purslane_in_seed_is_bagged_first_and_young_on_paving_it_is_spotted(control: Control) -> None:
    """Common practice, no source."""
    for place in ("lawn", "bed", "paving"):
        seeding = on(control, "portulaca_oleracea", 2, place, stage="seeding")
        assert len(seeding.first) == 1 and "bag" in seeding.first[0].text
        assert of(seeding, "hand")[0].suited == "yes"
    young = on(control, "portulaca_oleracea", 12, "paving", stage="young")
    assert not young.first
    assert one(young, "non_selective", "glyphosate").suited == "yes"
    assert one(on(control, "portulaca_oleracea", 12, "lawn"), "non_selective", "glyphosate").suited == "no"


@pytest.mark.parametrize("lawn", ["couch", "buffalo"])
def test_nutgrass_in_summer_has_a_sedge_herbicide_on_couch_and_buffalo(lawn: str, control: Control) -> None:
    """Common practice, no source."""
    made = on(control, "cyperus_rotundus", 1, "lawn", lawn)
    assert of(made, "selective")[0].actives[0].name == "halosulfuron-methyl"
    assert of(made, "selective")[0].suited == "yes"
    assert "halosulfuron-methyl" in made.summary[1]
    assert one(on(control, "cyperus_rotundus", 7, "lawn", lawn), "selective", "halosulfuron-methyl").suited == "wait"
    assert one(made, "wipe", "glyphosate").suited == "yes"


def test_nutgrass_in_a_bed_is_dug_with_its_nuts_or_spotted(control: Control) -> None:
    """Common practice, no source."""
    made = on(control, "cyperus_rotundus", 11, "bed")
    assert of(made, "hand")[0].suited == "yes" and "nuts" in of(made, "hand")[0].short
    assert one(made, "non_selective", "glyphosate").suited == "yes"


@pytest.mark.parametrize("weed", ["nothoscordum_borbonicum", "allium_triquetrum"])
def test_onion_weeds_in_beds_have_a_spot_treatment_in_growth(weed: str, control: Control) -> None:
    """Common practice, no source."""
    made = on(control, weed, 9, "bed")
    assert one(made, "non_selective", "glyphosate").suited == "yes"
    assert one(on(control, weed, 1, "bed"), "non_selective", "glyphosate").suited == "wait"
    assert not of(on(control, weed, 9, "lawn"), "selective")
    assert has(on(control, weed, 6, "lawn"), "wipe", "glyphosate")


@pytest.mark.parametrize("place", ["bed", "paving"])
def test_pellitory_in_beds_and_on_paving_is_spotted_before_it_flowers(place: Place, control: Control) -> None:
    """Common practice, no source."""
    made = on(control, "parietaria_judaica", 8, place)
    spot = one(made, "non_selective", "glyphosate")
    assert spot.suited == "yes" and "before they flower" in spot.do[0].text
    cautions = " ".join(caution.text for caution in made.cautions)
    assert "asthma" in cautions and "rash" in cautions


def test_capeweed_is_dug_anywhere_and_has_a_selective_on_lawns(control: Control) -> None:
    """Common practice, no source."""
    for place in ("lawn", "bed", "paving"):
        assert of(on(control, "arctotheca_calendula", 6, place), "hand")[0].suited == "yes"
    made = on(control, "arctotheca_calendula", 6, "lawn")
    assert of(made, "selective")[0].suited == "yes"
    buffalo = on(control, "arctotheca_calendula", 6, "lawn", "buffalo")
    assert one(buffalo, "selective", "bromoxynil", "MCPA").suited == "yes"


def test_paspalum_is_cut_out_taken_out_of_couch_or_wiped_above_the_lawn(control: Control) -> None:
    """Common practice, no source."""
    made = on(control, "paspalum_dilatatum", 1, "lawn", cover=2)
    assert of(made, "hand")[0].suited == "yes"
    assert one(made, "selective", "foramsulfuron").suited == "yes"
    # Whether a product is sold here must be asked; nothing else stands in the way of it.
    assert {reason.factor for reason in one(made, "selective", "DSMA").against} <= {"registration"}
    buffalo = on(control, "paspalum_dilatatum", 1, "lawn", "buffalo")
    assert not [o for o in of(buffalo, "selective") if o.suited != "no"]
    for grass in (made, buffalo):
        wipe = one(grass, "wipe", "glyphosate")
        assert wipe.suited == "yes" and "dead" in wipe.do[0].text


def test_clover_is_left_first_and_fed_away_when_the_lawn_grows(control: Control) -> None:
    """Common practice, no source."""
    spring, winter = (on(control, "trifolium_repens", month, "lawn") for month in (9, 6))
    assert spring.options[0].method == winter.options[0].method == "leave"
    assert spring.summary[0].startswith("Now: leave it")
    assert of(spring, "cultural")[0].suited == "yes" and "nitrogen" in of(spring, "cultural")[0].short
    assert of(winter, "cultural")[0].suited == "wait"
    assert "hardly grows" in of(winter, "cultural")[0].against[0].text
    assert not of(on(control, "trifolium_repens", 9, "bed"), "leave")


def test_couch_in_a_bed_is_smothered_and_on_its_own_lawn_it_is_not_a_weed(control: Control) -> None:
    """Common practice, no source."""
    assert "smother" in of(on(control, "cynodon_dactylon", 1, "bed"), "cover")[0].do[0].text
    assert not of(on(control, "cynodon_dactylon", 1, "paving"), "cover")
    spot = one(on(control, "cynodon_dactylon", 1, "bed"), "non_selective", "glyphosate")
    assert spot.suited == "yes"
    assert on(control, "cynodon_dactylon", 1, "lawn", "couch").itself


def test_burr_medic_is_mown_or_pulled_before_the_burrs_and_raked_up_after(control: Control) -> None:
    """Common practice, no source."""
    august, november = (on(control, "medicago_polymorpha", month, "lawn") for month in (8, 11))
    assert of(august, "mow")[0].suited == of(august, "hand")[0].suited == "yes"
    assert not august.first
    assert of(november, "mow")[0].suited != "yes"
    assert november.first and "burrs" in november.first[0].text
    assert "burrs" in november.summary[0]


def test_sowthistle_is_pulled_and_clopyralid_is_for_winter_where_the_lawn_tolerates_it(control: Control) -> None:
    """Common practice, no source."""
    for place in ("lawn", "bed", "paving"):
        assert of(on(control, "sonchus_oleraceus", 7, place), "hand")[0].suited == "yes"
    for lawn in control.lawns:
        known = control.rating("clopyralid", lawn)
        july = one(on(control, "sonchus_oleraceus", 7, "lawn", lawn), "selective", "clopyralid")
        if known is None or known.standing == "from memory":
            assert july.suited == "wait", lawn
        else:
            assert july.suited == ("no" if known.rating == "injures" else "yes"), lawn
        january = one(on(control, "sonchus_oleraceus", 1, "lawn", lawn), "selective", "clopyralid")
        assert january.suited != "yes"
    assert control.rating("clopyralid", "couch") is not None
