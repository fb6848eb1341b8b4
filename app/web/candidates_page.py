"""Step 2: what it could be, how sure that is, and how look-alikes are told apart."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import replace
from typing import Any

from app.present.deciding import known_so_far
from app.present.finding import LEAST_NAMED, headline, shown_candidates
from app.web.comparison import Pair, pair_of
from app.web.context import Context
from app.web.draft import Draft, Step
from app.web.frame import Fields
from model.identify import Finding
from model.traits import out_of_sight

STEP = Step("Could be", 20)

MOST_PAIRS = 3


def show(context: Context, draft: Draft) -> dict[str, Any]:
    """What the step shows."""
    interview = context.interview(draft)
    finding = interview.finding
    seen = set(interview.photos.probabilities) if interview.photos is not None else set()
    return {
        **ranking(context, finding, seen),
        "known": known_so_far(finding, context.key, interview.answers),
        "headline": headline(finding, context.key),
        "photo_leads": best_by_photo(context, finding, seen),
        "learned": len(seen),
        "pairs": look_alikes(context, finding, out_of_sight(context.key.flora.characters, draft.visible)),
        "bad": [shot for shot in draft.shots if shot.notes],
    }


def ranking(context: Context, finding: Finding, seen: set[str]) -> dict[str, Any]:
    """The candidates worth a line, which may be none, and what is left for the others."""
    shown, others, rest = shown_candidates(finding)
    rows = [{"plant": c, "photographed": c.species in seen} for c in shown]
    return {"rows": rows, "others": others, "rest": rest, "unlisted": finding.unlisted_probability, "seen": bool(seen)}


def best_by_photo(context: Context, finding: Finding, seen: set[str]) -> str:
    """What the photos alone put first, in a sentence; no plant that is improbable for all that."""
    known = [(c.photo_probability, c) for c in finding.candidates if c.photo_probability is not None]
    if not known:
        return ""
    chance, best = max(known, key=lambda pair: pair[0])
    if chance < 1 - sum(p for p, _ in known):
        return "The photos match none of the plants in the photo model; answer the questions instead."
    if best.probability < LEAST_NAMED:
        return "The photos alone point to no plant; answer the questions instead."
    if best.species != finding.candidates[0].species:
        return f"The photo model ranks {best.common_name} first among the plants it knows, but is far from sure."
    return f"The photo model finds it most like {best.common_name}."


def look_alikes(context: Context, finding: Finding, hidden: Collection[str] = ()) -> list[Pair]:
    """The leading plant beside those it is taken for, the likeliest first; none that is not put forward itself."""
    lead = finding.candidates[0].species
    chance = {c.species: c.probability for c in shown_candidates(finding)[0]}
    others = [s for s in chance if lead in chance and s in context.key.flora.look_alikes.get(lead, ())]
    found = (pair_of(context, lead, other, hidden) for other in others)
    return [pair for pair in found if pair is not None][:MOST_PAIRS]


def ask(context: Context, draft: Draft, fields: Fields, which: str) -> Draft:
    """On to the questions."""
    return replace(draft, step="questions")


ACTIONS = {"ask": ask}
