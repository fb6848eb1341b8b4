"""Whether the answers overturned the photo: from which plant, to which, and by which answers."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from model.finding import LEADS, Override, PhotoEvidence
from model.flora.load import Flora
from model.traits import Answers, Likelihoods
from model.traits.answers import Answer

Array = NDArray[np.float64]
MOVED = 2.0  # likelihood ratio from which an answer counts as a reason


def override_of(
    likelihoods: Likelihoods, answers: Answers, photos: PhotoEvidence | None, lead: int, p: Array
) -> Override | None:
    """The override, where the photo's first choice was a species and the answers favour another hypothesis; else None.

    ``lead`` is the row of the best listed species, ``p`` float (species + 1,) the posterior.
    """
    ids = likelihoods.flora.ids
    if photos is None or not answers or not photos.probabilities:
        return None
    first = max(photos.probabilities, key=lambda s: photos.probabilities[s])
    if photos.probabilities[first] < 1 - sum(photos.probabilities.values()) or first not in ids:
        return None
    now = len(p) - 1 if p[-1] >= LEADS else lead
    if now == ids.index(first):
        return None
    ratios = {}
    for character, answer in answers.items():
        row = likelihoods.tables[character].likelihood(answer)
        ratios[character] = float(row[now] / row[ids.index(first)])
    decisive = sorted((c for c in ratios if ratios[c] >= MOVED), key=lambda c: -ratios[c])
    reasons = tuple(_reason(likelihoods.flora, first, c, answers[c], ratios[c]) for c in decisive)
    says = "unlisted" if now == len(p) - 1 else ids[now]
    return Override(photo_said=first, answers_say=says, reasons=reasons)


def _reason(flora: Flora, overturned: str, character: str, answer: Answer, ratio: float) -> dict[str, Any]:
    return {
        "character": character,
        "answered": list(answer) if isinstance(answer, tuple) else answer,
        "would_have_shown": would_show(flora, overturned, character),
        "ratio": round(ratio, 1),
    }


def would_show(flora: Flora, species: str, character: str) -> str:
    """What a species shows for a character, in words."""
    if not flora.is_applicable(species, character):
        return "has no such part"
    score = flora.species[species].characters.get(character)
    question = flora.characters[character]
    if score is None or isinstance(score, str):
        return "not known"
    if score.states is not None:
        return "; ".join(f"{question.states[s]} ({f})" for s, f in score.states.items())
    if score.months is not None:
        return "months " + ", ".join(str(m) for m in score.months)
    low, high = score.range or (0, 0)
    return f"{low:g} to {high:g} {question.unit}"
