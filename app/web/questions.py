"""Step 3: the questions, one at a time; unsure, back, change; and what each answer did."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any

from app.web.candidates import ranking
from app.web.draft import Draft
from app.web.frame import Fields, FormError, one, several
from app.web.pair import ruler_svg, state_svg, state_words
from app.web.shed import Shed
from app.words import answer_text
from model.flora import Character
from model.interview import Interview
from model.traits import UNSURE

MOVED = 0.005  # smaller changes of a chance are not told


@dataclass(frozen=True)
class Move:
    """What one answer did: which plant rose or fell, from which chance to which."""

    name: str
    before: float
    after: float

    @property
    def up(self) -> bool:
        """Whether the plant has become more likely."""
        return self.after > self.before


def show(shed: Shed, draft: Draft) -> dict[str, Any]:
    """What the step shows."""
    interview = shed.interview(draft)
    finding = interview.finding
    question = finding.next_question
    character = question.character if question is not None else None
    if draft.asking in shed.key.flora.characters:
        character = shed.key.flora.characters[draft.asking]
    seen = set(interview.photos.probabilities) if interview.photos is not None else set()
    return {
        **ranking(shed, finding, seen),
        "finding": finding,
        "character": character,
        "again": bool(draft.asking),
        "asked": len(interview.answers),
        "states": states(character) if character is not None else [],
        "given": interview.answers.get(draft.asking, ()) if draft.asking else (),
        "told": told(shed, interview),
        "measure": ruler_svg(character.id) if character is not None and character.kind == "number" else "",
        "ticks": ruler(character) if character is not None else [],
    }


def ruler(character: Character) -> list[dict[str, float]]:
    """Marks of a ruler over the readings that are believed: value, and place from 0 to 100 in its logarithm."""
    if character.domain is None:
        return []
    low, high = character.domain
    marks = [m * 10.0**power for power in range(-2, 5) for m in (1, 2, 5)]
    return [{"value": m, "place": 100 * math.log(m / low) / math.log(high / low)} for m in marks if low <= m <= high]


def states(character: Character) -> list[dict[str, str]]:
    """The states of a question, with their drawings where all of them have one."""
    arts = {state: state_svg(character.id, state) for state in character.states}
    drawn = all(arts.values())
    return [
        {
            "id": state,
            "text": text,
            "svg": arts[state] if drawn else "",
            "words": state_words(character.id, state) if drawn else "",
        }
        for state, text in character.states.items()
    ]


def told(shed: Shed, interview: Interview) -> list[dict[str, Any]]:
    """Every answer with what it did, the latest first."""
    found, so_far = [], replace(interview, answers={})
    before = _chances(so_far)
    for character, answer in interview.answers.items():
        so_far = replace(so_far, answers={**so_far.answers, character: answer})
        after = _chances(so_far)
        found.append(
            {
                "id": character,
                "question": shed.key.flora.characters[character].question,
                "answer": answer_text(shed.key, character, answer),
                "moves": _moves(shed, before, after) if answer != () else [],
            }
        )
        before = after
    return found[::-1]


def _chances(interview: Interview) -> Any:
    return interview.key.posterior(interview.answers, interview.photos, interview.month, interview.region)


def _moves(shed: Shed, before: Any, after: Any) -> list[Move]:
    """The plant that rose most and the one that fell most, where it is worth telling."""
    change = after - before
    names = [*(shed.name(s) for s in shed.key.flora.ids), "a plant outside the flora"]
    found = [Move(names[i], float(before[i]), float(after[i])) for i in (int(change.argmax()), int(change.argmin()))]
    return [move for move in found if abs(move.after - move.before) > MOVED]


def answer(shed: Shed, draft: Draft, fields: Fields, which: str) -> Draft:
    """The answer to the question that is on the page. Raises FormError where nothing was chosen."""
    character = shed.key.flora.characters.get(which)
    if character is None:
        return draft
    if character.kind == "choice":
        given: Any = list(several(fields, "state"))
    else:
        given = one(fields, "reading").replace(",", ".")
    if not given:
        raise FormError("Choose an answer first, or press Unsure.")
    return _given(shed, draft, which, given)


def unsure(shed: Shed, draft: Draft, fields: Fields, which: str) -> Draft:
    """Unsure: changes nothing but the next question."""
    return _given(shed, draft, which, UNSURE) if which in shed.key.flora.characters else draft


def _given(shed: Shed, draft: Draft, character: str, given: Any) -> Draft:
    after = shed.interview(draft).answer(character, given)
    return replace(draft, answers=after.answers, asking="")


def back(shed: Shed, draft: Draft, fields: Fields, which: str) -> Draft:
    """Take the latest answer back; where an answer was to be changed, leave it as it is."""
    if draft.asking:
        return replace(draft, asking="")
    return replace(draft, answers=shed.interview(draft).back().answers)


def change(shed: Shed, draft: Draft, fields: Fields, which: str) -> Draft:
    """Ask one question again."""
    return replace(draft, asking=which, step="questions") if which in draft.answers else draft


def conclude(shed: Shed, draft: Draft, fields: Fields, which: str) -> Draft:
    """On to the finding, with as many answers as there are."""
    return replace(draft, step="finding", asking="")


ACTIONS = {"answer": answer, "unsure": unsure, "back": back, "change": change, "conclude": conclude}
