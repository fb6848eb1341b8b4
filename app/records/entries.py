"""What the records hold: clients, sites, visits, what was found, planned and done, and what is due.

All are frozen. ``id`` is 0 until the record is kept; an empty text was not given. Dates and times
of day are by the clock at the site; ``..._at`` are ISO 8601 in UTC.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, time
from typing import Annotated, Any

from pydantic import Field

from app.records.fields import Gear, Group, Kind, Licensed, Needed, State, Strict, Text
from app.records.findings import KeptFinding, KeptPhoto, KeptPlan


@dataclass(frozen=True)
class Client(Strict):
    """Who the work is for."""

    name: Needed
    phone: Text = ""
    email: Text = ""
    address: Text = ""
    notes: Text = ""
    id: int = 0


@dataclass(frozen=True)
class Site(Strict):
    """A place that is looked after. ``near`` as in a Case; ``area_m2`` in square metres.

    ``latitude`` and ``longitude`` are degrees, and only ever what the user typed: never a photo's.
    """

    client: int
    address: Needed
    state: State = ""
    lawn: Text = "unknown"
    near: tuple[Text, ...] = ()
    area_m2: Annotated[float, Field(gt=0)] | None = None
    latitude: Annotated[float, Field(ge=-90, le=90)] | None = None
    longitude: Annotated[float, Field(ge=-180, le=180)] | None = None
    notes: Text = ""
    id: int = 0


@dataclass(frozen=True)
class Visit(Strict):
    """One visit to a site, or one consultation by photo about it."""

    site: int
    day: date
    who: Text = ""
    purpose: Text = ""
    notes: Text = ""
    id: int = 0


@dataclass(frozen=True)
class Product(Strict):
    """One product in the tank, as its label in hand has it: typed now, or once for the list of one's own products.

    Actives and groups may come from the option that was chosen, rate and amount from sums in which they were typed.

    ``name`` is the full name on the label, ``actives`` its constituents with their strength,
    ``groups`` its modes of action, ``rate`` an amount with its unit, ``total_amount`` all that was used.
    """

    name: Text = ""
    actives: Text = ""
    groups: tuple[Group, ...] = ()
    label: Text = ""
    approval_number: Text = ""
    batch: Text = ""
    expiry: Text = ""
    rate: Text = ""
    total_amount: Text = ""


@dataclass(frozen=True)
class Reading(Strict):
    """Weather as it was read at the site. C, per cent, km/h; ``wind_direction`` is where it blows from.

    ``delta_t`` in C is worked out when it is left out and the other two are there.
    """

    at: time | None = None
    temperature: Annotated[float, Field(ge=-20, le=55)] | None = None
    humidity: Annotated[float, Field(ge=1, le=100)] | None = None
    wind_speed: Annotated[float, Field(ge=0, le=150)] | None = None
    wind_direction: Text = ""
    delta_t: Annotated[float, Field(ge=0, le=60)] | None = None
    notes: Text = ""


@dataclass(frozen=True)
class Treatment(Strict):
    """What was done, with all that any state's spray record asks for.

    ``chemical`` False is hand work, mowing, mulch: no law of sprays, and no products. The first
    of ``weather`` is at the start, the others at each change. ``left_out`` gives, by field, why it
    was left empty; it counts only in a state whose list of fields is not confirmed. ``answered``
    gives the answer to each question that was asked before it was signed.
    """

    visit: int
    day: date
    state: State = ""
    chemical: bool = True
    products: tuple[Product, ...] = ()
    method: Text = ""
    gear: Gear = ""
    equipment: Text = ""
    outdoors: bool = True
    started: time | None = None
    finished: time | None = None
    target: Text = ""
    plants: Text = ""
    situation: Text = ""
    address: Text = ""
    treated_area: Text = ""
    area_m2: Annotated[float, Field(gt=0)] | None = None
    water_litres: Annotated[float, Field(ge=0)] | None = None
    tank_loads: Text = ""
    weather: tuple[Reading, ...] = ()
    other_weather: Text = ""
    applicator: Text = ""
    applicator_address: Text = ""
    applicator_contact: Text = ""
    licensed: Licensed = ""
    licence: Text = ""
    supervisor: Text = ""
    supervised: Text = ""
    business: Text = ""
    business_address: Text = ""
    business_contact: Text = ""
    client: Text = ""
    client_contact: Text = ""
    occupier: Text = ""
    order_treated: Text = ""
    permit: Text = ""
    withholding: Text = ""
    re_entry: Text = ""
    clippings: Text = ""
    label_extras: Text = ""
    notes: Text = ""
    left_out: dict[str, Text] = field(default_factory=dict)
    answered: dict[str, Text] = field(default_factory=dict)
    id: int = 0

    @property
    def groups(self) -> tuple[int, ...]:
        """Modes of action used, each once, without the unclassified 0."""
        return tuple(sorted({group for product in self.products for group in product.groups} - {0}))


@dataclass(frozen=True)
class VisitRecord(Strict):
    """All of a visit that is signed together; ``site`` and ``client`` as they were at the time."""

    visit: Visit
    site: Site
    client: Client
    photos: tuple[KeptPhoto, ...] = ()
    findings: tuple[KeptFinding, ...] = ()
    plans: tuple[KeptPlan, ...] = ()


@dataclass(frozen=True)
class Signed(Strict):
    """One signed row. Rows are numbered from 1 without a gap; ``sequence`` is their order, whatever clocks read.

    ``amends`` is the sequence of the row that this one takes the place of, with ``reason``.
    ``sha256`` covers the content and ``former``, the sha256 of the row before. ``note`` says what
    a person should know of the time, such as a clock that was set back.
    """

    sequence: int
    kind: Kind
    record: int
    signed_by: str
    signed_at: str
    note: str
    amends: int | None
    reason: str
    former: str
    sha256: str


@dataclass(frozen=True)
class Current:
    """The latest version of a visit or treatment. ``chain``: its signatures, oldest first; empty while unsigned."""

    kind: Kind
    record: VisitRecord | Treatment
    chain: tuple[Signed, ...] = ()

    @property
    def is_signed(self) -> bool:
        """Whether it can only be amended."""
        return bool(self.chain)


@dataclass(frozen=True)
class FollowUp:
    """Something to look at again on ``due``; ``done`` is the day on which it was, ``outcome`` what was seen then.

    ``uid`` is for calendars.
    """

    site: int
    due: date
    what: Needed
    visit: int | None = None
    done: date | None = None
    uid: Text = ""
    outcome: Text = ""
    id: int = 0


@dataclass(frozen=True)
class GroupUse(Strict):
    """A mode of action used at a site. ``treatment`` is None where the user only reported it."""

    site: int
    day: date
    group: Annotated[int, Field(ge=1, le=40)]
    treatment: int | None = None
    note: Text = ""


@dataclass(frozen=True)
class PastVisit:
    """A visit in a site's history, with its treatments, each in its latest version."""

    visit: Current
    treatments: tuple[Current, ...]
    follow_ups: tuple[FollowUp, ...]


@dataclass(frozen=True)
class Hit:
    """Something that a search found. ``kind`` is client, site, visit or treatment; ``text`` the words around it."""

    kind: str
    id: int
    site: int | None
    text: str


@dataclass(frozen=True)
class Draft:
    """Work in progress on the web pages. ``id`` cannot be guessed; ``visit`` is set once it has become one."""

    id: str
    state: dict[str, Any]
    started_at: str
    saved_at: str
    visit: int | None = None
