"""Check the flora from the shell: ``python -m model.flora [SPECIES...]``.

Prints one line a species (characters scored, applicable characters left unknown) and every
look-alike pair that its own ``separate_by`` characters do not tell apart. Exit status 1 when
such a pair is left, 2 when a file cannot be read.
"""

from __future__ import annotations

import sys

from model.errors import FloraError
from model.flora.load import CONFIGS, Flora, load_flora, load_species
from model.flora.species import Score


def separates(flora: Flora, character: str, one: str, two: str) -> bool:
    """Whether two species show nothing in common for a character that both have.

    Choices: no shared state that is more than rare in both. Numbers: ranges that overlap by
    less than a third of the shorter one. Months: no shared month.
    """
    a, b = (flora.species[s].characters.get(character) for s in (one, two))
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
    text = f"{species}: {len(scored)} characters; unknown: {', '.join(missing) or 'none'}"
    return text + (f"; scored but not applicable: {', '.join(idle)}" if idle else "")


def main(wanted: list[str]) -> int:
    """Report on the named species, or on all."""
    try:
        for name in wanted:
            load_species(CONFIGS / "species" / f"{name}.yaml")
        flora = load_flora()
    except FloraError as error:
        print(error, file=sys.stderr)
        return 2
    left = 0
    for species in wanted or flora.ids:
        print(_line(flora, species))
        for entry in flora.species[species].look_alikes:
            if entry.species is not None and not any(
                separates(flora, c, species, entry.species) for c in entry.separate_by
            ):
                left += 1
                print(f"  NOT SEPARATED from {entry.species} by {', '.join(entry.separate_by)}")
    print(f"{len(flora.ids)} species, {len(flora.characters)} characters, {left} look-alike pairs not separated")
    return 1 if left else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
