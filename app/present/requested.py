"""A request to whoever has the plant, as a message to send; and what their reply changed."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from app.present.block import Bullets, Paragraph, as_text, capital
from app.present.finding import LEAST_NAMED, STATUS, answer_text, question_and_answer, share
from app.services.reply import Reply
from app.services.requesting import Request
from model.identify import Finding, Key
from model.interview import Interview
from model.text import counted

SHEET = (
    "The page that comes with this message shows each question with drawings. Open it in your phone's browser, tap "
    "what fits, and send back the short text that it gives you. Not sure is a good answer too."
)


def request_message(request: Request) -> str:
    """The message in plain words; it names no plant, for none is certain."""
    questions = []
    for one in request.questions:
        condition = request.if_there(one)
        questions.append(f"{condition}{': ' if condition else ''}{one.question} {one.look}")
    if request.parts:
        questions.insert(0, "What can you see on it now: leaves, flowers, ripe seed or fruit, roots?")
    parts = [as_text((Paragraph(("Thanks for sending this in. I can't name the plant for certain yet.",)),))]
    if request.photos:
        photos = tuple(f"{capital(photo)}." for photo in request.photos)
        parts.append(as_text((Paragraph(("Please send a sharp, close photo of each of these:",)), Bullets(photos))))
    asked = "And please answer:" if request.photos else "Please answer:"
    parts.append(as_text((Paragraph((asked,)), Bullets(tuple(questions)))))
    return "\n\n".join([*parts, SHEET])


def request_json(request: Request) -> dict[str, Any]:
    """The message, its questions and the photos wanted, as plain data."""
    asked = [{"character": one.id, "text": one.question, "look": one.look} for one in request.questions]
    return {"message": request_message(request), "questions": asked, "photos": list(request.photos)}


def what_changed(reply: Reply, before: Interview, after: Interview) -> list[str]:
    """How many answers came, which replaced another one, and how the name stands before and after, a line each."""
    key = after.key
    lines = [f"The reply is in: {counted(len(reply.answers), 'answer')}."]
    for name, answer in after.answers.items():
        old = before.answers.get(name, ())
        if old not in ((), answer):
            lines.append(f"{question_and_answer(key, name, answer)} Your answer was: {answer_text(key, name, old)}.")
    return [*lines, f"Before: {in_short(before.finding, key)}.", f"Now: {in_short(after.finding, key)}."]


def change_json(before: Interview, after: Interview) -> Mapping[str, Any]:
    """Status, species and probability of the name before and after a reply."""
    fields = ("status", "species", "probability")
    found = {"before": before.finding, "after": after.finding}
    return {when: {field: getattr(finding, field) for field in fields} for when, finding in found.items()}


def in_short(finding: Finding, key: Key) -> str:
    """How far a plant is named, in one line without a full stop."""
    word, lead = STATUS[finding.status].lower(), finding.candidates[0]
    if finding.species is not None:
        return f"{word}, {key.flora.species[finding.species].common_name} {share(finding.probability or 0.0)}"
    if finding.status == "unlisted" or lead.probability < LEAST_NAMED:
        return word
    return f"{word}; in front: {lead.common_name} {share(lead.probability)}"
