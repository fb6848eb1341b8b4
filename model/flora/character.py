"""A character of the key: what is asked, its states or unit, and where it exists."""

from __future__ import annotations

from typing import Literal

from pydantic import BaseModel, ConfigDict, Field, model_validator

Kind = Literal["choice", "number", "month"]
Effort = Literal["glance", "handle", "lens", "dig"]


class Character(BaseModel):
    """One question of the key, as configs/characters.yaml gives it.

    ``states`` maps state id to its wording (choices only). ``domain`` is the closed span of
    numbers that are believed, in ``unit``. ``applies_when`` maps another character to states:
    the character exists on a plant that shows at least one of them, for each entry.
    """

    model_config = ConfigDict(extra="forbid", frozen=True)

    id: str
    kind: Kind
    effort: Effort
    question: str
    look: str
    otherwise: str
    states: dict[str, str] = Field(default_factory=dict)
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
