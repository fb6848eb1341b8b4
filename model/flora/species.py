"""A species of the flora: names, season, look-alikes and characters, each with its source."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, model_validator

Standing = Literal["published", "common practice", "from memory"]
Frequency = Literal["always", "usually", "sometimes", "rarely"]
Months = Annotated[list[Annotated[int, Field(ge=1, le=12)]], Field(min_length=1, max_length=12)]
Stage = Literal["flowering", "seeding"]
States = dict[str, Frequency]
Range = tuple[float, float]
Sources = Annotated[list[str], Field(min_length=1)]


class Entry(BaseModel):
    """Anything read from a file of facts: unknown fields are refused, and values do not change."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class Fact(Entry):
    """A fact with its source keys and its standing."""

    source: Sources
    standing: Standing


class Score(Fact):
    """What a species shows for one character: exactly one of states, range or months.

    ``range`` is the usual span of the number in the character's unit; a reading outside it is unlikely, never
    impossible. ``together``: one plant shows all these states at once, so that any of them is a right answer. ``when``:
    the plant shows this only once it flowers, or sets seed; ``before`` is what it shows until then, states or a range,
    and without it nothing is known of the younger plant. ``note`` is for people who check the value.
    """

    states: States | None = None
    range: Range | None = None
    months: Months | None = None
    together: bool = False
    when: Stage | None = None
    before: States | Range | None = None
    note: str | None = None

    @model_validator(mode="after")
    def _one_kind_of_value(self) -> Score:
        if sum(v is not None for v in (self.states, self.range, self.months)) != 1:
            raise ValueError("give exactly one of states, range or months")
        if self.states is not None and not self.states:
            raise ValueError("states is empty; write unknown instead")
        if self.range is not None and not 0 < self.range[0] <= self.range[1]:
            raise ValueError("a range is two positive numbers, the smaller first")
        return self

    @model_validator(mode="after")
    def _age_is_complete(self) -> Score:
        if self.together and len(self.states or {}) < 2:
            raise ValueError("together needs two or more states")
        if self.before is None:
            return self
        if self.when is None:
            raise ValueError("before says what a younger plant shows; say with when until which stage")
        if self.months is not None or isinstance(self.before, dict) != (self.states is not None) or not self.before:
            raise ValueError("before needs states where there are states, and a range where there is a range")
        if isinstance(self.before, tuple) and not 0 < self.before[0] <= self.before[1]:
            raise ValueError("before, as a range, is two positive numbers, the smaller first")
        return self


class Season(Fact):
    """Months (1-12, southern hemisphere) of each stage of the plant.

    Without ``flowers`` it never flowers; without the others they are not known.
    """

    seen: Months
    germinates: Months | None = None
    flowers: Months | None = None
    seeds: Months | None = None


class LookAlike(Fact):
    """A plant that this one is mistaken for: ``species`` in the flora, or ``outside`` by name."""

    species: str | None = None
    outside: str | None = None
    separate_by: Annotated[list[str], Field(min_length=1)]
    note: str

    @model_validator(mode="after")
    def _inside_or_outside(self) -> LookAlike:
        if (self.species is None) == (self.outside is None):
            raise ValueError("give either species (an id of the flora) or outside (a name)")
        return self


class Judgement(Fact):
    """How the file decides where sources disagree about one character."""

    character: str
    decision: str


class Species(Entry):
    """One plant, as its file under configs/species gives it; ``id`` is the file's name."""

    id: str
    scientific_name: str
    synonyms: list[str] = Field(default_factory=list)
    common_names: Annotated[list[str], Field(min_length=1)]
    family: str
    names_source: Sources
    in_lawns: Literal["very common", "common", "occasional", "rare"]
    in_lawns_source: Sources
    in_lawns_standing: Standing
    habitat: str
    season: Season
    look_alikes: list[LookAlike] = Field(default_factory=list)
    characters: dict[str, Score | Literal["unknown", "inapplicable"]]
    judgements: list[Judgement] = Field(default_factory=list)

    @property
    def common_name(self) -> str:
        """The name shown to people: the first of the common names."""
        return self.common_names[0]
