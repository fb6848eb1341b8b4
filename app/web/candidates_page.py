"""Step 2: what it could be by the photos, and how look-alikes are told apart; then what can be seen of the plant."""

from __future__ import annotations

from collections.abc import Collection
from typing import Any

from app.present.deciding import known_so_far
from app.present.finding import LEAST_NAMED, shown_candidates
from app.web import photos_page as photos
from app.web import visible_parts
from app.web.comparison import Pair, pair_of
from app.web.context import Context
from app.web.draft import Draft, Step
from app.web.frame import go_to
from app.web.plant_pictures import first_photo
from app.web.sender import ask_sender
from model.identify import LEADS, Finding, PhotoEvidence
from model.photo.evidence import STRANGE
from model.text import counted
from model.traits import out_of_sight

STEP = Step("Could be", 20)

MOST_PAIRS = 3


def show(context: Context, draft: Draft) -> dict[str, Any]:
    """What the step shows."""
    interview = context.interview(draft)
    finding = interview.finding
    seen = set(interview.photos.probabilities) if interview.photos is not None else set()
    nothing: dict[str, Any] = (
        {"rows": [], "pairs": []} if are_strange(interview.photos) and not interview.answers else {}
    )
    return {
        **ranking(context, finding, seen),
        **photos.given(draft),
        "known": known_so_far(finding, context.key, interview.answers),
        "photo_leads": best_by_photo(finding, interview.photos),
        "photo": first_photo(draft),
        "usual": visible_parts.usual(),
        "parts_asked": visible_parts.cards(draft) if visible_parts.is_asked(draft) else [],
        "again": False,
        "pairs": look_alikes(context, finding, out_of_sight(context.key.flora.characters, draft.visible)),
        **nothing,
    }


def ranking(context: Context, finding: Finding, seen: set[str]) -> dict[str, Any]:
    """The candidates worth a line, which may be none; ``unlisted`` where a plant that is not on file is worth one."""
    rows = [
        {"plant": c, "photographed": c.species in seen, "word": "likely" if c.probability >= LEADS else "possible"}
        for c in shown_candidates(finding)[0]
    ]
    unlisted = finding.unlisted_probability
    return {"rows": rows, "unlisted": unlisted if unlisted >= LEAST_NAMED else 0, "seen": bool(seen)}


def are_strange(photos: PhotoEvidence | None) -> bool:
    """Whether every photo that was looked at is unlike all that the photo model has learned."""
    notes = [photo["notes"] for photo in photos.photos if photo["usable"]] if photos is not None else []
    return bool(notes) and all(STRANGE in each for each in notes)


def best_by_photo(finding: Finding, photos: PhotoEvidence | None) -> str:
    """What the photos alone say, in words; no plant that is improbable for all that."""
    if photos is None or not photos.probabilities:
        return ""
    best = max(photos.probabilities, key=photos.probabilities.__getitem__)
    named = next((c for c in finding.candidates if c.species == best and c.probability >= LEAST_NAMED), None)
    learned, left = counted(len(photos.probabilities), "plant"), finding.species_count - len(photos.probabilities)
    if are_strange(photos) or photos.probabilities[best] < 1 - sum(photos.probabilities.values()):
        none = f"The photos look like none of the {learned} that the photo model has learned."
        return f"{none} They may show another plant, or no plant at all; if it is one, the questions will tell."
    if named is None:
        return "The photos alone point to no plant; the questions will tell."
    leads = f"Of the {learned} that the photo model has learned, this looks most like {named.common_name}"
    if best != finding.candidates[0].species:
        leads += ", but that is far from sure"
    tell = f" It has not learned the other {left} on file; the questions tell them apart." if left > 0 else ""
    return f"{leads}.{tell} A photo alone never confirms a name."


def look_alikes(context: Context, finding: Finding, hidden: Collection[str] = ()) -> list[Pair]:
    """The leading plant beside those it is taken for, the likeliest first; none that is not put forward itself."""
    lead = finding.candidates[0].species
    chance = {c.species: c.probability for c in shown_candidates(finding)[0]}
    others = [s for s in chance if lead in chance and s in context.key.flora.look_alikes.get(lead, ())]
    found = (pair_of(context, lead, other, hidden) for other in others)
    return [pair for pair in found if pair is not None][:MOST_PAIRS]


ACTIONS = {
    "ask": go_to("questions"),
    "ask_sender": ask_sender,
    "see": visible_parts.see,
    "see_usual": visible_parts.see_usual,
    "look": photos.look,
    "remove": photos.remove,
}
