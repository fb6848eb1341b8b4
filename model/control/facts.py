"""Herbicides, lawns, methods and law: the schemas of the files in configs/control and configs/plans."""

from __future__ import annotations

from datetime import date
from typing import Annotated, Literal, get_args

from pydantic import Field, model_validator

from model.flora.species import Entry, Fact, Months

Rating = Literal["safe", "caution", "injures", "unknown"]
MethodName = Literal["leave", "cultural", "mow", "hand", "cover", "pre_emergent", "selective", "wipe", "non_selective"]
Place = Literal["lawn", "bed", "paving"]
Stage = Literal["seedling", "young", "flowering", "seeding"]
Near = Literal["edibles", "pond", "pets", "bees", "grazing", "children"]
When = Literal[
    "before_germination", "germination", "young", "before_flowers", "flowers", "before_seed", "lawn_grows", "any"
]
Hazard = Literal["sap", "pollen", "hairs", "rash", "burrs", "clinging", "spines", "toxic", "bees"]
Registered = Literal["current", "home_garden", "professional_only", "cancelled", "unknown"]
Share = Annotated[float, Field(ge=0, le=100)]


class Statement(Fact):
    """One sentence that is shown to people, with its source."""

    text: str


class RainFast(Fact):
    """Rain-fast period, hours: ``low`` for the best formulations, ``high`` to be sure."""

    low: Annotated[float, Field(gt=0, le=48)]
    high: Annotated[float, Field(gt=0, le=48)]


class Registration(Fact):
    """Whether products with an active may be sold and used in Australia, as known on the day ``checked``.

    ``home_garden``: current, and sold to householders too. ``text`` follows: for a cancelled one since when, why, and
    how to hand in what is left.
    """

    status: Registered
    checked: date
    text: str = ""


class Poison(Fact):
    """The poison schedules (5, 6 or 7; 0 for none) of an active's products, depending on strength."""

    schedules: Annotated[list[Literal[0, 5, 6, 7]], Field(min_length=1)]


class Active(Fact):
    """A herbicide's active ingredient.

    ``group``: mode of action by its global number; 0 means unclassified, which does not count in rotation. ``use``:
    its selectivity. ``confirm``: what to confirm with the label or the regulator. ``poison``: None where its schedule
    is not known.
    """

    group: Annotated[int, Field(ge=0, le=40)]
    family: str
    use: Literal["selective", "grass", "pre_emergent", "non_selective"]
    registration: Registration
    poison: Poison | None = None
    also_called: list[str] = Field(default_factory=list)
    volatile: bool = False
    lasts_in_clippings: bool = False
    rain_fast: RainFast | None = None
    confirm: Statement | None = None


class Response(Fact):
    """How a lawn grass tolerates an active."""

    rating: Literal["safe", "caution", "injures"]
    note: str = ""


class Tolerance(Response):
    """How one lawn grass tolerates one active; ``cultivars``: those that differ from the rest."""

    cultivars: dict[str, Response] = Field(default_factory=dict)


class Growing(Fact):
    """Months in which a lawn grass grows well enough to be fed, repaired and mown often."""

    months: Months


class Cultivar(Fact):
    """A cultivar, or a group of cultivars with the same tolerance."""

    name: str
    also: list[str] = Field(default_factory=list)


class Lawn(Fact):
    """A lawn grass; ``also``: its other names; ``traps``: how a name misleads; ``species``: its id if it is on file."""

    name: str
    scientific_name: str
    growth: Literal["warm", "cool", "unknown"]
    also: list[str] = Field(default_factory=list)
    growing: Growing | None = None
    species: str | None = None
    cultivars: dict[str, Cultivar] = Field(default_factory=dict)
    traps: list[Statement] = Field(default_factory=list)


class Method(Entry):
    """A method of control, and where it is used. ``cover_at_most``: weed cover, per cent.

    ``short``: what to do, in a few words that begin a sentence.
    """

    title: str
    short: str
    places: list[Place]
    stages: list[Stage] | None = None
    cover_at_most: Share | None = None
    chemical: bool = False


# Earlier names of a method in commands, drafts and records.
FORMER_METHODS = {"mend": "cultural", "Mend the cause": "cultural"}


class Methods(Fact):
    """All methods, in the order in which a good adviser considers them."""

    methods: dict[MethodName, Method]
    young_months: Annotated[int, Field(ge=1, le=6)]
    growth_months: Annotated[int, Field(ge=1, le=8)]


# A weed's hazard and the occasion of its caution: bees on its flowers are not hives nearby.
HAZARD_OCCASIONS = {hazard: "bees_flowers" if hazard == "bees" else hazard for hazard in get_args(Hazard)}
OCCASIONS = (
    "always", "chemical", "chemical_on_lawn", "buffalo_chemical", "lasts_in_clippings", "volatile",
    *get_args(Near), *HAZARD_OCCASIONS.values(),
)  # fmt: skip


class Caution(Statement):
    """A caution for an occasion: one of OCCASIONS, or an active by name."""

    when: str


class Ban(Entry):
    """Months in which a state forbids an active without a permit."""

    active: str
    whole_months: Months
    part_months: Months
    text: str


class State(Fact):
    """A state's licence and record law, as prompts to confirm with the regulator.

    ``exempt``: who is exempt, which comes first. ``also``: further duties and codes of practice.
    """

    name: str
    exempt: str = ""
    licence: str
    record: str
    also: list[str] = Field(default_factory=list)
    unconfirmed: str
    keep_years: Annotated[int, Field(ge=1, le=30)]
    bans: list[Ban] = Field(default_factory=list)


class Option(Fact):
    """One option for control: exactly one of ``when`` (by the season of plant or lawn) or ``months``.

    ``actives`` are used together. ``short`` and ``stages`` (of the weed at which it works) replace the method's.
    ``months_from``: the source of the months; without it they are common practice. ``late``: what is said in place of
    "wait" where it is still right outside its months. ``out``: what to remove from the ground. ``leaves``: what it
    won't fix. ``only_on``: the lawns that it is for; ``usual_on``: those on which it is the usual choice.
    ``look_again``: days until survivors show, from and to.
    """

    method: MethodName
    actives: list[str] = Field(default_factory=list)
    do: str
    short: str = ""
    when: When | None = None
    months: Months | None = None
    months_from: Fact | None = None
    stages: list[Stage] | None = None
    late: str = ""
    out: list[str] = Field(default_factory=list)
    leaves: str
    look_again: tuple[int, int] | None = None
    places: list[Place] | None = None
    only_on: list[str] = Field(default_factory=list)
    usual_on: list[str] = Field(default_factory=list)
    cover_at_most: Share | None = None

    @model_validator(mode="after")
    def _timed_once(self) -> Option:
        if (self.when is None) == (self.months is None):
            raise ValueError("give either when or months")
        if self.months_from is not None and self.months is None:
            raise ValueError("months_from goes with months")
        if self.look_again is not None and not 0 < self.look_again[0] <= self.look_again[1]:
            raise ValueError("look_again is two numbers of days, the smaller first")
        return self

    @property
    def key(self) -> tuple[str, frozenset[str]]:
        """What makes two options the same: the method and its actives."""
        return self.method, frozenset(self.actives)


class Resistance(Fact):
    """A mode of action to which populations of this weed are resistant."""

    group: Annotated[int, Field(ge=1, le=40)]
    text: str


class Seeding(Statement):
    """What to do first when a plant is pulled or dug in seed.

    ``no_seed``: for a plant that sets hardly any seed here, or none: what the summary says in place of bagging the seed
    heads, as the stage that was given, or the name, may be wrong.
    """

    no_seed: str | None = None


class Kind(Entry):
    """Weeds that grow back alike, with the options that apply to all of them."""

    name: str
    seeding: Seeding
    options: Annotated[list[Option], Field(min_length=1)]


class Treatment(Entry):
    """A file of configs/plans: one species' kind, and what differs from it.

    ``without`` and ``without_mixes`` remove methods, or mixes of actives, from the kind's options. ``seeding`` replaces
    the kind's. ``hazards`` are cautioned against in every case.
    """

    kind: str
    about: list[Statement] = Field(default_factory=list)
    seeding: Seeding | None = None
    hazards: list[Hazard] = Field(default_factory=list)
    without: list[MethodName] = Field(default_factory=list)
    without_mixes: list[list[str]] = Field(default_factory=list)
    options: list[Option] = Field(default_factory=list)
    resistance: list[Resistance] = Field(default_factory=list)


class Declared(Fact):
    """That a state has declared a weed, or a prompt to ask whether it has."""

    text: str
