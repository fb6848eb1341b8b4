"""How sure a name is and why, in words for who does not know plants: for the advice and the job sheet."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from app.words import answer_text
from model.identify import Finding, Key, unseparated
from model.traits import Answers

REASONS, TAKEN_FOR = 5, 4  # how many of each are told, the most telling first
STILL, AT_MOST = 0.05, 3  # what an undecided plant may still be: the least probability, and how many others


@dataclass(frozen=True)
class Naming:
    """How a plant got its name. ``status`` as in a Finding, or ``told``: a person named it, without the key.

    ``confirmed_by``: who looked at it and said so. ``also``: what an undecided plant may be as well.
    """

    species: str
    status: str = "told"
    probability: float | None = None
    answers: Answers = field(default_factory=dict)
    confirmed_by: str = ""
    also: tuple[str, ...] = ()

    @classmethod
    def of(cls, finding: Finding, answers: Answers, confirmed_by: str = "") -> Naming:
        """From a Finding; where it names no plant, the one in front stands for it."""
        lead, *others = finding.candidates
        chances = {candidate.species: candidate.probability for candidate in others}
        also = still_possible(chances) if finding.status == "undecided" else ()
        return cls(lead.species, finding.status, lead.probability, answers, confirmed_by, also)


def still_possible(chances: Mapping[str, float]) -> tuple[str, ...]:
    """Those that are likely enough to be reckoned with, the likeliest first.

    >>> still_possible({"a": 0.2, "b": 0.3, "c": 0.01})
    ('b', 'a')
    """
    likely = [species for species, chance in chances.items() if chance >= STILL]
    return tuple(sorted(likely, key=lambda species: -chances[species])[:AT_MOST])


def how_sure(naming: Naming, key: Key) -> str:
    """How far the name may be leant on, in one or two sentences."""
    name = key.flora.species[naming.species].common_name
    told = f" The name was confirmed by {naming.confirmed_by}." if naming.confirmed_by else ""
    if naming.status == "told":
        return (told or " The name was given by who looked at it; no signs were noted on this sheet.").strip()
    chance = f" ({in_hundred(naming.probability)})" if naming.probability is not None else ""
    if naming.status == "confirmed":
        return f"This is {name}{chance}: what was seen tells it from every plant on file that is taken for it.{told}"
    if naming.status == "likely":
        return f"This is most likely {name}{chance}, and not yet proven.{told}"
    if naming.status == "unlisted":
        return f"None of the plants on file fits well. The nearest is {name}; a sample should be looked at.{told}"
    return f"It is not certain yet what this is. In front is {name}{chance}.{told}"


def in_hundred(probability: float) -> str:
    """A probability as people say it; never certain, never impossible.

    >>> in_hundred(0.972), in_hundred(0.9999)
    ('about 97 in 100', 'more than 99 in 100')
    """
    if probability > 0.995:
        return "more than 99 in 100"
    return f"about {max(round(probability * 100), 1)} in 100"


def seen(naming: Naming, key: Key) -> list[str]:
    """What was seen that fits the name, the most telling first: the question, and the answer."""
    row = key.index[naming.species]
    ratios = {}
    for character, answer in naming.answers.items():
        table = key.likelihoods.tables[character]
        if table.verdict(answer, row) == "agrees":
            chances = table.likelihood(answer)
            ratios[character] = chances[row] / chances[-1]
    best = sorted(ratios, key=lambda c: -ratios[c])[:REASONS]
    return [f"{key.flora.characters[c].question} {answer_text(key, c, naming.answers[c])}." for c in best]


def against(naming: Naming, key: Key) -> list[str]:
    """What was seen that does not fit the name."""
    row = key.index[naming.species]
    tables = key.likelihoods.tables
    odd = [c for c, answer in naming.answers.items() if tables[c].verdict(answer, row) == "disagrees"]
    return [f"{key.flora.characters[c].question} {answer_text(key, c, naming.answers[c])}." for c in odd]


def taken_for(naming: Naming, key: Key) -> list[tuple[str, str, bool]]:
    """Plants that are taken for this one: name, what parts the two, and whether what was seen rules it out.

    Those that are not ruled out come first.
    """
    open_rows = set(unseparated(key, naming.answers, key.index[naming.species]))
    found = []
    for other in key.flora.look_alikes[naming.species]:
        entry = key.flora.look_alike(naming.species, other)
        if entry is not None:
            found.append((key.flora.species[other].common_name, entry.note, key.index[other] not in open_rows))
    return sorted(found, key=lambda one: one[2])
