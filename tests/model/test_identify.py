"""The Finding: statuses, proof against look-alikes, unlisted, override and the prior."""

from __future__ import annotations

import numpy as np
import pytest

from model.errors import SwardkeyError
from model.identify import CONFIRMED, Key, Observation, identify
from model.interview import Interview
from model.prior import prior
from model.proof import outside_left
from model.traits import Answers, check_answers
from tests.claims.observer import SimulatedPhoto


def given(key: Key, **answers: object) -> Answers:
    return check_answers(key.flora.characters, answers)


def a_photo(key: Key, species: str, share: float) -> SimulatedPhoto:
    ids = key.flora.ids
    p = {s: share if s == species else (0.98 - share) / (len(ids) - 1) for s in ids}
    return SimulatedPhoto({s: float(np.log(v * len(ids))) for s, v in p.items()}, float(np.log(0.02)), p)


BINDII = {
    "leaf_build": "finely_cut",
    "flower_build": "button",
    "flower_stalk": "none",
    "seed_structure": "winged_spine_seed",
    "seed_wings": "broad",
    "leaf_hairs": "soft",
}


def test_without_input_it_is_undecided_and_flat(key: Key) -> None:
    finding = identify(key, {})
    p = key.posterior(Observation({}))
    assert finding.status == "undecided" and finding.species is None and finding.next_question is not None
    assert np.allclose(p[:-1], p[0])


def test_a_photo_alone_never_confirms_however_sure(key: Key) -> None:
    finding = identify(key, {}, a_photo(key, "taraxacum_officinale", 0.979))
    assert finding.status in ("likely", "undecided")
    assert finding.candidates[0].species == "taraxacum_officinale"
    assert finding.candidates[0].photo_probability == pytest.approx(0.979)


def test_confirmed_needs_every_look_alike_excluded(key: Key) -> None:
    """At every step of an interview, confirmed is what all the rules together allow, and nothing else."""
    from tests.claims.observer import SimulatedObserver

    observer, interview, statuses = SimulatedObserver(key), Interview(key, answers=given(key, **BINDII)), []
    row = key.index["soliva_sessilis"]
    assert interview.finding.candidates[0].species == "soliva_sessilis"
    while True:
        finding = interview.finding
        stands = finding.candidates[0].probability >= CONFIRMED and finding.hangs_on is None
        out = finding.relative_probability is not None and finding.relative_probability <= 1 - CONFIRMED
        inside = finding.still_to_exclude == ()
        outside = outside_left(key.likelihoods, key.flora, interview.answers, row) == ()
        assert (finding.status == "confirmed") == (stands and out and inside and outside)
        assert (finding.stop is None) == (finding.next_question is not None)
        statuses.append(finding.status)
        if finding.next_question is None:
            break
        asked = finding.next_question.character
        interview = interview.answer(asked.id, observer.likeliest("soliva_sessilis", asked))
    assert statuses[-1] == "confirmed" and len(statuses) > 1
    only_photo = identify(key, given(key, life_span="annual"), a_photo(key, "soliva_sessilis", 0.979))
    assert only_photo.status != "confirmed"
    assert set(only_photo.still_to_exclude) <= set(key.flora.look_alikes["soliva_sessilis"])


def test_answers_that_fit_nothing_are_unlisted(key: Key) -> None:
    odd = given(
        key, leaf_build="grassy", milky_sap="present", flower_build="pea", underground="tuber_chain",
        seed_structure="berry", crushed_smell="onion", leaf_edge="prickly",
    )  # fmt: skip
    finding = identify(key, odd)
    assert finding.status == "unlisted" and finding.unlisted_probability > 0.5 and finding.species is None


def test_override_names_the_deciding_answers_and_what_the_other_would_have_shown(key: Key) -> None:
    photo = a_photo(key, "taraxacum_officinale", 0.80)
    answers = given(
        key, flower_stalk="leafless_branched", leaf_hairs="bristly", stalk_hollow="absent", outer_bracts="bristle_row"
    )
    finding = identify(key, answers, photo)
    over = finding.override
    assert finding.candidates[0].species == "hypochaeris_radicata"
    assert over is not None and over.photo_said == "taraxacum_officinale" and over.answers_say == "hypochaeris_radicata"
    assert {r["character"] for r in over.reasons} >= {"flower_stalk", "leaf_hairs"}
    ratios = [r["ratio"] for r in over.reasons]
    assert ratios == sorted(ratios, reverse=True)
    stalk = next(r for r in over.reasons if r["character"] == "flower_stalk")
    assert "one at its end" in stalk["would_have_shown"]
    assert "flower_stalk" in next(c for c in finding.candidates if c.species == "taraxacum_officinale").disagrees


def test_a_photo_never_rules_a_species_out(key: Key) -> None:
    """Sure of dandelion, the photo is still overturned by a few answers that fit bindii alone."""
    finding = identify(key, given(key, **BINDII), a_photo(key, "taraxacum_officinale", 0.979))
    assert finding.candidates[0].species == "soliva_sessilis"


def test_a_region_weighs_by_how_common_the_weed_is_and_an_unknown_one_is_named(key: Key) -> None:
    p = prior(key.flora, key.prior_config, region="southern_australia")
    assert p[key.index["soliva_sessilis"]] > p[key.index["apera_spica_venti"]]
    assert p.sum() == pytest.approx(1.0)
    with pytest.raises(SwardkeyError, match="did you mean southern_australia"):
        prior(key.flora, key.prior_config, region="south_australia")


def test_the_plant_that_shows_both_states_comes_before_one_that_shows_one(key: Key) -> None:
    p = key.posterior(Observation(given(key, leaf_arrangement=["basal", "alternate"])))
    assert p[key.index["sonchus_oleraceus"]] > p[key.index["taraxacum_officinale"]]
