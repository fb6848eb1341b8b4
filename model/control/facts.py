"""What is known of herbicides, lawns, methods and law: the shapes of the files in configs/control and configs/plans."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, model_validator

from model.flora.species import Fact, Months

Rating = Literal["safe", "caution", "injures", "unknown"]
MethodName = Literal["leave", "mend", "mow", "hand", "cover", "pre_emergent", "selective", "non_selective"]
Place = Literal["lawn", "bed", "paving"]
Stage = Literal["seedling", "young", "flowering", "seeding"]
Near = Literal["edibles", "pond", "pets", "bees", "grazing", "children"]
When = Literal["before_germination", "germination", "young", "before_flowers", "flowers", "before_seed", "any"]
Share = Annotated[float, Field(ge=0, le=100)]


class Statement(Fact):
    """One sentence that is shown to people, with where it was read."""

    text: str


class RainFast(Fact):
    """Hours without rain after spraying: ``low`` for the best formulations, ``high`` to be sure."""

    low: Annotated[float, Field(gt=0, le=48)]
    high: Annotated[float, Field(gt=0, le=48)]


class Active(Fact):
    """A herbicide's active ingredient.

    ``group``: mode of action by its global number; 0 means unclassified, which is no group to
    rotate with. ``use``: what it spares. ``confirm``: what must be asked of label or regulator.
    """

    group: Annotated[int, Field(ge=0, le=40)]
    family: str
    use: Literal["selective", "grass", "pre_emergent", "non_selective"]
    also_called: list[str] = Field(default_factory=list)
    volatile: bool = False
    lasts_in_clippings: bool = False
    rain_fast: RainFast | None = None
    confirm: Statement | None = None


class Tolerance(Fact):
    """How one lawn grass bears one active."""

    rating: Literal["safe", "caution", "injures"]
    note: str = ""


class Lawn(Fact):
    """A lawn grass; ``traps`` are ways in which its name misleads, ``species`` is its id where it is in the flora."""

    name: str
    scientific_name: str
    growth: Literal["warm", "cool", "unknown"]
    species: str | None = None
    traps: list[Statement] = Field(default_factory=list)


class Method(BaseModel):
    """A way to deal with weeds, and where it is used. Per cent of ground for ``cover_at_most``."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    title: str
    places: list[Place]
    stages: list[Stage] | None = None
    cover_at_most: Share | None = None
    chemical: bool = False


class Methods(Fact):
    """All methods, in the order in which a good adviser thinks of them."""

    methods: dict[MethodName, Method]
    young_months: Annotated[int, Field(ge=1, le=6)]


class Caution(Statement):
    """What is said on an occasion; ``when`` is always, chemical, something near, a property or an active."""

    when: str


class Ban(BaseModel):
    """Months in which a state forbids an active without a permit."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    active: str
    whole_months: Months
    part_months: Months
    text: str


class State(Fact):
    """A state's licence and record law, as prompts to confirm with the regulator."""

    name: str
    licence: str
    record: str
    unconfirmed: str
    keep_years: Annotated[int, Field(ge=1, le=30)]
    bans: list[Ban] = Field(default_factory=list)


class Option(Fact):
    """One thing that may be done: exactly one of ``when`` (by the plant's season) or ``months``.

    ``actives`` are used together. ``out``: what must come out of the ground. ``only_on``: the
    lawns that it is for. ``look_again``: days until survivors show, from and to.
    """

    method: MethodName
    actives: list[str] = Field(default_factory=list)
    do: str
    when: When | None = None
    months: Months | None = None
    out: list[str] = Field(default_factory=list)
    leaves: str
    look_again: tuple[int, int] | None = None
    places: list[Place] | None = None
    only_on: list[str] = Field(default_factory=list)
    cover_at_most: Share | None = None

    @model_validator(mode="after")
    def _timed_once(self) -> Option:
        if (self.when is None) == (self.months is None):
            raise ValueError("give either when or months")
        if self.look_again is not None and not 0 < self.look_again[0] <= self.look_again[1]:
            raise ValueError("look_again is two numbers of days, the smaller first")
        return self

    @property
    def key(self) -> tuple[str, frozenset[str]]:
        """What makes two options the same thing: the method and its actives."""
        return self.method, frozenset(self.actives)


class Resistance(Fact):
    """A mode of action that populations of this weed are known to survive."""

    group: Annotated[int, Field(ge=1, le=40)]
    text: str


class Kind(BaseModel):
    """Weeds that come back alike, with the options that hold for all of them."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    name: str
    options: Annotated[list[Option], Field(min_length=1)]


class Treatment(BaseModel):
    """A file of configs/plans: one species' kind, and what differs from it."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    kind: str
    about: list[Statement] = Field(default_factory=list)
    without: list[MethodName] = Field(default_factory=list)
    options: list[Option] = Field(default_factory=list)
    resistance: list[Resistance] = Field(default_factory=list)
