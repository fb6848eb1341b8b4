"""Find a species by any of its names, exactly, never by guessing; or all that an everyday name may mean."""

from __future__ import annotations

import difflib
import re
import unicodedata
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from functools import cached_property
from typing import Protocol

from model.errors import AnswerError, nearest
from model.flora.load import Flora

# Spellings of one name differ only in these, which separate or join words.
_SEPARATORS = re.compile(r"[\s_.,'`\u2018\u2019\u00b4\u02bc\u2010-\u2015-]+")
_BETWEEN_WORDS = re.compile(r"[\s_,()\u2010-\u2015-]+")
LONGEST, MOST_WORDS = 120, 60  # characters of one name, and words of several; more takes minutes to compare
MOST_MEANT = 10  # plants that one word may mean and still be a shortlist
SHORTEST_SLIP = 5  # letters that a name must have for a slip in it to be read as meant
HINTS, ALIKE = 3, 0.8  # names in a hint; how similar a misspelt name is


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
    decomposed = unicodedata.normalize("NFKD", unicodedata.normalize("NFKC", text).casefold())
    kept = "".join(c for c in decomposed if unicodedata.category(c) not in ("Mn", "Cf", "Cc"))
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
        self._note_kinds()

    @staticmethod
    def _note(table: dict[str, set[str]], species: str, names: Iterable[str]) -> None:
        for name in names:
            if plain(name):
                table.setdefault(plain(name), set()).add(species)

    def _note_kinds(self) -> None:
        """A name that is the end of other plants' names, as cudweed is of purple cudweed, means those plants too.

        Not where a plant is usually called just so: dandelion is not false dandelion.
        """
        usual = {plain(name) for plant in self.plants.values() for name in plant.common_names[:1]}
        for species, plant in self.plants.items():
            for name in plant.common_names:
                words = _words(name)
                for start in range(1, len(words)):
                    kind = "".join(words[start:])
                    if kind in self._others and kind not in usual:
                        self._others[kind].add(species)

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

    def candidates(self, text: str) -> tuple[str, ...]:
        """All plants that a name may mean, those whose usual name it is first; empty where it is not known.

        Plants with exactly this name; else all with these words in a common name, or of this genus; else all with them
        in another scientific name; else those whose name is one slip of the finger away. The plural counts as the same
        name.

        >>> from model.flora.load import load_flora
        >>> PlantNames(load_flora()).candidates("milk thistles")
        ('sonchus_oleraceus', 'silybum_marianum')
        """
        if len(text) > LONGEST:
            return ()
        exact = self._exact(text)
        if exact:
            return self._usual_first(exact, text)
        asked = _forms(plain(text))
        for runs in self._runs:
            if found := {species for form in asked for species in runs.get(form, ())}:
                return self._usual_first(found, text)
        return self._usual_first(self._one_slip_away(text), text)

    @cached_property
    def _runs(self) -> tuple[dict[str, set[str]], dict[str, set[str]]]:
        """Plants by words in a row: of common names and genera, and of scientific names."""
        common: dict[str, set[str]] = {}
        scientific: dict[str, set[str]] = {}
        for species, plant in self.plants.items():
            genus, *_ = plant.scientific_name.split() or [""]
            for run in _runs((*plant.common_names, genus)):
                common.setdefault(run, set()).add(species)
            for run in _runs((plant.scientific_name, *getattr(plant, "synonyms", ()))):
                scientific.setdefault(run, set()).add(species)
        return common, scientific

    def the_plants_in(self, words: Sequence[str], exact: bool = False) -> tuple[str, ...]:
        """The plants that are named one after the other, each once; a name of several words needs no quotes.

        The longest run of words that is a name counts as one. Raises AnswerError as ``the_plants`` does.

        >>> from model.flora.load import load_flora
        >>> PlantNames(load_flora()).the_plants_in(["winter", "grass", "bindii"])
        ('poa_annua', 'soliva_sessilis')
        """
        if len(words) > MOST_WORDS:
            raise AnswerError(f"{len(words)} words are too many; give at most {MOST_WORDS} at a time")
        found: list[str] = []
        left = list(words)
        while left:
            runs = [left[:end] for end in range(len(left), 0, -1)]
            run = next((run for run in runs if self._exact(" ".join(run))), None)
            run = run or next((run for run in runs if self.candidates(" ".join(run))), left)
            found += self.the_plants(" ".join(run), exact)
            left = left[len(run) :]
        return tuple(dict.fromkeys(found))

    def the_usual(self, text: str) -> str:
        """The one plant that is usually called so, whatever else may have the name; else as ``the_species``."""
        usually = [s for s, plant in self.plants.items() if [plain(text)] == [*map(plain, plant.common_names[:1])]]
        return usually[0] if len(usually) == 1 else self.the_species(text)

    def the_plants(self, text: str, exact: bool = False) -> tuple[str, ...]:
        """The plants that a name means: one, or a shortlist.

        Raises AnswerError where it means none, or too many; with ``exact``, also where it means several.
        """
        if exact:
            return (self.the_species(text),)
        found = self.candidates(text)
        if not found:
            raise self._unknown(text)
        if len(found) > MOST_MEANT:
            raise AnswerError(self._several(text, found))
        return found

    def the_species(self, text: str) -> str:
        """The one species that a name means. Raises AnswerError where it means none, or several."""
        found = self._exact(text) or sorted(self._one_slip_away(text[: LONGEST + 1]))
        if len(found) == 1:
            return found[0]
        alike = self.candidates(text)
        if len(alike) == 1:
            raise AnswerError(f"{text!r} is only part of a name; did you mean {self._named(alike[0])}?")
        if alike:
            raise AnswerError(self._several(text, alike))
        raise self._unknown(text)

    def near(self, text: str) -> str:
        """The known plant or plants that a name which is not known may mean, in words; "" where none is near.

        >>> from model.flora.load import load_flora
        >>> names = PlantNames(load_flora())
        >>> names.near("curly dock"), names.near("yellow rattle")
        ('curled dock (rumex_crispus)', '')
        """
        found = self.candidates(text)
        if not found and len(text) <= LONGEST and (spelt := self._slip(text)):
            found = self._usual_first(self._exact(spelt), spelt)
        more = f" or {len(found) - HINTS} more" if found[HINTS:] else ""
        return " or ".join(map(self._named, found[:HINTS])) + more

    def _exact(self, text: str) -> list[str]:
        """All plants with this name, in the singular or the plural."""
        for form in (text, *_singulars(plain(text))):
            found = self.look_up(form)
            if found is not None:
                return [found] if isinstance(found, str) else found
        return []

    def _usual_first(self, found: Iterable[str], text: str) -> tuple[str, ...]:
        def place(species: str) -> int:
            """Place of the first common name with these words; 0 for a plant found by its scientific name."""
            names = self.plants[species].common_names
            return next((i for i, name in enumerate(names) if _has_words((name,), text)), 0)

        known = sorted(species for species in found if species in self.plants)
        return tuple(sorted(known, key=place)) or tuple(found)

    def _unknown(self, text: str) -> AnswerError:
        if len(text) > LONGEST:
            return AnswerError(
                f"{text[:40]!r}... is too long for the name of a plant; give at most {LONGEST} characters"
            )
        return AnswerError(f"{text!r} is not in the flora; {self._hint(text)}")

    def _several(self, text: str, found: tuple[str, ...]) -> str:
        listed = ", ".join(map(self._named, found[:MOST_MEANT]))
        more = f" and {len(found) - MOST_MEANT} more" if found[MOST_MEANT:] else ""
        return f"{text!r} may be any of several plants; say which: {listed}{more}"

    def _named(self, species: str) -> str:
        return f"{self.plants[species].common_names[0]} ({species})"

    def _every_name(self) -> list[str]:
        return [n for s, plant in self.plants.items() for n in (s, plant.scientific_name, *plant.common_names)]

    @cached_property
    def _spelt(self) -> dict[str, str]:
        return {plain(name): name for name in self._every_name()}

    def _one_slip_away(self, text: str) -> set[str]:
        """The plants with a name that differs in one letter: missing, added, another one, or two swapped."""
        word = plain(text)
        if len(word) < SHORTEST_SLIP:
            return set()
        return {s for name, spelt in self._spelt.items() if _one_letter_off(word, name) for s in self._exact(spelt)}

    def _slip(self, text: str) -> str:
        """The name that is misspelt; "" where none is nearly the same."""
        slip = difflib.get_close_matches(plain(text), self._spelt, n=1, cutoff=ALIKE)
        return self._spelt[slip[0]] if slip else ""

    def _hint(self, text: str) -> str:
        """Names that may have been meant: a misspelling, else those containing it, else those sharing a word."""
        if slip := self._slip(text):
            return f"did you mean {slip}?"
        spelt, word = self._spelt, plain(text)
        names = self._every_name()
        words = {form for one in _words(text) for form in (one, *_singulars(one)) if len(form) > 2}
        count = Counter(shared for name in names for shared in words.intersection(_words(name)))
        # The rarer a shared word, the more it counts.
        weights = {name: sum(1 / count[shared] for shared in words.intersection(_words(name))) for name in names}
        if len(word) > 2:
            weights |= {name: 2.0 for name in names if word in plain(name)}
        best = sorted((name for name in spelt.values() if weights[name]), key=lambda name: -weights[name])[:HINTS]
        if best:
            return f"did you mean {best[0]}?" if len(best) == 1 else f"the nearest are: {', '.join(best)}"
        return nearest(text, names)


def _words(name: str) -> list[str]:
    return [word for word in map(plain, _BETWEEN_WORDS.split(name)) if word]


def _singulars(word: str) -> tuple[str, ...]:
    """What a word may be the plural of.

    >>> _singulars("daisies"), _singulars("grass")
    (('daisy', 'daisi', 'daisie'), ())
    """
    ends = {"ies": "y", "es": "", "s": ""}
    cut = [word[: -len(end)] + instead for end, instead in ends.items() if word.endswith(end)]
    return () if word.endswith("ss") else tuple(one for one in cut if len(one) > 2)


def _forms(word: str) -> set[str]:
    """A word, and what it may be the plural of."""
    return {word, *_singulars(word)} - {""}


def _runs(names: Iterable[str]) -> Iterator[str]:
    """All words in a row of each name, written as one word, also in the singular."""
    for name in names:
        words = _words(name)
        for start in range(len(words)):
            for end in range(start + 1, len(words) + 1):
                yield from _forms("".join(words[start:end]))


def _has_words(names: Iterable[str], text: str) -> bool:
    """Whether one of the names has these words in a row, also written as one word or in the plural."""
    return not _forms(plain(text)).isdisjoint(_runs(names))


def _one_letter_off(one: str, other: str) -> bool:
    """Whether one slip of the finger makes a word of the other.

    >>> [_one_letter_off("bindii", typed) for typed in ("bindi", "bindiii", "bondii", "bnidii", "bidni")]
    [True, True, True, True, False]
    """
    if abs(len(one) - len(other)) > 1 or one == other:
        return False
    same = next((i for i, (a, b) in enumerate(zip(one, other, strict=False)) if a != b), min(len(one), len(other)))
    a, b = one[same:], other[same:]
    return a[1:] == b[1:] or a[1:] == b or a == b[1:] or (a[:2] == b[:2][::-1] and a[2:] == b[2:])
