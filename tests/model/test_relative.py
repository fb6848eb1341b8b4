"""A relative that is not listed: its probability and the questions that tell."""

from __future__ import annotations

import numpy as np
import pytest

from model.identify import CONFIRMED, Key, identify
from model.traits import check_answers, expected_evidence, relative_probability
from model.traits.relative import LEAST_EVIDENCE

DANDELION = "taraxacum_officinale"
FITS = {"milky_sap": "present", "stalk_hollow": "present", "flower_stalk": "leafless_single", "spines": "none"}


def probability(key: Key, answers: dict[str, object], photo: float = 1.0, looks: int = 1) -> float:
    given = check_answers(key.flora.characters, answers)
    return relative_probability(key.likelihoods, given, key.index[DANDELION], 0.15, 0.7, photo, looks)


def test_it_is_bayes_rule_on_a_mixture(key: Key) -> None:
    table = key.likelihoods.tables["milky_sap"]
    own, large = table.likelihood(("present",))[[key.index[DANDELION], -1]]
    relative, listed = 0.15 * (0.7 * own + 0.3 * large), 0.85 * own
    assert probability(key, {"milky_sap": "present"}) == pytest.approx(relative / (relative + listed))


def test_each_answer_that_fits_lowers_it_and_one_that_does_not_raises_it(key: Key) -> None:
    found = [probability(key, dict(list(FITS.items())[:n])) for n in range(len(FITS) + 1)]
    assert found == sorted(found, reverse=True) and found[-1] < 0.6 * found[0]
    assert probability(key, {"leaf_build": "three_leaflets"}) > 0.3


def test_a_photo_can_only_speak_for_the_lead(key: Key) -> None:
    assert probability(key, {}, photo=0.01) < 0.12
    assert probability(key, {}, photo=100.0) == pytest.approx(0.15)


@pytest.mark.parametrize("looks", [1, 2, 3, 5])
def test_photos_of_the_lead_count_as_so_many_answers(key: Key, looks: int) -> None:
    odds = 0.15 / 0.85 * (0.7 + 0.3 * 0.01) ** looks
    assert probability(key, {}, 0.01, looks) == pytest.approx(odds / (1 + odds))
    assert probability(key, {}, 1.0, looks) == probability(key, {}, 100.0, looks) == pytest.approx(0.15), (
        "photos that do not speak for the lead say nothing, however many answers they stand for"
    )
    with_answers = probability(key, FITS, 0.01, looks)
    assert with_answers / (1 - with_answers) == pytest.approx(
        probability(key, FITS) / (1 - probability(key, FITS)) * 0.703**looks
    )


def test_expected_evidence_is_the_expected_fall_in_log_odds(key: Key) -> None:
    row, gains = key.index[DANDELION], expected_evidence(key.likelihoods, key.index[DANDELION], 0.7)
    table = key.likelihoods.tables["milky_sap"]
    plain = sum(
        p * -np.log((0.7 * p + 0.3 * large) / p) for p, large in zip(table.rows[row], table.rows[-1], strict=True)
    )
    assert gains[list(key.flora.characters).index("milky_sap")] == pytest.approx(plain)
    assert (gains >= 0).all()
    # A dandelion has no ligule: nothing is to be learned from one.
    assert gains[list(key.flora.characters).index("ligule")] == 0


def test_a_name_is_proven_only_when_a_relative_is_improbable_too(key: Key) -> None:
    answers = {"milky_sap": "present", "stalk_hollow": "present", "flower_stalk": "leafless_single"}
    given = check_answers(key.flora.characters, answers)
    found = identify(key, given)
    steps = 0
    while found.next_question is not None and steps < 25:
        assert found.status != "confirmed"
        character = found.next_question.character
        shown = key.likelihoods.tables[character.id]
        given[character.id] = check_answers(
            key.flora.characters, {character.id: shown.answers[int(shown.truth[key.index[DANDELION]].argmax())]}
        )[character.id]
        found, steps = identify(key, given), steps + 1
    assert found.status == "confirmed" and found.species == DANDELION
    assert found.relative_probability is not None and found.relative_probability <= 1 - CONFIRMED
    assert 0 < LEAST_EVIDENCE < 1


def test_where_a_relative_is_the_more_probable_nothing_is_named(key: Key) -> None:
    """A garden daisy with pink heads on tall stalks: value from memory."""
    answers = {"flower_build": "daisy", "flower_colour": "pink", "leaf_build": "simple", "leaf_arrangement": "basal"}
    answers |= {"disc_colour": "yellow", "flower_stalk": "leafless_single", "seed_structure": "parachutes"}
    given = check_answers(key.flora.characters, {**answers, "flower_width": 60, "stalk_height": 35, "petal_length": 25})
    found = identify(key, given)
    assert found.status in ("undecided", "unlisted") and found.species is None
