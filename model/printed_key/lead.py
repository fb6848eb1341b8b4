"""A couplet of the printed key: one question, two leads, and where each goes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from model.flora.character import Character
from model.traits.answers import Answer

MOST_NAMED = 4  # states that a lead names; one with more says none of those of the other lead


@dataclass(frozen=True)
class Lead:
    """One of the two answers of a couplet.

    ``states`` of a choice; or a number ``above`` one limit and up ``to`` the other, in the character's unit. ``text``:
    the lead in words. It goes to a ``couplet`` by its number, or ends with ``species``: one, or a few that no character
    divides, with what to ``look_at``.
    """

    text: str
    states: tuple[str, ...] = ()
    above: float | None = None
    to: float | None = None
    couplet: int | None = None
    species: tuple[str, ...] = ()
    look_at: tuple[str, ...] = ()

    def takes(self, answer: Answer) -> bool:
        """Whether an answer fits this lead: any of its states, or its number."""
        if isinstance(answer, tuple):
            return bool(set(answer) & set(self.states))
        return (self.above is None or answer > self.above) and (self.to is None or answer <= self.to)


@dataclass(frozen=True)
class Couplet:
    """A question with its two leads.

    ``before``: the couplet that leads here, None for the first. ``mostly``: the leads hold for most plants only, as
    nothing else divides the remaining species.
    """

    number: int
    before: int | None
    character: Character
    mostly: bool
    leads: tuple[Lead, ...]

    def as_json(self) -> dict[str, Any]:
        """The couplet as plain data."""
        return {
            "number": self.number,
            "before": self.before,
            "character": self.character.id,
            "question": self.character.question,
            "mostly": self.mostly,
            "leads": [
                {name: list(v) if isinstance(v, tuple) else v for name, v in vars(lead).items()} for lead in self.leads
            ],
        }


def states_text(character: Character, own: tuple[str, ...], others: int) -> str:
    """A lead over states in words; ``others``: how many states the other lead names."""
    if len(own) > MOST_NAMED and others <= MOST_NAMED:
        return "none of these"
    return "; or ".join(character.states[state] for state in own)


def number_text(character: Character, above: float, to: float, first: bool) -> str:
    """A lead over numbers in words: the first goes up to the limit, the second on from it."""
    if character.unit == "count":
        return f"{to:g} or fewer" if first else f"{above + 1:g} or more"
    return f"{to:g} {character.unit} or less" if first else f"more than {above:g} {character.unit}"
