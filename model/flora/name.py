"""Find a species by any of its names."""

from __future__ import annotations

import unicodedata

from model.errors import AnswerError, nearest
from model.flora.load import Flora


def plain(name: str) -> str:
    """A name as it is compared: without case, accents, hyphens, apostrophes and doubled spaces.

    >>> plain("Bindy-Eye"), plain("lamb's  tongue"), plain("soliva_sessilis")
    ('bindy eye', 'lambs tongue', 'soliva sessilis')
    """
    letters = unicodedata.normalize("NFKD", name.casefold())
    kept = "".join(c for c in letters if not unicodedata.combining(c) and c not in "'\u2019`")
    return " ".join(kept.replace("-", " ").replace("_", " ").split())


def species_named(flora: Flora, name: str) -> tuple[str, ...]:
    """Ids of all species that bear a name: id, scientific name, synonym or common name.

    >>> from model.flora.load import load_flora
    >>> species_named(load_flora(), "Bindii")
    ('soliva_sessilis',)
    """
    wanted = plain(name)
    return tuple(
        plant.id
        for plant in flora.species.values()
        if wanted in {plain(n) for n in (plant.id, plant.scientific_name, *plant.synonyms, *plant.common_names)}
    )


def the_species_named(flora: Flora, name: str) -> str:
    """The one species that bears a name. Raises AnswerError where none or several do."""
    found = species_named(flora, name)
    if len(found) == 1:
        return found[0]
    if found:
        raise AnswerError(f"{name!r} is a name of several plants; say which: {', '.join(found)}")
    wanted = plain(name)
    near = [p for p in flora.species.values() if any(wanted in plain(n).split() for n in p.common_names)]
    if near:
        listed = ", ".join(f"{p.common_name} ({p.id})" for p in near)
        raise AnswerError(f"{name!r} may be any of several plants; say which: {listed}")
    names = [n for plant in flora.species.values() for n in (plant.id, *plant.common_names)]
    raise AnswerError(f"{name!r} is not in the flora; {nearest(name, names)}")
