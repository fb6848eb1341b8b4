"""The case that a plan is made for: which weeds it may be, on which lawn, when, where, and what is near."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Any, get_args

from model.control.facts import Near, Place, Stage
from model.control.knowledge import Control
from model.errors import AnswerError, nearest
from model.text import day_text

HIGHEST_GROUP = 34  # of the modes of action that have a number world-wide


@dataclass(frozen=True)
class LabelRead:
    """A product's label that the user has read, and which names a lawn grass: who read it, and when.

    ``number``: the product's registration number. It counts only where our facts do not settle the matter.
    """

    actives: tuple[str, ...]
    lawn: str
    number: str
    by: str
    on: date

    def covers(self, active: str, lawn: str | None) -> bool:
        """Whether it is for that active on that lawn."""
        return active in self.actives and lawn == self.lawn

    def __str__(self) -> str:
        return f"by the label, read by {self.by} on {day_text(self.on)}, product {self.number}"

    def as_json(self) -> dict[str, Any]:
        """The same as plain data."""
        return {**vars(self), "actives": list(self.actives), "on": self.on.isoformat()}

    @classmethod
    def of_json(cls, found: dict[str, Any]) -> LabelRead:
        """From what as_json gave. Raises KeyError, TypeError or ValueError for anything else."""
        on = date.fromisoformat(found["on"])
        return cls(tuple(found["actives"]), found["lawn"], found["number"], found["by"], on)


@dataclass(frozen=True)
class Case:
    """What a plan is made for.

    ``species``: one name, or all of a shortlist; where they are ``together`` it is not one of them, all grow here.
    ``cover``: weed cover, per cent. ``used``: groups by mode of action used here before. ``month`` is 1-12, southern
    hemisphere. ``cultivar``: of the lawn. ``labels``: those that the user has read. None means not known, and nothing
    is concluded from it.
    """

    species: tuple[str, ...]
    month: int
    lawn: str = "unknown"
    place: Place = "lawn"
    cover: float | None = None
    stage: Stage | None = None
    state: str | None = None
    near: tuple[Near, ...] = ()
    used: tuple[int, ...] = ()
    cultivar: str | None = None
    labels: tuple[LabelRead, ...] = ()
    together: bool = False

    def as_json(self) -> dict[str, Any]:
        """The same as plain data."""
        plain = {name: list(v) if isinstance(v, tuple) else v for name, v in vars(self).items()}
        return plain | {"labels": [label.as_json() for label in self.labels]}

    @classmethod
    def of_json(cls, found: dict[str, Any]) -> Case:
        """From as_json, also of an earlier version with fewer fields. Raises TypeError or ValueError otherwise."""
        fields: dict[str, Any] = {n: tuple(value) if isinstance(value, list) else value for n, value in found.items()}
        return cls(**fields | {"labels": tuple(LabelRead.of_json(label) for label in found.get("labels", ()))})


def check_case(case: Case, control: Control) -> Case:
    """The same case, if every word in it is known.

    Raises AnswerError saying which word is not, and what was probably meant.
    """
    for species in case.species:
        if species not in control.flora.species:
            raise AnswerError(f"{species} is not in the flora; {nearest(species, control.flora.species)}")
        if species not in control.treatments:
            raise AnswerError(f"{species} has no plan yet; write configs/plans/{species}.yaml for it")
    if not case.species:
        raise AnswerError("no weed was named; name one, or all that it may still be")
    _one_of("lawn", case.lawn, tuple(control.lawns))
    if case.cultivar is not None:
        cultivars = control.lawns[case.lawn].cultivars
        if not cultivars:
            raise AnswerError(f"cultivar {case.cultivar!r}: no cultivars of {case.lawn} are listed here; leave it out")
        _one_of(f"cultivar of {case.lawn}", case.cultivar, tuple(cultivars))
    _one_of("place", case.place, get_args(Place))
    for thing in case.near:
        _one_of("near", thing, get_args(Near))
    if case.stage is not None:
        _one_of("stage", case.stage, get_args(Stage))
    if case.state is not None:
        _one_of("state", case.state, tuple(control.states))
    if not 1 <= case.month <= 12:
        raise AnswerError(f"month {case.month} does not exist; give 1 to 12")
    if case.cover is not None and not 0 <= case.cover <= 100:
        raise AnswerError(f"cover {case.cover:g} per cent is impossible; give 0 to 100")
    for group in case.used:
        if not 0 <= group <= HIGHEST_GROUP:
            raise AnswerError(
                f"group {group} is not a mode of action; give the number on the label, 1 to {HIGHEST_GROUP}, "
                "or 0 for one that is not classified"
            )
    return case


def _one_of(what: str, word: str, known: tuple[str, ...]) -> None:
    if word not in known:
        raise AnswerError(f"{what} {word!r} is not known; {nearest(word, known)}")
