"""Properties that hold for all answers (hypothesis)."""

from __future__ import annotations

import random
from pathlib import Path
from typing import Any

import numpy as np
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from model.flora import Character
from model.flora.character import PARTS
from model.identify import Key, Observation, identify
from model.interview import Interview
from model.traits import answers_text, check_answer, check_answers, out_of_sight, read_answers
from model.traits.likelihood import USUAL

QUIET = settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])


def an_answer(draw: st.DrawFn, character: Character) -> Any:
    if character.kind == "choice":
        return draw(st.sampled_from(list(character.states)))
    if character.kind == "month":
        return draw(st.integers(1, 12))
    low, high = character.domain or (1, 12)
    return draw(st.floats(low, high, allow_nan=False))


@st.composite
def another_answer(draw: st.DrawFn, character: Character) -> Any:
    return an_answer(draw, character)


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
    assert np.array_equal(key.posterior(Observation(answers)), key.posterior(Observation(dict(mixed))))


@QUIET
@given(given_answers=answer_sets(), unsure=st.integers(0, 60))
def test_unsure_changes_nothing(key: Key, given_answers: dict[str, Any], unsure: int) -> None:
    characters = key.flora.characters
    name = list(characters)[unsure]
    without = {c: a for c, a in given_answers.items() if c != name}
    p = key.posterior(Observation(check_answers(characters, without)))
    assert np.array_equal(p, key.posterior(Observation(check_answers(characters, {**without, name: "unsure"}))))


@QUIET
@given(given_answers=answer_sets(), month=st.one_of(st.none(), st.integers(1, 12)))
def test_probabilities_sum_to_one(key: Key, given_answers: dict[str, Any], month: int | None) -> None:
    p = key.posterior(Observation(check_answers(key.flora.characters, given_answers), month=month))
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
    before = key.posterior(Observation({c: a for c, a in answers.items() if c != name}))
    after = key.posterior(Observation(answers))
    table = key.likelihoods.tables[name]
    values = answer if isinstance(answer, tuple) else (answer,)
    columns = [table.column(value) for value in values]
    usual = (table.truth[:, columns] >= USUAL * table.truth.max(axis=1, keepdims=True)).all(axis=1)
    agree, contradict = [], []
    for row in range(len(key.flora.ids)):
        verdict = table.verdict(answer, row)
        if verdict == "agrees" and usual[row]:
            agree.append(row)
        elif verdict == "disagrees":
            contradict.append(row)
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


def sights() -> st.SearchStrategy[Any]:
    """What can be seen: not told, or one or more parts."""
    some = st.sets(st.sampled_from(PARTS), min_size=1)
    return st.one_of(st.none(), some.map(lambda parts: tuple(part for part in PARTS if part in parts)))


@QUIET
@given(
    given_answers=answer_sets(), more=answer_sets(1), visible=sights(), month=st.one_of(st.none(), st.integers(1, 12))
)
def test_answering_and_going_back_gives_the_state_before(
    key: Key, given_answers: dict[str, Any], more: dict[str, Any], visible: Any, month: int | None
) -> None:
    start = Interview(key, None, month, None, check_answers(key.flora.characters, given_answers), visible)
    states, hidden = [start], out_of_sight(key.flora.characters, visible)
    for character, given_one in more.items():
        if character not in start.answers and character not in hidden:
            states.append(states[-1].answer(character, given_one))
            assert list(states[-1].answers) == [*states[-2].answers, character]
    now = states[-1]
    for before in reversed(states[:-1]):
        now = now.back()
        assert now == before and list(now.answers.items()) == list(before.answers.items())
    assert start.finding == now.finding, "the same is known, and the same is asked next"


@QUIET
@given(given_answers=answer_sets(1), visible=sights(), data=st.data())
def test_any_mix_of_answers_and_ways_back_is_a_list_that_grows_and_shrinks_at_its_end(
    key: Key, given_answers: dict[str, Any], visible: Any, data: st.DataObject
) -> None:
    interview, expected, hidden = Interview(key, visible=visible), [], out_of_sight(key.flora.characters, visible)
    for character, given_one in given_answers.items():
        for _ in range(data.draw(st.integers(0, 2))):
            interview = interview.back()
            latest = next((pair for pair in reversed(expected) if pair[0] not in hidden), None)
            expected = [pair for pair in expected if pair is not latest]
        interview = interview.answer(character, given_one)
        expected.append((character, check_answer(key.flora.characters[character], given_one)))
        assert list(interview.answers.items()) == expected


@QUIET
@given(given_answers=answer_sets(1), visible=sights(), data=st.data())
def test_changing_one_answer_changes_only_that(
    key: Key, given_answers: dict[str, Any], visible: Any, data: st.DataObject
) -> None:
    start = Interview(key, None, 7, None, check_answers(key.flora.characters, given_answers), visible)
    changed = data.draw(st.sampled_from(list(given_answers)))
    other = data.draw(st.one_of(st.just("unsure"), another_answer(key.flora.characters[changed])))
    after = start.answer(changed, other)
    assert list(after.answers) == list(start.answers), "it keeps its place"
    assert {c: a for c, a in after.answers.items() if c != changed} == {
        c: a for c, a in start.answers.items() if c != changed
    }
    assert after.answers[changed] == check_answer(key.flora.characters[changed], other)
    assert after.visible == start.visible and after.answer(changed, given_answers[changed]) == start


@QUIET
@given(given_answers=answer_sets(), before=sights(), visible=sights())
def test_what_can_be_seen_sets_answers_aside_and_brings_them_back(
    key: Key, given_answers: dict[str, Any], before: Any, visible: Any
) -> None:
    start = Interview(key, answers=check_answers(key.flora.characters, given_answers), visible=before)
    seen = start.see(visible)
    hidden = out_of_sight(key.flora.characters, visible)
    assert list(seen.answers.items()) == list(start.answers.items()) and seen.see(before) == start
    assert seen.finding.set_aside == tuple(c for c in start.answers if c in hidden)
    assert seen.question is None or seen.question.character.id not in hidden
    counted = {c: a for c, a in start.answers.items() if c not in hidden}
    assert seen.finding.candidates == Interview(key, answers=counted, visible=visible).finding.candidates


@QUIET
@given(given_answers=answer_sets(), visible=sights())
def test_an_answer_file_that_we_write_is_read_in_the_same_order(
    key: Key, tmp_path: Path, given_answers: dict[str, Any], visible: Any
) -> None:
    file = tmp_path / "answers.yaml"
    # A reading is written to six figures, more than any ruler has.
    told = {c: a if not isinstance(a, float) else float(f"{a:g}") for c, a in given_answers.items()}
    answers = check_answers(key.flora.characters, told)
    file.write_text(answers_text(answers, visible), encoding="utf-8")
    read, seen = read_answers(file, key.flora.characters)
    assert list(read.items()) == list(answers.items()) and seen == visible
