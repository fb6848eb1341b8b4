"""Step 4: the finding, with its reasons; and the photos into the collection, if the user says so."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from app.web.draft import Draft
from app.web.frame import Fields, FormError, one
from app.web.moves import set_aside
from app.web.pair import pair_of
from app.web.questions import change
from app.web.shed import Shed
from app.web.sight import in_words, is_all, look_again
from app.web.stop import stopped
from app.words import LEAST_NAMED, answer_text, headline, override_lines
from model.identify import Candidate
from model.traits import Answers, out_of_sight

WORDS = {
    "confirmed": "Confirmed",
    "likely": "Likely",
    "undecided": "Undecided",
    "unlisted": "Not in the list",
}
SHORTLIST, LEAST = 4, LEAST_NAMED


def show(shed: Shed, draft: Draft) -> dict[str, Any]:
    """What the step shows."""
    interview = shed.interview(draft)
    finding = interview.finding
    lead = finding.candidates[0]
    # The plant that is in front would be named there, however improbable.
    says = lead.probability >= LEAST or finding.status == "unlisted"
    hidden = out_of_sight(shed.key.flora.characters, draft.visible)
    pairs = [pair_of(shed, lead.species, other, hidden) for other in finding.still_to_exclude]
    return {
        **stopped(shed, finding, interview.answers),
        "finding": finding,
        "in_sight": in_words(draft),
        "sees_all": is_all(draft),
        "set_aside": set_aside(shed, interview),
        "word": WORDS[finding.status],
        "lead": lead,
        "headline": headline(finding, shed.key),
        "override": override_lines(finding, shed.key) if says else [],
        "reasons": reasons(shed, lead, dict(draft.answers)) if finding.species else {},
        "pairs": [pair for pair in pairs if pair is not None],
        "shortlist": [c for c in finding.candidates if c.probability >= LEAST][:SHORTLIST],
        "more": finding.next_question is not None,
        "can_learn": finding.status == "confirmed" and any(s.file for s in draft.shots) and not _taken(draft),
        "learned": _taken(draft),
        "plan_for": [shed.name(s) for s in plan_species(shed, draft)],
    }


def reasons(shed: Shed, lead: Candidate, answers: Answers) -> dict[str, list[dict[str, str]]]:
    """The answers for and against the leading plant, in words."""

    def told(characters: tuple[str, ...]) -> list[dict[str, str]]:
        asked = shed.key.flora.characters
        return [
            {"id": c, "question": asked[c].question, "answer": answer_text(shed.key, c, answers[c])} for c in characters
        ]

    return {"for": told(lead.agrees), "against": told(lead.disagrees)}


def plan_species(shed: Shed, draft: Draft) -> tuple[str, ...]:
    """The plants that a plan must suit: the named one, else all of the shortlist; none for an unlisted plant."""
    finding = shed.finding(draft)
    treated = shed.control.treatments
    if finding.status == "unlisted":
        return ()
    if finding.species is not None:
        return (finding.species,) if finding.species in treated else ()
    likely = [c.species for c in finding.candidates if c.probability >= LEAST and c.species in treated]
    return tuple(likely[:SHORTLIST])


def _taken(draft: Draft) -> str:
    return str(draft.record.get("into_collection", ""))


def learn(shed: Shed, draft: Draft, fields: Fields, which: str) -> Draft:
    """Put the photos into the collection under the confirmed name."""
    from app.collection import labeller
    from app.home import home
    from training.collection import Collection
    from training.collection.confirmed import add_confirmed

    finding = shed.finding(draft)
    if one(fields, "agreed") != "yes":
        raise FormError("Tick that the photos may be kept first.")
    if finding.species is None:
        return draft
    folder = shed.drafts.photos(draft.id)
    photos = [folder / shot.file for shot in draft.shots if shot.file]
    done = add_confirmed(
        Collection(home() / "collection").open(),
        photos,
        finding.species,
        labeller(one(fields, "by")),
        status=finding.status,
        agreed=True,
    )
    told = f"{done.added} added to the collection as {shed.name(finding.species)}, {done.known_already} there before."
    return replace(draft, record={**draft.record, "into_collection": told})


def onward(shed: Shed, draft: Draft, fields: Fields, which: str) -> Draft:
    """On to the lawn. Raises FormError where there is no plant to plan for."""
    if not plan_species(shed, draft):
        raise FormError("There is no plan for a plant without a name: collect a sample, or answer more questions.")
    return replace(draft, step="lawn")


def to_record(shed: Shed, draft: Draft, fields: Fields, which: str) -> Draft:
    """On to the record of a plant for which there is no plan: it was seen all the same."""
    return replace(draft, step="record")


ACTIONS = {"change": change, "look_again": look_again, "learn": learn, "onward": onward, "to_record": to_record}
