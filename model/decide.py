"""What would decide once questions are over: which part to look at, dig up or wait for, and in which months."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from model.flora.character import PARTS, Character, Part
from model.flora.load import Flora
from model.traits import Answers, Likelihoods, expected_bits
from model.traits.question import LEAST_APPLICABLE, separation_chance

Array = NDArray[np.float64]
How = Literal["photo", "look", "dig", "wait"]
MOST = 3  # things that a person is asked for
LEAST = 0.05  # bits, or look-alikes distinguished: less is not worth a second visit
SEPARATES_OUTSIDE = 0.2  # worth of a character that distinguishes the plant from one outside the flora
MOST_OF = 0.5  # share of the probable plants that must have the part in a month


@dataclass(frozen=True)
class Decider:
    """A character that would decide: of which part, how to see it, and when (months, empty for any)."""

    character: str
    part: Part
    how: How
    months: tuple[int, ...]
    worth: float


def deciders(
    likelihoods: Likelihoods,
    probability: Array,
    answers: Answers,
    hidden: Collection[str],
    left: Collection[int] = (),
    separate_outside: Collection[str] = (),
) -> tuple[Decider, ...]:
    """The best character of each part, most informative first; three at most.

    ``probability`` float (species + 1,), ``hidden`` characters that cannot be seen now, ``left`` rows of look-alikes
    still to be excluded, ``separate_outside`` characters that distinguish the lead from plants outside the flora.
    """
    flora = likelihoods.flora
    worth = np.maximum(expected_bits(likelihoods, probability), 0.0)
    if left:
        worth = worth + separation_chance(likelihoods, int(probability[:-1].argmax()), left)
    worth = worth + SEPARATES_OUTSIDE * np.array([c in separate_outside for c in flora.characters])
    worth = worth * likelihoods.answerable
    listed = probability[:-1] / max(float(probability[:-1].sum()), 1e-300)
    worth = np.where(listed @ likelihoods.applicable >= LEAST_APPLICABLE, worth, 0.0)
    found = []
    for part in PARTS:
        best = max(
            ((w, c) for w, c in zip(worth, flora.characters.values(), strict=True) if _open(c, part, answers, hidden)),
            key=lambda pair: pair[0],
            default=None,
        )
        if best is not None and best[0] >= LEAST:
            months = _months(flora, listed, part)
            found.append(_decider(best[1], float(best[0]), months, hidden))
    return tuple(sorted(found, key=lambda one: -one.worth)[:MOST])


def _open(character: Character, part: Part, answers: Answers, hidden: Collection[str]) -> bool:
    """Whether the character is of that part, still to be seen and unanswered (unsure counts as unanswered)."""
    gone = character.until is not None and character.id in hidden
    return character.part == part and not gone and answers.get(character.id, ()) == () and character.kind != "month"


def _decider(character: Character, worth: float, months: tuple[int, ...], hidden: Collection[str]) -> Decider:
    part = character.part
    if part == "roots":
        return Decider(character.id, part, "dig", (), worth)
    if part != "leaves" and character.id in hidden:
        return Decider(character.id, part, "wait", months, worth)
    return Decider(character.id, part, "photo" if character.effort == "glance" else "look", (), worth)


def _months(flora: Flora, listed: Array, part: Part) -> tuple[int, ...]:
    """Months in which most of the probable plants have flowers, or ripe seed; empty where in no month, or in all."""
    if part not in ("flowers", "seeds"):
        return ()
    seasons = [plant.season for plant in flora.species.values()]
    in_part = [(season.flowers if part == "flowers" else season.seeds) or () for season in seasons]
    months = tuple(
        m for m in range(1, 13) if sum(p for p, when in zip(listed, in_part, strict=True) if m in when) >= MOST_OF
    )
    return months if len(months) < 12 else ()
