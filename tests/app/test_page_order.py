"""Answers keep their order from end to end: in the draft, when one goes back or changes one, and in the visit."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from app.records import open_records
from app.records.serialization import canonical
from app.web import steps as flow
from app.web.context import Context
from app.web.draft import Choosing, Draft, draft_of, new_id
from app.web.state_choices import choices, choosing
from model.control import Control
from model.flora.character import PARTS
from model.identify import Key
from model.traits import out_of_sight
from tests.app.page_visitor import Person, context_of


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


def test_answers_keep_their_order_in_the_draft_and_in_the_visit(person: Person) -> None:
    given = {"milky_sap": "present", "leaf_edge": "deep_lobed", "flower_build": "dandelion", "flower_stalk": "unsure"}
    for character, state in given.items():
        person.press("answer", character, state=state)
    assert list(draft_in(person).answers) == list(given)
    person.press("conclude").press("to_record" if "to_record" in person.text else "onward")
    if person.title == "This lawn":
        person.press("make_plan", lawn="couch", place="lawn", month="11").press("to_record")
    person.press("keep", day="2026-11-25", who="Sam", client="A", address="1 Low Street", state="NSW")
    with open_records() as records:
        visit: Any = records.current("visit", 1).record
    kept = visit.findings[0]
    pairs = kept.answers.items() if isinstance(kept.answers, Mapping) else kept.answers
    assert [character for character, _ in pairs] == list(given)
    assert list(kept.finding["visible"]) == list(PARTS)


def test_answers_of_an_older_version_are_read_too() -> None:
    old = {"id": new_id(), "answers": {"milky_sap": ["present"], "plant_height": 40}}
    assert draft_of(old).answers == {"milky_sap": ("present",), "plant_height": 40.0}
    assert draft_of(old).visible is None and draft_of(old).choosing == Choosing()


@dataclass
class Plan:
    """What must be kept, as plain as can be: pairs in their order, and what can be seen."""

    key: Key
    pairs: list[tuple[str, Any]] = field(default_factory=list)
    visible: Any = None

    def counted(self) -> list[str]:
        hidden = out_of_sight(self.key.flora.characters, self.visible)
        return [character for character, _ in self.pairs if character not in hidden]

    def put(self, character: str, answer: Any) -> None:
        for place, (one, _) in enumerate(self.pairs):
            if one == character:
                self.pairs[place] = (character, answer)
                return
        self.pairs.append((character, answer))

    def back(self) -> None:
        if counted := self.counted():
            self.pairs = [pair for pair in self.pairs if pair[0] != counted[-1]]
        elif not self.pairs:
            self.visible = None


def saved(draft: Draft) -> Draft:
    """A draft after it was kept and read again: whatever keeps it may sort all names."""
    return draft_of(json.loads(canonical(draft.as_json())))


def press(context: Context, draft: Draft, do: str, which: str = "", **fields: Any) -> Draft:
    return saved(flow.act(context, draft, do, fields, which)[0])


STEPS = st.lists(st.tuples(st.sampled_from(["answer", "answer", "unsure", "several", "change", "back", "see", "peek"]),
                           st.integers(0, 30)), min_size=4, max_size=14)  # fmt: skip


@given(steps=STEPS)
@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_answering_back_and_change_give_what_was_before(context: Context, steps: list[tuple[str, int]]) -> None:
    draft = press(context, Draft(new_id(), step="questions", month=7), "see", visible=list(PARTS))
    plan = Plan(context.key, visible=PARTS)
    for do, number in steps:
        question = context.finding(draft).next_question
        if do in ("answer", "unsure", "several", "peek") and question is not None:
            before, draft = draft, _tap(context, draft, question.character.id, do, number)
            if draft == before:  # there is nothing half way of a figure
                continue
            if do != "peek":
                plan.put(question.character.id, draft.answers[question.character.id])
            assert press(context, draft, "back") == before
            if do == "peek":
                draft = press(context, draft, "back")
        elif do == "change" and plan.counted():
            character = plan.counted()[number % len(plan.counted())]
            before, draft = draft, press(context, draft, "change", character)
            assert press(context, draft, "back") == before
            draft = _tap(context, draft, character, "answer", number)
            plan.put(character, draft.answers[character])
        elif do == "back" and draft.visible is not None:
            draft = press(context, draft, "back")
            plan.back()
            if draft.asking or draft.visible is None:  # what can be seen is asked: tell all of it again
                draft, plan.visible = press(context, draft, "see", visible=list(PARTS)), PARTS
        elif do == "see":
            parts = [part for place, part in enumerate(PARTS) if (number + 1) >> place & 1] or ["leaves"]
            draft, plan.visible = (
                press(context, press(context, draft, "look_again"), "see", visible=parts),
                tuple(parts),
            )
        assert (list(draft.answers.items()), draft.visible) == (plan.pairs, plan.visible)


def _tap(context: Context, draft: Draft, character: str, do: str, number: int) -> Draft:
    """One answer by the taps that it takes; ``peek`` goes only half the way."""
    asked = context.key.flora.characters[character]
    if do == "unsure":
        return press(context, draft, "unsure", character)
    if asked.kind != "choice":
        low, high = asked.domain or (1, 12)
        reading = round(low + (high - low) * number / 30) if asked.kind == "month" else low + (high - low) * number / 30
        return draft if do == "peek" else press(context, draft, "answer", character, reading=[f"{reading:.4g}"])
    names = list(asked.groups)
    if names:
        draft = press(context, draft, "group", f"{character}:{names[number % len(names)]}")
    if do in ("several", "peek"):
        draft = press(context, draft, "more", character)
    if do == "peek":
        assert choosing(draft, asked).several
        return draft
    shown = [state["id"] for state in choices(draft, asked)["states"]]
    chosen = shown[number % len(shown) :][: 2 if do == "several" else 1]
    return press(context, draft, "answer", character, state=chosen)


def test_a_draft_is_the_same_after_a_reload_through_the_records(person: Person) -> None:
    person.press("answer", "milky_sap", state="present").press("answer", "leaf_edge", state="smooth")
    person.press("change", "milky_sap").press("more", "milky_sap")
    draft = draft_in(person)
    with open_records() as records:
        assert draft_of(records.draft(draft.id).state) == draft
    assert [one for one, _ in draft.as_json()["answers"]] == ["milky_sap", "leaf_edge"]
