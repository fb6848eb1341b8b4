"""Step 3: what can be seen, then the questions, one at a time; one tap an answer; unsure, back and change."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from app.figures.line_drawings import line_drawing
from app.present.deciding import stopped
from app.present.finding import headline
from app.web import sender, visible_parts
from app.web.candidates_page import ranking
from app.web.context import Context
from app.web.draft import Choosing, Draft, Step
from app.web.effects import effects, set_aside
from app.web.finding_page import onward, plan_species
from app.web.frame import Fields, FormError, go_to, one, several
from app.web.plant_pictures import first_photo
from app.web.state_choices import begun, choices, choosing, readings
from model.flora import Character
from model.identify import MOST_ASKED, Finding
from model.traits import UNSURE, in_sight, out_of_sight

STEP = Step("Questions", 30)


def show(context: Context, draft: Draft) -> dict[str, Any]:
    """What the step shows."""
    interview = context.interview(draft)
    finding = interview.finding
    character = None if visible_parts.is_asked(draft) else asked(context, draft, finding)
    seen = set(interview.photos.probabilities) if interview.photos is not None else set()
    counted = effects(context, interview)
    return {
        **ranking(context, finding, seen),
        **stopped(finding, context.key, interview.answers),
        "headline": headline(finding, context.key),
        "finding": finding,
        "photo": first_photo(draft),
        "request": sender.shown(context, draft),
        "parts_asked": visible_parts.cards(draft) if visible_parts.is_asked(draft) else [],
        "usual": visible_parts.usual(),
        "can_plan": finding.status == "confirmed" and bool(plan_species(context, draft)),
        "in_sight": visible_parts.in_words(draft),
        "sees_all": visible_parts.is_all(draft),
        "character": character,
        "again": bool(draft.asking),
        "asked": len(counted),
        "most": MOST_ASKED,
        "effects": counted,
        "set_aside": set_aside(context, interview),
        "choice": choices(draft, character) if character is not None and character.kind == "choice" else None,
        "given": draft.answers.get(draft.asking, ()) if draft.asking else (),
        "measure": line_drawing(character.id).svg if character is not None and character.kind == "number" else "",
        "readings": readings(character) if character is not None else [],
    }


def asked(context: Context, draft: Draft, finding: Finding) -> Character | None:
    """The question on the page: one that is asked again, else the next; None where there is none."""
    if draft.asking in context.key.flora.characters:
        return context.key.flora.characters[draft.asking]
    return finding.next_question.character if finding.next_question is not None else None


def answer(context: Context, draft: Draft, fields: Fields, which: str) -> Draft:
    """The answer to the question that is on the page. Raises FormError where nothing was chosen."""
    character = context.key.flora.characters.get(which)
    if character is None:
        return draft
    if character.kind == "choice":
        half = choosing(draft, character)
        given: Any = list(several(fields, "state"))
        if half.several:
            given += elsewhere(half, character)
    else:
        given = one(fields, "reading").replace(",", ".")
    if not given:
        raise FormError("Choose an answer first, or press Unsure.")
    return _given(context, draft, which, given)


def elsewhere(half: Choosing, character: Character) -> list[str]:
    """The states that were ticked before, but for those of which the page shows a box."""
    shown = character.groups[half.group].states if half.group else () if character.groups else character.states
    return [state for state in half.ticked if state not in shown]


def unsure(context: Context, draft: Draft, fields: Fields, which: str) -> Draft:
    """Unsure: changes nothing but the next question."""
    return _given(context, draft, which, UNSURE) if which in context.key.flora.characters else draft


def _given(context: Context, draft: Draft, character: str, given: Any) -> Draft:
    after = context.interview(draft).answer(character, given)
    return replace(draft, answers=after.answers, asking="", choosing=Choosing())


def more(context: Context, draft: Draft, fields: Fields, which: str) -> Draft:
    """The plant shows more than one state: from now on they are ticked."""
    character = context.key.flora.characters.get(which)
    if character is None or character.kind != "choice":
        return draft
    half = choosing(draft, character)
    given: Any = draft.answers.get(which, ()) if draft.asking == which else ()
    return replace(draft, choosing=replace(half, several=True, ticked=half.ticked or given))


def group(context: Context, draft: Draft, fields: Fields, which: str) -> Draft:
    """Into a group of states, or, where none is named, back to the groups; what was ticked stays ticked."""
    name, _, picked = which.partition(":")
    character = context.key.flora.characters.get(name)
    if character is None or (picked and picked not in character.groups):
        return draft
    half = choosing(draft, character)
    if half.several and half.group:
        marked = {*elsewhere(half, character), *several(fields, "state")}
        half = replace(half, ticked=tuple(state for state in character.states if state in marked))
    return replace(draft, choosing=replace(half, group=picked))


def back(context: Context, draft: Draft, fields: Fields, which: str) -> Draft:
    """One step back: in an answer that is half given, else by the latest answer, last by what can be seen."""
    interview = context.interview(draft)
    character = None if visible_parts.is_asked(draft) else asked(context, draft, interview.finding)
    if character is not None and choosing(draft, character) != begun(draft, character):
        return replace(draft, choosing=Choosing())
    if draft.asking:
        return replace(draft, asking="", choosing=Choosing())
    counted = in_sight(interview.answers, out_of_sight(context.key.flora.characters, draft.visible))
    if counted:
        return replace(draft, answers=interview.forget([*counted][-1]).answers)
    if draft.answers:
        return visible_parts.look_again(context, draft, fields, which)
    return replace(draft, visible=None)


ACTIONS = {
    "answer": answer,
    "unsure": unsure,
    "more": more,
    "group": group,
    "back": back,
    "conclude": go_to("finding"),
    "onward": onward,
    **visible_parts.ACTIONS,
    **sender.ACTIONS,
}
