"""Find the species that a folder, a row or an archive means, from its exact name and never by guessing."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Mapping
from typing import Protocol

from model.errors import CollectionError
from model.flora import Flora
from model.photo.evidence import OTHER

OTHER_FOLDER = "_other"
LONGEST_ID = 80
# Spellings of one name differ in these only: they separate or join words and carry no meaning.
_SEPARATORS = re.compile(r"[\s_.,'`\u2018\u2019\u00b4\u02bc\u2010-\u2015-]+")
_APOSTROPHES = re.compile(r"['`\u2018\u2019\u00b4\u02bc]")
_CROSS = "\u00d7"  # the sign of a hybrid
# Words that say that what follows belongs to the plant's name, or that the name is not certain.
_RANKS = frozenset(
    {"subsp", "ssp", "nothosubsp", "var", "subvar", "f", "forma", "sect", "ser", "cv", "cf", "aff", "agg", "sp", "spp"}
) | {"x", "?", _CROSS}
# File names that Windows keeps for devices, whatever their ending.
DEVICES = frozenset(
    ["con", "prn", "aux", "nul", "conin$", "conout$", "clock$"]
    + [f"{port}{number}" for port in ("com", "lpt") for number in (*range(10), "¹", "²", "³")]
)


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


def id_of(name: str) -> str:
    """The id for a species of the user's own: lower-case letters, digits and underscores.

    Raises CollectionError where the name leaves none, or one that no file can have.

    >>> id_of("Wandering  Jew's-Trad")
    'wandering_jews_trad'
    """
    spread = unicodedata.normalize("NFKD", unicodedata.normalize("NFKC", name).casefold()).replace(_CROSS, "x")
    letters = _APOSTROPHES.sub("", "".join(c for c in spread if unicodedata.category(c) not in ("Mn", "Cf", "Cc")))
    found = re.sub(r"[^a-z0-9]+", "_", letters).strip("_")
    foreign = any(c.isalpha() and not c.isascii() for c in letters)
    if not re.search(r"[a-z]", found) or foreign or found in DEVICES or len(found) > LONGEST_ID:
        raise CollectionError(
            f"{name!r} cannot name a species: use up to {LONGEST_ID} letters a to z, such as genus_species"
        )
    return found


def without_authors(name: str, authorship: str = "") -> str:
    """A scientific name without its authors, where it is certain what they are.

    What is not certain (ranks, hybrids, open names such as cf.) is left as it stands.

    >>> without_authors("Poa annua L."), without_authors("Poa annua L. var. annua")
    ('Poa annua', 'Poa annua L. var. annua')
    """
    name, authorship = " ".join(name.split()), " ".join(authorship.split())
    if authorship and name.endswith(" " + authorship):
        return name[: -len(authorship)].rstrip()
    words = name.split(" ")
    if len(words) < 3 or not re.fullmatch(r"[a-z-]+", words[1]):
        return name
    authors = words[2].lstrip("([")
    if not authors[:1].isupper() or any(w.rstrip(".") in _RANKS or w[0] == _CROSS for w in words):
        return name
    return " ".join(words[:2])


class Names:
    """All names of the plants of the flora and of the user's own species."""

    def __init__(self, flora: Flora, own: Mapping[str, Plant] | None = None) -> None:
        self._accepted: dict[str, set[str]] = {}
        self._others: dict[str, set[str]] = {}
        plants: dict[str, Plant] = {**(own or {}), **flora.species}
        for species, plant in plants.items():
            self._note(self._accepted, species, (species, plant.scientific_name))
            self._note(self._others, species, (*getattr(plant, "synonyms", ()), *plant.common_names))

    @staticmethod
    def _note(table: dict[str, set[str]], species: str, names: Iterable[str]) -> None:
        for name in names:
            if plain(name):
                table.setdefault(plain(name), set()).add(species)

    def look_up(self, text: str) -> str | list[str] | None:
        """The species id that a name means, all ids where it means several, None where it is not known.

        Ids and accepted scientific names come before synonyms and common names. `_other/<kind>`
        and `other:<kind>` are plants outside the flora and give `other:<kind>`.
        """
        for start in (OTHER_FOLDER + "/", OTHER):
            if text.startswith(start):
                kind = re.sub(r"[^a-z0-9]+", "_", text.removeprefix(start).casefold()).strip("_")
                return OTHER + kind if kind else None
        word = plain(text)
        for table in (self._accepted, self._others):
            found = sorted(table.get(word, ()))
            if found:
                return found[0] if len(found) == 1 else found
        return None
