"""Check the flora from the shell: ``python -m model.flora [--leaves] [SPECIES...]``.

Prints one line a species (characters scored, and how many of leaves; applicable characters left unknown), every
look-alike pair that its ``separate_by`` characters do not separate, and the plants that look alike in leaf: those that
no character of leaves separates before they flower. ``--leaves`` prints only the last. Exit status 1 when a look-alike
pair is not separated, 2 when a file cannot be read.
"""

from __future__ import annotations

import sys
from typing import Literal

from model.errors import FloraError
from model.flora.load import CONFIGS, Flora, load_flora, load_species
from model.flora.species import Score

Absent = Literal["unknown", "inapplicable"]
NOT_SEEN = frozenset({"life_span"})  # mostly a guess


def young(score: Score | Absent | None) -> Score | Absent | None:
    """What a plant shows before it flowers; None where the file does not say."""
    if not isinstance(score, Score) or score.when is None:
        return score
    if score.before is None:
        return None
    value = {"states": score.before} if isinstance(score.before, dict) else {"range": score.before}
    return Score(**value, source=score.source, standing=score.standing)


def alike_in_leaf(flora: Flora, species: str) -> list[str]:
    """The plants that no character of leaves separates from a species before they flower."""
    of_leaves = [c.id for c in flora.characters.values() if c.part == "leaves" and c.id not in NOT_SEEN]
    others = [other for other in flora.ids if other != species]
    return [s for s in others if not any(separates(flora, c, species, s, in_leaf=True) for c in of_leaves)]


def separates(flora: Flora, character: str, one: str, two: str, in_leaf: bool = False) -> bool:
    """Whether two species show nothing in common for a character that both have.

    Choices: no shared state that is more than rare in both. Numbers: ranges that overlap by
    less than a third of the shorter one. Months: no shared month. ``in_leaf``: before they flower.
    """
    a, b = (flora.species[s].characters.get(character) for s in (one, two))
    if in_leaf:
        a, b = young(a), young(b)
    if not (flora.is_applicable(one, character) and flora.is_applicable(two, character)):
        return flora.is_applicable(one, character) != flora.is_applicable(two, character)
    if not isinstance(a, Score) or not isinstance(b, Score):
        return False
    if a.states is not None and b.states is not None:
        usual = [{s for s, f in x.items() if f not in ("rarely", "sometimes")} for x in (a.states, b.states)]
        return not usual[0] & usual[1] and bool(usual[0]) and bool(usual[1])
    if a.range is not None and b.range is not None:
        overlap = min(a.range[1], b.range[1]) - max(a.range[0], b.range[0])
        shorter = min(a.range[1] - a.range[0], b.range[1] - b.range[0])
        return overlap <= shorter / 3 if shorter > 0 else overlap < 0
    return not set(a.months or []) & set(b.months or [])


def _line(flora: Flora, species: str) -> str:
    plant = flora.species[species]
    scored = [c for c, s in plant.characters.items() if isinstance(s, Score)]
    idle = [c for c in scored if not flora.is_applicable(species, c)]
    missing = [
        c for c in flora.characters if flora.is_applicable(species, c) and plant.characters.get(c) in (None, "unknown")
    ]
    leaves = sum(flora.characters[c].part == "leaves" and c not in idle for c in scored)
    text = f"{species}: {len(scored)} characters, {leaves} of leaves; unknown: {', '.join(missing) or 'none'}"
    return text + (f"; scored but not applicable: {', '.join(idle)}" if idle else "")


def main(wanted: list[str]) -> int:
    """Report on the named species, or on all."""
    only_leaves = "--leaves" in wanted
    wanted = [name for name in wanted if name != "--leaves"]
    try:
        for name in wanted:
            load_species(CONFIGS / "species" / f"{name}.yaml")
        flora = load_flora()
    except FloraError as error:
        print(error, file=sys.stderr)
        return 2
    left = pairs = 0
    for species in wanted or flora.ids:
        alike = alike_in_leaf(flora, species)
        pairs += len(alike)
        if alike or not only_leaves:
            print(species if only_leaves else _line(flora, species))
        if alike:
            print(f"  alike in leaf: {', '.join(alike)}")
        if only_leaves:
            continue
        for entry in flora.species[species].look_alikes:
            if entry.species is not None and not any(
                separates(flora, c, species, entry.species) for c in entry.separate_by
            ):
                left += 1
                print(f"  NOT SEPARATED from {entry.species} by {', '.join(entry.separate_by)}")
    print(
        f"{len(flora.ids)} species, {len(flora.characters)} characters, {left} look-alike pairs not separated;", end=" "
    )
    print(f"{pairs} times alike in leaf")
    return 1 if left else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
