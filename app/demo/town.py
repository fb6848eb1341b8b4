"""The invented town of the demo: configs/demo.yaml, read and checked."""

from __future__ import annotations

from datetime import date, timedelta
from pathlib import Path
from typing import Annotated, Literal, Self

from pydantic import BaseModel, ConfigDict, Field, model_validator

from model.control.facts import MethodName, Near, Place, Stage
from model.flora.character import PARTS, Part
from model.flora.load import CONFIGS, read_as
from model.traits import Visible
from training.drawn.ground import Ground
from training.drawn.grow import Stage as Drawn

DayOfYear = Annotated[
    str, Field(pattern=r"^(0[1-9]|1[0-2])-([01]\d|2[0-8])$")
]  # up to the 28th: it is there every year
Clock = Annotated[str, Field(pattern=r"^([01]\d|2[0-3]):[0-5]\d$")]
Percent = Annotated[float, Field(ge=0, le=100)]
STAGES: dict[Drawn, Part] = {"seedling": "leaves", "leaves": "leaves", "flowering": "flowers", "seeding": "seeds"}
SETTLED = 3  # days before today on which the last visit was, so that what came after it is past too


class _Told(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class Contractor(_Told):
    """Who does the work; as the records of sprays want it."""

    name: str
    address: str
    contact: str
    business: str
    business_address: str
    business_contact: str


class InventedClient(_Told):
    """Who the work is for."""

    name: str
    phone: str
    email: str


class InventedSite(_Told):
    """A place of a client."""

    client: str
    address: str
    lawn: str
    near: tuple[Near, ...]
    area_m2: float
    notes: str


class ToldGroup(_Told):
    """A mode of action that others used before."""

    site: str
    day: DayOfYear
    group: int
    note: str


class Label(_Told):
    """What was read off an invented label. No figure: rates are the user's alone."""

    name: str
    label: str
    approval_number: str
    batch: str
    rate: str
    total_amount: str
    withholding: str
    re_entry: str

    @model_validator(mode="after")
    def _no_figures(self) -> Self:
        for name, text in self:
            if any(character.isdigit() for character in text):
                raise ValueError(f"{name} holds a figure; rates are never written here")
        return self


class InventedWeather(_Told):
    """Weather as it was read: C, per cent, km/h."""

    began: Clock
    temperature: float
    humidity: float
    wind: float
    wind_from: str


class Amended(_Told):
    """A correction: so many days later, with the minutes that the work took."""

    days: Annotated[int, Field(ge=1, le=SETTLED)]
    minutes: int
    reason: str


class InventedVisit(_Told):
    """One visit. ``photos`` are seeds, stages and grounds of drawings of ``plant``, else of ``species``.

    The invented person sees what ``shows`` says, else a typical plant of ``species``, and answers
    ``questions`` at most. ``do``: ways of control, of which the first is chosen that the plan lets.
    """

    site: str
    on: DayOfYear
    species: str
    plant: str = ""
    photos: tuple[tuple[int, Drawn, Ground], ...]
    shows: dict[str, str] = Field(default_factory=dict)
    questions: int = 30
    cover: Percent
    place: Place = "lawn"
    stage: Stage | None = None
    do: tuple[MethodName, ...] = ()
    purpose: str
    notes: str = ""
    minutes: int = 0
    confirmed: bool = False
    weather: InventedWeather | None = None
    amended: Amended | None = None

    @property
    def visible(self) -> Visible:
        """What can be seen or reached: leaves, roots that are dug up, and what the photos show."""
        shown = {STAGES[stage] for _, stage, _ in self.photos}
        return tuple(part for part in PARTS if part in {"leaves", "roots", *shown})


class Due(_Told):
    """A follow-up so many days from today; one before today is overdue."""

    site: str
    days: int
    what: str


class Town(_Told):
    """configs/demo.yaml."""

    standing: Literal["invented"]
    town: str
    state: str
    contractor: Contractor
    clients: dict[str, InventedClient]
    sites: dict[str, InventedSite]
    told_groups: tuple[ToldGroup, ...]
    label: Label
    visits: tuple[InventedVisit, ...]
    follow_ups: tuple[Due, ...]

    @model_validator(mode="after")
    def _known_places(self) -> Self:
        for place in self.sites.values():
            if place.client not in self.clients:
                raise ValueError(f"{place.address} is of {place.client}, who is not a client")
        named = [visit.site for visit in self.visits]
        named += [due.site for due in self.follow_ups] + [told.site for told in self.told_groups]
        for site in named:
            if site not in self.sites:
                raise ValueError(f"{site} is not a site; choose one of {', '.join(self.sites)}")
        return self

    def season(self, today: date) -> list[tuple[date, InventedVisit]]:
        """The visits on their days in the year before today, the first of them first."""
        return sorted(((last_before(today, visit.on), visit) for visit in self.visits), key=lambda pair: pair[0])


def last_before(today: date, day: str) -> date:
    """The last day of that month and day which is settled.

    >>> last_before(date(2026, 11, 25), "11-11"), last_before(date(2026, 11, 12), "11-11")
    (datetime.date(2026, 11, 11), datetime.date(2025, 11, 11))
    """
    found = date(today.year, int(day[:2]), int(day[3:]))
    return found if found <= today - timedelta(days=SETTLED) else found.replace(year=today.year - 1)


def load_town(configs: Path = CONFIGS) -> Town:
    """Read configs/demo.yaml. Raises FloraError naming the field that is wrong."""
    return read_as(configs / "demo.yaml", Town)
