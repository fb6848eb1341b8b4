"""The case in hand: which weeds it may be, on which lawn, when, where, and what is near."""

from __future__ import annotations

from dataclasses import dataclass
from typing import get_args

from model.control.facts import Near, Place, Stage
from model.control.load import Control
from model.errors import AnswerError, nearest


@dataclass(frozen=True)
class Case:
    """What a plan is made for.

    ``species``: one name, or all that a shortlist still holds. ``cover``: per cent of the
    ground under the weed. ``used``: groups by mode of action used here before. ``month`` is
    1-12, southern hemisphere. What is None is not known, and nothing is concluded from it.
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


def check_case(case: Case, control: Control) -> Case:
    """The same case, once every word in it is known.

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
    _one_of("place", case.place, get_args(Place))
    for thing in case.near:
        _one_of("near", thing, get_args(Near))
    if case.stage is not None:
        _one_of("stage", case.stage, get_args(Stage))
    if case.state is not None:
        _one_of("state", case.state, tuple(control.states))
    if not 1 <= case.month <= 12:
        raise AnswerError(f"month {case.month} is none; give 1 to 12")
    if case.cover is not None and not 0 <= case.cover <= 100:
        raise AnswerError(f"cover {case.cover:g} per cent is impossible; give 0 to 100")
    groups = {active.group for active in control.actives.values()}
    for group in case.used:
        if group not in groups:
            raise AnswerError(
                f"group {group} is no mode of action that is known; give its number as on the label, "
                f"such as {', '.join(str(g) for g in sorted(groups - {0}))}"
            )
    return case


def _one_of(what: str, word: str, known: tuple[str, ...]) -> None:
    if word not in known:
        raise AnswerError(f"{what} {word!r} is not known; {nearest(word, known)}")
