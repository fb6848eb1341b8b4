"""Questions for somebody who cannot be asked one after the other: few, answerable, and nearly as good as in turn."""

from __future__ import annotations

from typing import Any

import pytest

from model.at_once import MOST, READINGS, _split, questions_at_once
from model.flora.character import PARTS
from model.identify import Key
from model.interview import Interview
from model.prior import region_named
from tests.app.page_visitor import typical

SPECIES = (
    "soliva_sessilis",
    "taraxacum_officinale",
    "poa_annua",
    "trifolium_repens",
    "oxalis_corniculata",
    "hypochaeris_radicata",
    "stellaria_media",
    "plantago_lanceolata",
    "cyperus_rotundus",
    "medicago_polymorpha",
)


def start(key: Key, **known: Any) -> Interview:
    return Interview(key, None, 10, region_named(key.prior_config, None), **known)


def test_the_first_is_what_would_be_asked_next_and_none_is_asked_twice(key: Key) -> None:
    for visible in (("leaves",), ("leaves", "flowers"), PARTS):
        interview = start(key, visible=visible)
        asked = [character.id for character in questions_at_once(interview)]
        assert interview.question is not None and asked[0] == interview.question.character.id
        assert len(set(asked)) == len(asked) == MOST
        after = interview.answer(asked[0], "unsure").answer("leaf_outline", "oval")
        assert "leaf_outline" not in [character.id for character in questions_at_once(after)]


def test_they_tell_nearly_as_much_as_as_many_in_turn(key: Key) -> None:
    at_once = in_turn = 0.0
    for species in SPECIES:
        sees = typical(key, species)
        one = other = start(key, visible=("leaves", "flowers"))
        for character in questions_at_once(one):
            one = one.answer(character.id, sees.get(character.id, "unsure"))
            question = other.question
            if question is not None:
                other = other.answer(question.character.id, sees.get(question.character.id, "unsure"))
        at_once += one.posterior[key.index[species]]
        in_turn += other.posterior[key.index[species]]
    assert at_once > 0.5 * in_turn > 0.25 * len(SPECIES)


def test_a_number_is_answered_in_every_course_by_several_readings(key: Key) -> None:
    course = start(key, visible=PARTS)
    courses = _split([(0.5, course), (0.5, course)], key.flora.characters["leaf_length"])
    given = [after.answers["leaf_length"] for _, after in courses]
    assert len(given) == 2 * len(READINGS) and all(isinstance(reading, float) for reading in given)
    assert sum(weight for weight, _ in courses) == pytest.approx(1)


@pytest.mark.parametrize("month", [1, 7, 10])
def test_where_nobody_said_what_can_be_seen_one_is_about_flowers_at_most(key: Key, month: int) -> None:
    parts = [character.part for character in questions_at_once(start(key))]
    assert set(parts) <= {"leaves", "flowers"} and parts.count("flowers") <= 1


def test_nobody_is_asked_for_a_lens_or_for_a_part_that_the_plant_hardly_has(key: Key) -> None:
    for visible in (("leaves",), PARTS):
        for character in questions_at_once(start(key, visible=visible)):
            assert character.effort != "lens" and not character.applies_when


def test_what_was_unsure_may_be_asked_of_who_has_the_plant(key: Key) -> None:
    unsure = start(key, visible=("leaves",))
    while (question := unsure.question) is not None:
        unsure = unsure.answer(question.character.id, "unsure")
    assert unsure.finding.stop == "too often unsure"
    assert {character.id for character in questions_at_once(unsure)} & set(unsure.answers)
    assert questions_at_once(unsure) == questions_at_once(start(key, visible=("leaves",)))


def test_after_the_last_question_what_would_decide_is_asked_for(key: Key) -> None:
    interview, sees = start(key, visible=("leaves",)), typical(key, "oxalis_corniculata")
    while (question := interview.question) is not None:
        interview = interview.answer(question.character.id, sees.get(question.character.id, "unsure"))
    deciding = [decider.character for decider in interview.finding.would_decide]
    assert deciding and [character.id for character in questions_at_once(interview)] == deciding[:MOST]
