"""Step 4: the finding, with its reasons; and the photos into the collection, if the user says so."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from app.present.deciding import stopped
from app.present.finding import AGAINST, FOR, LEAST_NAMED, STATUS, answer_text, headline, override_lines
from app.web.comparison import pair_of
from app.web.context import Context
from app.web.draft import Draft, Step
from app.web.effects import set_aside
from app.web.frame import Fields, FormError, go_to, one
from app.web.plant_pictures import first_photo, picture_of_this
from app.web.sender import ask_sender
from app.web.visible_parts import change, is_all, look_again
from model.identify import Candidate
from model.traits import Answers, out_of_sight

STEP = Step("Finding", 40)

SHORTLIST, LEAST = 4, LEAST_NAMED


def show(context: Context, draft: Draft) -> dict[str, Any]:
    """What the step shows."""
    interview = context.interview(draft)
    finding = interview.finding
    lead = finding.candidates[0]
    # The plant that is in front would be named there, however improbable.
    says = lead.probability >= LEAST or finding.status == "unlisted"
    hidden = out_of_sight(context.key.flora.characters, draft.visible)
    pairs = [pair_of(context, lead.species, other, hidden) for other in finding.still_to_exclude]
    return {
        **stopped(finding, context.key, interview.answers),
        "finding": finding,
        "sees_all": is_all(draft),
        "set_aside": set_aside(context, interview),
        "word": STATUS[finding.status],
        "lead": lead,
        "of_this": picture_of_this(draft),
        "photo": first_photo(draft) if finding.species is None else None,
        "headline": headline(finding, context.key),
        "override": override_lines(finding, context.key) if says else [],
        "evidence": evidence(context, lead, dict(draft.answers)) if finding.species else {},
        "pairs": [pair for pair in pairs if pair is not None],
        "shortlist": [c for c in finding.candidates if c.probability >= LEAST][:SHORTLIST],
        "more": finding.next_question is not None,
        "can_learn": finding.status == "confirmed" and any(s.file for s in draft.shots) and not _taken(draft),
        "learned": _taken(draft),
        "plan_for": [context.name(s) for s in plan_species(context, draft)],
    }


def evidence(context: Context, lead: Candidate, answers: Answers) -> dict[str, list[dict[str, str]]]:
    """The answers for and against the leading plant, in words, by their heading."""
    asked = context.key.flora.characters
    return {
        heading: [
            {"id": c, "question": asked[c].question, "answer": answer_text(context.key, c, answers[c])}
            for c in characters
        ]
        for heading, characters in ((FOR, lead.agrees), (AGAINST, lead.disagrees))
    }


def plan_species(context: Context, draft: Draft) -> tuple[str, ...]:
    """The plants that a plan must suit: the named one, else all of the shortlist; none for an unlisted plant."""
    treated = context.control.treatments
    if draft.given or draft.way != "name":
        return tuple(species for species in draft.given if species in treated)
    finding = context.finding(draft)
    if finding.status == "unlisted":
        return ()
    if finding.species is not None:
        return (finding.species,) if finding.species in treated else ()
    likely = [c.species for c in finding.candidates if c.probability >= LEAST and c.species in treated]
    return tuple(likely[:SHORTLIST])


def _taken(draft: Draft) -> str:
    return str(draft.record.get("into_collection", ""))


def learn(context: Context, draft: Draft, fields: Fields, which: str) -> Draft:
    """Put the photos into the collection under the confirmed name."""
    from app.services.collection import add_confirmed

    finding = context.finding(draft)
    if one(fields, "agreed") != "yes":
        raise FormError("Tick the box to keep the photos first.")
    if finding.species is None:
        return draft
    folder = context.drafts.photos(draft.id)
    photos = [folder / shot.file for shot in draft.shots if shot.file]
    done = add_confirmed(photos, finding, one(fields, "by"))
    outcome = (
        f"{done.added} added to the collection as {context.name(finding.species)}, {done.known_already} already there."
    )
    return replace(draft, record={**draft.record, "into_collection": outcome})


def onward(context: Context, draft: Draft, fields: Fields, which: str) -> Draft:
    """On to the lawn. Raises FormError where there is no plant to plan for."""
    if not plan_species(context, draft):
        raise FormError("There is no plan until the plant has a name: collect a sample, or answer more questions.")
    # A further weed of a visit is added to it: what one pass can do for all of them is planned there.
    return replace(draft, step="record" if draft.of_visit else "lawn")


ACTIONS = {
    "change": change,
    "look_again": look_again,
    "learn": learn,
    "onward": onward,
    "to_record": go_to("record"),
    "ask_sender": ask_sender,
}
