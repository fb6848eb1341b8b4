"""The line drawings that tell most about a plant: what it shows that few others show, at a glance."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from app.figures.line_drawings import Drawing, line_drawing
from model.flora import Flora, Score
from model.flora.character import PARTS, Part
from model.identify import Key

MOST = 3  # drawings in a strip
LEAST, MUCH = 0.3, 1.5  # nats: what tells less than LEAST most plants show; what tells MUCH stands for its part
ABSENT = ("none", "absent")  # a drawing of what is not there says little
UNSEEN = ("flower_colour", "leaf_colour", "stem_colour", "disc_colour", "life_span")  # nor does a line drawing of these
CUT = ("leaf_base", "leaf_point")  # half a leaf is drawn, which without its question looks like a fault
MOWN: tuple[Part, ...] = ("leaves", "roots")  # what a mown plant shows
FREQUENCIES = ("always", "usually", "sometimes", "rarely")


@dataclass(frozen=True)
class Sketch:
    """A line drawing of one state of a character, and the state in words; never a picture of the plant as a whole."""

    character: str
    state: str
    text: str

    @property
    def drawing(self) -> Drawing:
        """The drawing itself."""
        return line_drawing(self.character, self.state)


def main_state(score: Score) -> str:
    """What a plant shows most of all; "" for a number."""
    states = score.states or {}
    return min(states, key=lambda state: FREQUENCIES.index(states[state]), default="")


def sketch_of(flora: Flora, species: str, character: str) -> Sketch | None:
    """What a plant shows in one character, drawn; None for a number, or where the flora does not know it."""
    score = flora.species[species].characters.get(character)
    state = main_state(score) if isinstance(score, Score) else ""
    if not state or not line_drawing(character, state).svg:
        return None
    return Sketch(character, state, flora.characters[character].states[state])


@lru_cache(maxsize=1024)
def telling(key: Key, species: str, among: tuple[str, ...] = ()) -> tuple[Sketch, ...]:
    """At most MOST drawings, the most telling first, of several parts of the plant where it can be.

    ``among``: what tells it from these only, on leaves, runners and roots, as a mown lawn has no heads. Empty for a
    species that the flora does not have, or knows too little of.
    """
    if species not in key.flora.species:
        return ()
    found = sorted(_weighed(key, species, among), key=lambda one: (-one[0], one[2].character))
    best: dict[Part, tuple[float, Part, Sketch]] = {}
    for one in found:
        if one[0] >= MUCH:
            best.setdefault(one[1], one)
    rest = [one for one in found if one not in best.values()]
    chosen = [*(best[part] for part in PARTS if part in best), *rest][:MOST]
    return tuple(one[2] for one in sorted(chosen, key=lambda one: -one[0]))


def _weighed(key: Key, species: str, among: tuple[str, ...]) -> Iterator[tuple[float, Part, Sketch]]:
    """Drawings of what can be seen at a glance, by how far a plant's answers are from those of all (in nats).

    Among a few, also of what takes a closer look.
    """
    flora, row = key.flora, key.index[species]
    others = [key.index[one] for one in among] or slice(None)
    for name, score in flora.species[species].characters.items():
        character = flora.characters[name]
        if not isinstance(score, Score) or name in (*UNSEEN, *CUT):
            continue
        if character.effort != "glance" if not among else character.part not in MOWN or character.effort == "lens":
            continue
        sketch = sketch_of(flora, species, name)
        if sketch is None or sketch.state in ABSENT or not flora.is_applicable(species, name):
            continue
        rows = key.likelihoods.tables[name].rows
        far = float((rows[row] * np.log(rows[row] / rows[others].mean(axis=0))).sum())
        if far >= LEAST:
            yield far, character.part, sketch
