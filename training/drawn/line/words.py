"""What each line drawing shows, in one plain sentence, for who cannot see it."""

from __future__ import annotations

from collections.abc import Mapping

from model.flora.character import Character
from training.drawn.line.sign import THINGS

# What a drawing is of, where the character's id does not read well.
SUBJECTS: Mapping[str, str] = {
    "leaf_build": "one whole leaf",
    "leaf_arrangement": "leaves on the plant",
    "leaf_outline": "the outline of a leaf",
    "leaf_edge": "the edge of a leaf",
    "leaf_hairs": "hairs on a leaf",
    "leaf_underside": "a leaf turned over",
    "leaf_mark": "the top of a leaf",
    "leaf_texture": "a leaf between finger and thumb",
    "leaf_base_ears": "the base of a leaf at its stem",
    "leaf_tip": "the tip of a grass blade",
    "middle_leaflet": "three leaflets, the middle one on a longer stalk",
    "stipules": "scales where leaf stalk and stem meet",
    "milky_sap": "a broken stem",
    "crushed_smell": "a leaf rubbed under the nose",
    "stem_section": "a stem cut across",
    "stem_hairs": "hairs on a stem",
    "stem_colour": "the lower stem",
    "growth_habit": "a whole plant",
    "stem_rooting": "roots from a lying stem",
    "underground": "under the ground",
    "flower_build": "a flower or head",
    "flower_colour": "a flower",
    "disc_colour": "the middle of a daisy head",
    "flower_stalk": "flowers on their stalk",
    "stalk_hollow": "a flower stalk cut across",
    "stalk_ridged": "ridges on a flower stalk",
    "seed_structure": "a ripe seed or fruit",
    "spines": "a finger on the plant",
    "petal_size": "petals against green sepals, from the side",
    "petal_notch": "a split at the tip of a petal",
    "ligule": "where a grass blade meets its sheath",
    "leaf_bud": "a young grass shoot cut across",
    "grass_head": "the head of a grass or sedge",
    "spikelet_hairs": "a silky fringe on a spikelet",
    "life_span": "a plant over three years",
    "petal_stripe": "a stripe on a petal",
    "head_bracts": "leaves under a sedge head",
    "outer_bracts": "green bracts under a dandelion-like head",
    "awns": "bristles at the tip of a spikelet",
    "leaf_hollow": "a strap-like leaf cut across",
    "rosette_at_flowering": "a rosette under a flowering plant",
    "head_bract_hairs": "bracts of an unopened head",
    "spray_shape": "the whole flowering top",
    "pod_position": "young pods beside the open flowers",
    "capsule_hairs": "hairs on a three-lobed capsule",
    "seed_wings": "the sides of a flat seed",
    "bract_stalk": "leaf pairs under the flowers with a stalk",
    "cluster_shape": "flowers together",
    "spikelet_florets": "flowers in one spikelet",
}
# Drawings that show a colour by a thing that has it: character, state, and the thing's colour.
SIGNS: Mapping[tuple[str, str], str] = {
    **{("flower_colour", state): state for state in THINGS if state != "red"},
    **{("petal_stripe", state): state for state in ("pink", "purple", "green")},
    ("leaf_underside", "purple"): "purple",
    ("disc_colour", "yellow"): "yellow",
    ("disc_colour", "dark"): "purple",
    ("stem_colour", "green"): "green",
    ("stem_colour", "reddish"): "red",
}
# What the picture shows beyond the words of the state.
MORE: Mapping[tuple[str, str], str] = {
    ("life_span", "annual"): "it flowers in the first year and is dead in the second",
    ("life_span", "biennial"): "a rosette in the first year, flowers in the second, dead in the third",
    ("life_span", "perennial"): "it flowers in each year from the same roots",
    ("leaf_texture", "thin"): "it hangs limp from finger and thumb",
    ("leaf_texture", "fleshy"): "cut across it drips",
    ("leaf_texture", "stiff"): "it stands straight out and springs back",
    ("stem_hairs", "star"): "enlarged under a glass",
    ("leaf_bud", "folded"): "seen end on, like a closed book",
    ("leaf_bud", "rolled"): "seen end on, like a spiral",
    ("growth_habit", "mat"): "seen from above",
    ("petal_notch", "none"): "its tip is rounded",
    ("petal_stripe", "none"): "the petal is plain",
    ("spikelet_hairs", "none"): "the spikelet is bare",
    ("spines", "on_fruit"): "the finger is pricked by a burr",
    ("spines", "on_leaf"): "the finger is pricked by a leaf",
}


def sentence(character: Character, state: str | None = None) -> str:
    """One sentence on the drawing of a state, or on the ruler of a number or month."""
    subject = SUBJECTS.get(character.id, character.id.replace("_", " "))
    if state is None:
        look = character.look.split(". ")[0].rstrip(".")
        how = f"in {character.unit}, " if character.unit in ("mm", "cm") else ""
        return _first_up(f"{subject}: {how}{look[0].lower()}{look[1:]}.")
    shown = SIGNS.get((character.id, state))
    beside = f", beside {THINGS[shown][0]} of that colour" if shown else ""
    more = MORE.get((character.id, state))
    return _first_up(f"{subject}: {character.states[state]}{beside}{f'; {more}' if more else ''}.")


def _first_up(text: str) -> str:
    return text[0].upper() + text[1:]
