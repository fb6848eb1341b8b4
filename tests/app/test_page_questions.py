"""What can be seen, one tap an answer, groups, several states, back and change: the step of the questions."""

from __future__ import annotations

import re
from dataclasses import replace
from itertools import pairwise
from typing import Any

import pytest

from app.present.finding import LEAST_NAMED
from app.web.candidates_page import look_alikes, ranking
from app.web.comparison import pair_of
from app.web.context import Context
from app.web.draft import Choosing, Draft, new_id
from app.web.effects import effects
from app.web.state_choices import choices, readings
from model.control import Control
from model.flora.character import MOST_AT_ONCE, PARTS
from model.identify import Key, Observation
from model.prior import region_named
from model.traits import out_of_sight
from tests.app.page_visitor import Person, context_of, typical

SEED = "seed_structure"  # many states, in groups


@pytest.fixture
def context(key: Key, control: Control) -> Context:
    return context_of(key, control)


@pytest.fixture
def person(context: Context) -> Person:
    """Someone who is asked the first question about a plant of which everything can be seen."""
    return Person(context).press("look", month="11").see()


def draft_in(person: Person) -> Draft:
    """What is kept of the person's plant."""
    draft = person.context.drafts.read(person.plant)
    assert draft is not None
    return draft


def ask_again(person: Person, character: str, *states: str) -> Person:
    """Answer a character, then have it asked again."""
    return person.press("answer", character, state=states).press("change", character)


def test_what_can_be_seen_is_asked_first_and_only_that_is_asked_about(context: Context) -> None:
    person = Person(context).press("look", month="7")
    assert person.title == "What can you see or reach?" and person.text.count('name="visible"') == len(PARTS)
    assert person.press("see").notices == ["Tick at least one: what can you see or reach?"]
    assert "tentacles" in person.press("see", visible=["tentacles"]).notices[0]
    person.see("roots", "leaves")
    assert draft_in(person).visible == ("leaves", "roots") and "leaves, roots" in person.text
    while person.asked():
        assert context.key.flora.characters[person.asked()].part in ("leaves", "roots")
        person.answer()
    again = Person(context, {"plant": person.plant})
    assert again.title == person.title and "leaves, roots" in again.text


def test_a_photo_does_not_answer_what_can_be_seen(context: Context) -> None:
    from tests.app.test_page import SAMPLE

    person = Person(context)
    file = context.drafts.folder.parent / "weed.jpg"
    file.parent.mkdir(parents=True, exist_ok=True)
    file.write_bytes(SAMPLE.read_bytes())
    person.add_photos(file)
    person.press("look").press("ask")
    assert person.title == "What can you see or reach?" and draft_in(person).visible is None
    shot = draft_in(person).shots[0]
    for step in (person.see(), person.press("unsure", person.asked())):
        assert f"/photo/{step.plant}/{shot.thumb}" in step.text and f"/photo/{step.plant}/{shot.file}" in step.text


def test_answers_on_what_is_not_there_are_set_aside_and_come_back(person: Person) -> None:
    person.press("answer", "flower_build", state="dandelion").press("answer", "milky_sap", state="present")
    person.press("look_again")
    assert 'value="roots" checked' in person.text and "Cancel" in person.text
    person.press("see", visible="leaves")
    assert "Set aside" in person.text and "Your 1 answer<" in person.text
    assert person.context.finding(draft_in(person)).set_aside == ("flower_build",)
    before = person.title
    assert person.press("change", "flower_build").title == before, "what is not there is not asked again"
    assert "Set aside" in person.press("conclude").text
    person.press("look_again").press("see", visible=PARTS)
    assert "Set aside" not in person.text and list(draft_in(person).answers) == ["flower_build", "milky_sap"]
    # Going back leaves what is set aside.
    person.press("look_again").press("see", visible="leaves").press("back")
    assert list(draft_in(person).answers) == ["flower_build"]
    assert person.press("back").title == "What can you see or reach?"
    assert list(draft_in(person).answers) == ["flower_build"]


def test_one_tap_answers_and_several_states_are_ticked(person: Person) -> None:
    first = ask_again(person, "leaf_edge", "smooth")
    assert re.findall(r'data-do="answer" data-with="leaf_edge" data-state="(\w+)"', first.text) == list(
        person.context.key.flora.characters["leaf_edge"].states
    )
    assert "your answer" in first.text and 'type="checkbox"' not in first.text
    first.press("more", "leaf_edge")
    assert first.text.count('name="state"') == 6 and 'value="smooth" checked' in first.text
    first.press("answer", "leaf_edge", state=["toothed", "wavy"])
    assert draft_in(person).answers["leaf_edge"] == ("toothed", "wavy")
    # An answer of several states is changed by ticking; back leaves it as it was.
    assert first.press("change", "leaf_edge").text.count(" checked>") == 2 and "Cancel" in first.text
    first.press("back")
    assert draft_in(person).answers["leaf_edge"] == ("toothed", "wavy") and first.asked() != "leaf_edge"


def test_no_more_than_eight_are_ever_shown_and_every_state_can_be_reached(context: Context) -> None:
    draft = Draft(new_id())
    for character in context.key.flora.characters.values():
        shown = choices(draft, character)
        assert len(shown["groups"]) <= MOST_AT_ONCE and len(shown["states"]) <= MOST_AT_ONCE
        reached = {state["id"] for state in shown["states"]}
        for one in shown["groups"]:
            inside = choices(replace(draft, choosing=Choosing(character.id, one["id"])), character)
            assert len(inside["states"]) <= MOST_AT_ONCE and one["svgs"]
            assert one["only"] == (inside["states"][0]["id"] if len(inside["states"]) == 1 else "")
            reached |= {state["id"] for state in inside["states"]}
        assert reached == set(character.states)


def test_a_long_list_is_asked_in_two_taps_that_outlive_a_reload(person: Person) -> None:
    ask_again(person, SEED, "parachutes")
    assert f'data-with="{SEED}:fluff"' in person.text and "data-state" not in person.text
    person.press("group", f"{SEED}:pod")
    again = Person(person.context, {"plant": person.plant, "step": "questions"})
    assert again.asked() == SEED and 'data-state="long_pod"' in again.text and "Other groups" in again.text
    again.press("group", f"{SEED}:")
    assert f'data-with="{SEED}:pod"' in again.text and "Cancel" in again.text
    again.press("group", f"{SEED}:pod").press("back")
    assert f'data-with="{SEED}:pod"' in again.text, "back leads out of the group first"
    again.press("group", f"{SEED}:pod").press("answer", SEED, state="long_pod")
    assert draft_in(person).answers[SEED] == ("long_pod",) and draft_in(person).choosing == Choosing()


def test_states_of_two_groups_are_one_answer(person: Person) -> None:
    ask_again(person, SEED, "parachutes").press("more", SEED).press("group", f"{SEED}:pod")
    person.press("group", f"{SEED}:", state=["long_pod", "heart_pod"])
    assert "Ticked so far" in person.text
    person.press("group", f"{SEED}:pod")
    assert person.text.count(" checked>") == 2
    person.press("group", f"{SEED}:", state=["heart_pod"]).press("group", f"{SEED}:plain")
    person.press("answer", SEED, state=["berry"])
    assert draft_in(person).answers[SEED] == ("parachutes", "heart_pod", "berry")


@pytest.mark.parametrize("which", ["", "no_such", "no_such:pod", f"{SEED}:no_such", "leaf_edge:pod"])
def test_a_group_that_is_none_changes_nothing(person: Person, which: str) -> None:
    before = draft_in(person)
    assert person.press("group", which).notices == [] and draft_in(person) == before
    assert person.press("more", which.partition(":")[0]).notices == []


def test_four_unsure_end_in_what_would_decide_with_a_message(context: Context) -> None:
    person = Person(context).press("look", month="7").see("leaves")
    for _ in range(12):
        if person.asked():
            person.press("unsure", person.asked())
    assert person.title == "No more questions for now" and "nswer the next question" not in person.text
    assert "unsure" in person.text and "What would settle it" in person.text
    assert 'data-do="ask_sender"' in person.text and "I can see or reach more" in person.text
    person.press("conclude")
    assert "What would settle it" in person.text and "Answer more" not in person.text
    assert person.press("look_again").title == "What can you see or reach?"


@pytest.mark.parametrize("species", ["soliva_sessilis", "trifolium_repens"])
def test_no_plant_is_put_forward_that_is_improbable(context: Context, species: str) -> None:
    person, sees = Person(context).press("look", month="7").see("leaves"), typical(context.key, species)
    shown = 0
    for _ in range(8):
        draft = draft_in(person)
        interview = context.interview(draft)
        chance = dict(zip(context.key.flora.ids, _chances(context, draft), strict=False))
        named = re.findall(r"/flora\?species=(\w+)", person.text)
        assert all(chance[one] >= LEAST_NAMED for one in named)
        for move in (move for one in effects(context, interview) for move in one["moves"]):
            assert max(move.before, move.after) >= LEAST_NAMED
        pairs = look_alikes(context, interview.finding)
        assert all(chance[one] >= LEAST_NAMED for pair in pairs for one in (pair.one, pair.other))
        if not ranking(context, interview.finding, set())["rows"]:
            assert ("ot enough yet to name it" in person.text) == bool(draft.answers) and not named
            shown += 1
        if not person.asked():
            break
        person.answer(sees)
    assert shown, "there was always a name in front, so the other case was not tried"


def test_look_alikes_are_parted_by_what_can_be_seen_where_that_parts_them(context: Context) -> None:
    characters = context.key.flora.characters
    parted = changed = 0
    for one, others in context.key.flora.look_alikes.items():
        for other in others:
            free, leaves = (pair_of(context, one, other, out_of_sight(characters, v)) for v in (None, ("leaves",)))
            assert free is not None and leaves is not None
            parted += characters[leaves.character].part == "leaves"
            changed += free != leaves
            assert characters[free.character].part != "leaves" or free == leaves
    assert parted > changed > 0


def _chances(context: Context, draft: Draft) -> Any:
    at = context.interview(draft)
    return context.key.posterior(Observation(at.answers, at.photos, at.month, at.region, at.visible))[:-1]


def test_the_usual_region_counts(context: Context) -> None:
    assert context.interview(Draft(new_id())).region == region_named(context.key.prior_config, None) is not None


def test_the_answer_that_the_name_hangs_on_is_told(context: Context, monkeypatch: pytest.MonkeyPatch) -> None:
    person = Person(context).press("look", month="11").prove()
    draft = draft_in(person)
    real = context.finding(draft)
    hangs = replace(real, status="likely", hangs_on=real.candidates[0].agrees[0])
    monkeypatch.setattr("model.interview.identify", lambda *told: hangs)
    person.press("go", "finding")
    assert person.text.count("the name depends on this answer") == 1
    assert hangs.hangs_on is not None
    person.press("change", hangs.hangs_on)
    assert person.asked() == hangs.hangs_on and "The name depends on this answer" in person.text


def test_readings_to_tap_cover_what_is_believed_and_lie_close(context: Context) -> None:
    for character in context.key.flora.characters.values():
        if character.kind != "number":
            continue
        marks = [float(mark) for mark in readings(character)]
        low, high = character.domain or (0, 0)
        whole = character.unit == "count"
        assert low <= marks[0] <= low * 1.3 and high / 1.3 <= marks[-1] <= high, character.id
        assert all(b / a <= 1.34 or (whole and b - a == 1) for a, b in pairwise(marks)), (character.id, marks)
        assert not whole or all(mark == int(mark) for mark in marks)


def test_a_reading_is_answered_in_one_tap(person: Person) -> None:
    person.press("answer", "flower_width", reading="30").press("change", "flower_width")
    assert re.search(r'class="state was" data-do="answer" data-with="flower_width" data-reading="30"', person.text)
    assert 'inputmode="decimal"' in person.text and 'type="range"' not in person.text
    assert draft_in(person.press("answer", "flower_width", reading="25")).answers["flower_width"] == 25


def test_the_usual_parts_are_one_tap_from_the_first_page(context: Context) -> None:
    person = Person(context).press("see_usual", "leaves seeds", month="7")
    assert draft_in(person).visible == ("leaves", "seeds") and draft_in(person).month == 7 and person.asked()
    assert "tentacles" in Person(context).press("see_usual", "leaves tentacles").notices[0]
