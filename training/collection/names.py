"""Names as folders, tables and archives give them: labels outside the flora, new ids, authors left away."""

from __future__ import annotations

import re
import unicodedata

from model.errors import CollectionError
from model.file import DEVICES
from model.flora.name import PlantNames
from model.photo.evidence import OTHER

OTHER_FOLDER = "_other"
LONGEST_ID = 80
_APOSTROPHES = re.compile(r"['`\u2018\u2019\u00b4\u02bc]")
_CROSS = "\u00d7"  # the sign of a hybrid
# Words that say that what follows belongs to the plant's name, or that the name is not certain.
_RANKS = frozenset(
    {"subsp", "ssp", "nothosubsp", "var", "subvar", "f", "forma", "sect", "ser", "cv", "cf", "aff", "agg", "sp", "spp"}
) | {"x", "?", _CROSS}


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

    What is not certain (ranks, hybrids, open names such as cf.) is left as it is.

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


class Names(PlantNames):
    """All names of the plants of the flora and of the user's own, and labels of plants outside the flora."""

    def look_up(self, text: str) -> str | list[str] | None:
        """As PlantNames does; `_other/<kind>` and `other:<kind>` give `other:<kind>`."""
        for start in (OTHER_FOLDER + "/", OTHER):
            if text.startswith(start):
                kind = re.sub(r"[^a-z0-9]+", "_", text.removeprefix(start).casefold()).strip("_")
                return OTHER + kind if kind else None
        return super().look_up(text)
