"""Find a species by any of its names, exactly and never by guessing."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Mapping
from typing import Protocol

from model.errors import AnswerError, nearest
from model.flora.load import Flora

# Spellings of one name differ in these only: they separate or join words and carry no meaning.
_SEPARATORS = re.compile(r"[\s_.,'`\u2018\u2019\u00b4\u02bc\u2010-\u2015-]+")


class Plant(Protocol):
    """Anything that has names: a species of the flora, or one of the user's own."""

    @property
    def scientific_name(self) -> str: ...

    @property
    def common_names(self) -> list[str]: ...


def plain(text: str) -> str:
    """A name without case, accents, separators and apostrophes: equal for spellings of one name.

    >>> plain("Shepherd's-Purse") == plain("shepherds purse") == plain("SHEPHERDS_PURSE")
    True
    """
    spread = unicodedata.normalize("NFKD", unicodedata.normalize("NFKC", text).casefold())
    kept = "".join(c for c in spread if unicodedata.category(c) not in ("Mn", "Cf", "Cc"))
    return _SEPARATORS.sub("", kept)


class PlantNames:
    """All names of the plants of the flora and of the user's own species."""

    def __init__(self, flora: Flora, own: Mapping[str, Plant] | None = None) -> None:
        self._accepted: dict[str, set[str]] = {}
        self._others: dict[str, set[str]] = {}
        self.plants: dict[str, Plant] = {**(own or {}), **flora.species}
        for species, plant in self.plants.items():
            self._note(self._accepted, species, (species, plant.scientific_name))
            self._note(self._others, species, (*getattr(plant, "synonyms", ()), *plant.common_names))

    @staticmethod
    def _note(table: dict[str, set[str]], species: str, names: Iterable[str]) -> None:
        for name in names:
            if plain(name):
                table.setdefault(plain(name), set()).add(species)

    def look_up(self, text: str) -> str | list[str] | None:
        """The species id that a name means, all ids where it means several, None where it is not known.

        Ids and accepted scientific names come before synonyms and common names.

        >>> from model.flora.load import load_flora
        >>> PlantNames(load_flora()).look_up("Bindy-Eye")
        'soliva_sessilis'
        """
        word = plain(text)
        for table in (self._accepted, self._others):
            found = sorted(table.get(word, ()))
            if found:
                return found[0] if len(found) == 1 else found
        return None

    def the_species(self, text: str) -> str:
        """The one species that a name means. Raises AnswerError where it means none, or several."""
        found = self.look_up(text)
        if isinstance(found, str):
            return found
        alike = found or [s for s, plant in self.plants.items() if self._has_word(plant, text)]
        if alike:
            listed = ", ".join(f"{self.plants[s].common_names[0]} ({s})" for s in alike)
            raise AnswerError(f"{text!r} may be any of several plants; say which: {listed}")
        names = [n for s, plant in self.plants.items() for n in (s, *plant.common_names)]
        raise AnswerError(f"{text!r} is not in the flora; {nearest(text, names)}")

    @staticmethod
    def _has_word(plant: Plant, text: str) -> bool:
        return any(plain(text) in map(plain, name.split()) for name in plant.common_names)
