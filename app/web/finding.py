"""Step 4: the finding, with its reasons; and the photos into the collection, if the user says so."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from app.web.draft import Draft
from app.web.frame import Fields, FormError, one
from app.web.pair import pair_of
from app.web.shed import Shed
from app.words import answer_text, headline, override_lines
from model.identify import Candidate
from model.traits import Answers

WORDS = {
    "confirmed": "Confirmed",
    "likely": "Likely",
    "undecided": "Undecided",
    "unlisted": "Not in the list",
}
SHORTLIST, LEAST = 4, 0.1


def show(shed: Shed, draft: Draft) -> dict[str, Any]:
    """What the step shows."""
    finding = shed.finding(draft)
    lead = finding.candidates[0]
    pairs = [pair_of(shed, lead.species, other) for other in finding.still_to_exclude]
    return {
        "finding": finding,
        "word": WORDS[finding.status],
        "lead": lead,
        "headline": headline(finding, shed.key),
        "override": override_lines(finding, shed.key),
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
        return [{"question": asked[c].question, "answer": answer_text(shed.key, c, answers[c])} for c in characters]

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
    from app.collecting import labeller
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


ACTIONS = {"learn": learn, "onward": onward, "to_record": to_record}
