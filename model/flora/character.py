"""A character of the key: what is asked, its states or unit, and where it exists."""

from __future__ import annotations

from typing import Annotated, Literal, get_args

from pydantic import Field, model_validator

from model.flora.species import Entry

Kind = Literal["choice", "number", "month"]
Effort = Literal["glance", "handle", "lens", "dig"]
Part = Literal["leaves", "flowers", "seeds", "roots"]
UNSURE = "unsure"  # the answer that every question takes
VISIBLE = "visible"  # the parts that can be seen, in an answer file, where no character has that id
Visible = tuple[Part, ...]
PARTS: tuple[Part, ...] = get_args(Part)
MOST_AT_ONCE = 8  # states that a person is shown at a time; more take two taps


class Group(Entry):
    """Some states of one character, shown together once the group has been picked."""

    text: str
    states: Annotated[list[str], Field(min_length=1, max_length=MOST_AT_ONCE)]


class Character(Entry):
    """One question of the key, as configs/characters.yaml gives it.

    ``states`` maps state id to its wording (choices only). ``domain`` is the closed span of plausible numbers, in
    ``unit``. ``applies_when`` maps another character to states: for each entry, a plant must show at least one of them
    to have this character. ``part`` is what must be visible, and ``until`` when it is gone again. ``groups`` divide
    more than eight states, so that a person picks a group first.
    """

    id: str
    kind: Kind
    effort: Effort
    part: Part
    until: Literal["flowering"] | None = None
    question: str
    look: str
    otherwise: str
    states: dict[str, str] = Field(default_factory=dict)
    groups: dict[str, Group] = Field(default_factory=dict)
    unit: Literal["mm", "cm", "count"] | None = None
    domain: tuple[float, float] | None = None
    applies_when: dict[str, list[str]] = Field(default_factory=dict)

    @model_validator(mode="after")
    def _kind_has_what_it_needs(self) -> Character:
        if (self.kind == "choice") != bool(self.states):
            raise ValueError("a choice needs states, and nothing else may have them")
        if (self.kind == "number") != (self.unit is not None and self.domain is not None):
            raise ValueError("a number needs a unit and a domain, and nothing else may have them")
        if self.domain is not None and not 0 < self.domain[0] < self.domain[1]:
            raise ValueError("a domain is two positive numbers, the smaller first")
        return self

    @model_validator(mode="after")
    def _many_states_are_grouped(self) -> Character:
        grouped = [state for group in self.groups.values() for state in group.states]
        if grouped and sorted(grouped) != sorted(self.states):
            raise ValueError("groups must hold every state, each once")
        if len(self.states) > MOST_AT_ONCE and not grouped:
            raise ValueError(f"more than {MOST_AT_ONCE} states are too many to choose from at once; give groups")
        return self
