"""Which drawing belongs to which state of which character, and the ways in.

A file in configs/figures goes first; what has none is computed by the modules here.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache

from model.errors import SwardkeyError, nearest
from model.flora.character import Character
from model.flora.load import load_characters
from training.drawn.line import cluster, flower, fruit, grass, habit, head, joint, leaf, root, seed, stem, surface
from training.drawn.line.canvas import Sketch
from training.drawn.line.leaf import Draw
from training.drawn.line.ruler import measure
from training.drawn.line.stored import RULER, VISIBLE, drawings, path_of, stored
from training.drawn.line.words import sentence

MODULES = (leaf, surface, joint, stem, habit, root, flower, cluster, head, fruit, seed, grass)


@cache
def figures() -> Mapping[str, Mapping[str, Draw]]:
    """What computes the drawing of each state that needs no file: character id, then state id."""
    found: dict[str, dict[str, Draw]] = {}
    for module in MODULES:
        for character, states in module.FIGURES.items():
            found.setdefault(character, {}).update(states)
    return found


@cache
def _characters() -> Mapping[str, Character]:
    return load_characters()


def _character(name: str) -> Character:
    known = _characters()
    if name not in known:
        raise SwardkeyError(f"no character {name}; {nearest(name, known)}")
    return known[name]


def _choice(name: str, state: str) -> Character:
    character = _character(name)
    if character.kind != "choice":
        raise SwardkeyError(f"{name} is a {character.kind} and has no states; draw its ruler instead")
    if state not in character.states:
        raise SwardkeyError(f"{name} has no state {state}; {nearest(state, character.states)}")
    return character


@cache
def draw_state(character_id: str, state: str) -> str:
    """The line drawing of one state of a choice character, as SVG with its text alternative.

    It has no colour of its own: strokes take the text's colour (currentColor), one pale fill is a
    share of it. Put it into the page itself, not into an <img>, so that it follows dark ground.

    Raises SwardkeyError for an unknown character or state, and where nothing is drawn for it yet.
    """
    character = _choice(character_id, state)
    if drawn := stored(character_id, state):
        return drawn[0]
    draw = figures().get(character_id, {}).get(state)
    if draw is None:
        raise SwardkeyError(f"{character_id}: {state} has no drawing yet; add {path_of(character_id, state)}")
    sketch = Sketch()
    draw(sketch)
    return sketch.svg(sentence(character, state), f"drawing-{character_id}-{state}")


@cache
def draw_ruler(character_id: str) -> str:
    """What a number character measures or counts, with a ruler, as SVG; of a month, the year.

    Raises SwardkeyError for an unknown character, for a choice, and where nothing is drawn for it yet.
    """
    character = _character(character_id)
    if character.kind == "choice":
        raise SwardkeyError(f"{character_id} is a choice; draw one of its states: {', '.join(character.states)}")
    if drawn := stored(character_id, RULER):
        return drawn[0]
    sketch = Sketch()
    try:
        measure(sketch, character)
    except KeyError:
        raise SwardkeyError(f"{character_id} has no ruler yet; add {path_of(character_id, RULER)}") from None
    return sketch.svg(sentence(character), f"ruler-{character_id}")


def text_alternative(character_id: str, state: str | None = None) -> str:
    """What the drawing of a state shows, in one sentence; without a state, what the ruler shows.

    Raises SwardkeyError for an unknown character or state.
    """
    character = _character(character_id) if state is None else _choice(character_id, state)
    drawn = stored(character_id, state or RULER)
    return drawn[1] if drawn else sentence(character, state)


@cache
def draw_visible(part: str) -> str:
    """The drawing of a part that a person may have before them: leaves, flowers, seeds or roots.

    Raises SwardkeyError for an unknown part.
    """
    drawn = stored(VISIBLE, part)
    if drawn is None:
        raise SwardkeyError(f"no drawing of {part}; {nearest(part, drawings().get(VISIBLE, {}))}")
    return drawn[0]
