"""Two plants that are mistaken for one another, side by side, with the character that separates them best."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

from app.figures.telling import Sketch, sketch_of
from app.web.context import Context
from model.flora import Score
from model.identify import would_show
from model.traits.question import SEPARATES


@dataclass(frozen=True)
class Pair:
    """``question`` and what each shows; ``note`` is how the flora says it, with its standing.

    ``one_sketch`` and ``other_sketch`` are drawings of what they show; None for a number.
    """

    one: str
    other: str
    character: str
    question: str
    one_shows: str
    other_shows: str
    note: str
    standing: str
    one_sketch: Sketch | None = None
    other_sketch: Sketch | None = None


def pair_of(context: Context, one: str, other: str, hidden: Collection[str] = ()) -> Pair | None:
    """What separates two plants, if possible none of the ``hidden`` characters, which cannot be seen now.

    None where the flora does not say that they are alike.
    """
    flora = context.key.flora
    entry = flora.look_alike(one, other)
    if entry is None or one not in flora.species or other not in flora.species:
        return None
    separating = [c for c in entry.separate_by if _separates(context, c, one, other)] or entry.separate_by
    character = next((c for c in separating if c not in hidden), separating[0])
    return Pair(
        one,
        other,
        character,
        flora.characters[character].question,
        would_show(flora, one, character),
        would_show(flora, other, character),
        entry.note,
        entry.standing,
        *(sketch_of(flora, species, character) for species in (one, other)),
    )


def _separates(context: Context, character: str, one: str, other: str) -> bool:
    """Whether both plants are known in a character, and show different things."""
    scores = [context.key.flora.species[s].characters.get(character) for s in (one, other)]
    if not all(isinstance(score, Score) for score in scores):
        return False
    table = context.key.likelihoods.tables[character]
    rows = table.rows[[context.key.index[one], context.key.index[other]]]
    best = rows.argmax(axis=1)
    return bool(rows[0, best[0]] >= SEPARATES * rows[1, best[0]] and rows[1, best[1]] >= SEPARATES * rows[0, best[1]])
