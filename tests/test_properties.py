"""Properties that hold for all answers (hypothesis)."""

from __future__ import annotations

import random
from typing import Any

import numpy as np
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from model.flora import Character
from model.identify import Key, identify
from model.traits import check_answers

QUIET = settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])


def an_answer(draw: st.DrawFn, character: Character) -> Any:
    if character.kind == "choice":
        return draw(st.sampled_from(list(character.states)))
    if character.kind == "month":
        return draw(st.integers(1, 12))
    low, high = character.domain or (1, 12)
    return draw(st.floats(low, high, allow_nan=False))


@st.composite
def answer_sets(draw: st.DrawFn, least: int = 0) -> dict[str, Any]:
    characters = Key().flora.characters if not hasattr(answer_sets, "known") else answer_sets.known
    answer_sets.known = characters  # type: ignore[attr-defined]
    chosen = draw(st.lists(st.sampled_from(list(characters)), min_size=least, max_size=8, unique=True))
    return {c: an_answer(draw, characters[c]) for c in chosen}


@QUIET
@given(given_answers=answer_sets(2), seed=st.integers(0, 9))
def test_order_of_answers_is_irrelevant(key: Key, given_answers: dict[str, Any], seed: int) -> None:
    answers = check_answers(key.flora.characters, given_answers)
    mixed = list(answers.items())
    random.Random(seed).shuffle(mixed)
    assert np.array_equal(key.posterior(answers), key.posterior(dict(mixed)))


@QUIET
@given(given_answers=answer_sets(), unsure=st.integers(0, 60))
def test_unsure_changes_nothing(key: Key, given_answers: dict[str, Any], unsure: int) -> None:
    characters = key.flora.characters
    name = list(characters)[unsure]
    without = {c: a for c, a in given_answers.items() if c != name}
    p = key.posterior(check_answers(characters, without))
    assert np.array_equal(p, key.posterior(check_answers(characters, {**without, name: "unsure"})))


@QUIET
@given(given_answers=answer_sets(), month=st.one_of(st.none(), st.integers(1, 12)))
def test_probabilities_sum_to_one(key: Key, given_answers: dict[str, Any], month: int | None) -> None:
    p = key.posterior(check_answers(key.flora.characters, given_answers), month=month)
    assert np.isfinite(p).all() and (p > 0).all()
    assert abs(p.sum() - 1.0) < 1e-9


@QUIET
@given(given_answers=answer_sets(1))
def test_an_answer_never_moves_a_plant_it_agrees_with_below_one_it_contradicts(
    key: Key, given_answers: dict[str, Any]
) -> None:
    """For frequency words above `rarely`: what is seldom true of a plant may speak against it."""
    answers = check_answers(key.flora.characters, given_answers)
    name, answer = list(answers.items())[-1]
    before = key.posterior({c: a for c, a in answers.items() if c != name})
    after = key.posterior(answers)
    table = key.likelihoods.tables[name]
    agree, contradict = [], []
    for row in range(len(key.flora.ids)):
        verdict = table.verdict(answer, row)
        (agree if verdict == "agrees" else contradict if verdict == "disagrees" else []).append(row)
    for a in agree:
        for c in contradict:
            assert after[a] / after[c] >= before[a] / before[c] * (1 - 1e-9)


@QUIET
@given(given_answers=answer_sets())
def test_candidates_come_best_first_and_photo_alone_never_confirms(key: Key, given_answers: dict[str, Any]) -> None:
    finding = identify(key, check_answers(key.flora.characters, given_answers))
    chances = [c.probability for c in finding.candidates]
    assert chances == sorted(chances, reverse=True)
    assert finding.status != "confirmed" or given_answers
