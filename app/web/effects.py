"""The effect of each answer on the probabilities; and the answers that are set aside, as their part cannot be seen."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

from app.present.finding import LEAST_NAMED, answer_text
from app.web.context import Context
from model.interview import Interview
from model.traits import in_sight, out_of_sight

MOVED = 0.005  # smaller changes of a probability are not shown


@dataclass(frozen=True)
class Move:
    """A plant whose probability one answer changed: before and after it, 0 to 1."""

    name: str
    before: float
    after: float

    @property
    def up(self) -> bool:
        """Whether the plant has become more likely."""
        return self.after > self.before


def effects(context: Context, interview: Interview) -> list[dict[str, Any]]:
    """Every answer that counts, with its effect; the latest first."""
    found, so_far = [], replace(interview, answers={})
    before = so_far.posterior
    hidden = out_of_sight(context.key.flora.characters, interview.visible)
    for character, answer in in_sight(interview.answers, hidden).items():
        so_far = replace(so_far, answers={**so_far.answers, character: answer})
        after = so_far.posterior
        moves = _moves(context, before, after) if answer != () else []
        changed = bool(abs(after - before).max() > MOVED)
        found.append({**_said(context, interview, character), "id": character, "moves": moves, "changed": changed})
        before = after
    return found[::-1]


def set_aside(context: Context, interview: Interview) -> list[dict[str, str]]:
    """The answers that do not count while their part cannot be seen, in the order given."""
    hidden = out_of_sight(context.key.flora.characters, interview.visible)
    return [_said(context, interview, character) for character in interview.answers if character in hidden]


def _said(context: Context, interview: Interview, character: str) -> dict[str, str]:
    asked = context.key.flora.characters[character]
    return {"question": asked.question, "answer": answer_text(context.key, character, interview.answers[character])}


def _moves(context: Context, before: Any, after: Any) -> list[Move]:
    """The plant whose probability rose most and the one whose fell most, where that is large enough to show."""
    change = after - before
    names = [*(context.name(s) for s in context.key.flora.ids), "a plant not on file"]
    found = [Move(names[i], float(before[i]), float(after[i])) for i in (int(change.argmax()), int(change.argmin()))]
    return [m for m in found if abs(m.after - m.before) > MOVED and max(m.before, m.after) >= LEAST_NAMED]
