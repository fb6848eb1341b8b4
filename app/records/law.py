"""What a spray record must hold in a state, when it must be written up, and how long it is kept.

The facts are in configs/records.yaml; all of them are prompts to confirm with the regulator.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, fields
from datetime import date, datetime, time, timedelta
from functools import lru_cache
from pathlib import Path
from typing import Annotated, Literal, Self, get_args

from pydantic import BaseModel, ConfigDict, Field, model_validator

from app.records.days import in_years, later
from app.records.entries import Product, Reading, Treatment
from app.records.fields import State, has_content
from model.flora.load import CONFIGS, read_facts
from model.flora.species import Fact

Condition = Literal["sprayed_outdoors", "not_by_hand", "licensed"]
Hours = Annotated[float, Field(gt=0, le=1000)]
Years = Annotated[int, Field(ge=1, le=30)]
BY_HAND = ("hand_spray", "wiper")
NO_SPRAY = ("spreader", "wiper")


class AskedField(Fact):
    """A field of the record. ``text`` ends the sentence "still missing"."""

    text: str
    each: Literal["treatment", "product", "reading"] = "treatment"


class WithoutChemical(Fact):
    """What is kept of work that no law of sprays is about."""

    asks: list[str]


class StateLaw(Fact):
    """One state's spray record. Where ``list`` is unconfirmed, the union of all fields is asked.

    ``exempt``: who need not keep it, which is said first and excuses nobody before the regulator has confirmed it.
    """

    list: Literal["known", "unconfirmed"]
    asks: tuple[str, ...] = ()
    asks_when: dict[Condition, tuple[str, ...]] = Field(default_factory=dict)
    if_any: tuple[str, ...] = ()
    within_hours: Hours | None
    keep_years: Years
    unconfirmed: str
    exempt: str = ""

    @model_validator(mode="after")
    def _check_list(self) -> Self:
        if (self.list == "known") != bool(self.asks):
            raise ValueError("asks is for a list that is known, and needed there")
        return self


class ActiveLaw(Fact):
    """A rule for one active, whatever the state."""

    within_hours: Hours
    keep_years: Years


class FirstReading(Fact):
    """How long before the start the first reading of the weather may have been made, in hours."""

    within_hours: Hours


class Law(BaseModel):
    """configs/records.yaml."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    fields: dict[str, AskedField]
    without_chemical: WithoutChemical
    states: dict[str, StateLaw]
    unknown_state: StateLaw
    first_reading: FirstReading
    actives: dict[str, ActiveLaw]

    @model_validator(mode="after")
    def _check_names(self) -> Self:
        homes = {"treatment": Treatment, "product": Product, "reading": Reading}
        for name, asked in self.fields.items():
            if name not in {f.name for f in fields(homes[asked.each])}:
                raise ValueError(f"fields.{name} is not a field of a {asked.each} in the records")
        states = set(get_args(State)) - {""}
        if set(self.states) != states:
            raise ValueError(f"states must be {', '.join(sorted(states))}")
        for state, law in self.states.items():
            named = (*law.asks, *law.if_any, *(name for some in law.asks_when.values() for name in some))
            for name in named:
                if name not in self.fields:
                    raise ValueError(f"states.{state}: {name} is not among the fields")
        return self

    def of(self, state: str) -> StateLaw:
        """The law of a state; that of none where it is not named."""
        return self.states.get(state, self.unknown_state)


@dataclass(frozen=True)
class Missing:
    """A field that the law asks for: its name in the records, and what it is in plain words.

    ``place``: of which product, from 0.
    """

    field: str
    text: str
    place: int = 0


@dataclass(frozen=True)
class WriteUp:
    """By when a record must be written, by the clock at the site; ``text`` says so and what is not confirmed."""

    at: datetime
    text: str


@lru_cache(maxsize=2)
def load_law(configs: Path = CONFIGS) -> Law:
    """Read configs/records.yaml. Raises FloraError naming the field that is wrong."""
    return read_facts(configs / "records.yaml", Law)


def missing_fields(treatment: Treatment) -> tuple[Missing, ...]:
    """What the record of the treatment's state still lacks, in the order of the paper.

    Where a list is not confirmed the union is asked, less what ``left_out`` gives a reason for.
    """
    law = load_law()
    rule = law.of(treatment.state)
    if not treatment.chemical:
        asked = set(law.without_chemical.asks)
    elif rule.list == "known":
        asked = {*rule.asks, *_conditional(rule, treatment)}
    else:
        asked = {name for one in law.states.values() for name in (*one.asks, *_conditional(one, treatment))}
        asked -= {name for name, why in treatment.left_out.items() if why.strip()}
    return tuple(_empty_fields(treatment, law, asked))


def prompts(treatment: Treatment) -> tuple[Missing, ...]:
    """What the state asks for only where there is any, and is empty: to be asked, never refused."""
    law = load_law()
    rule = law.of(treatment.state)
    rules = [rule] if rule.list == "known" else law.states.values()
    asked = {name for one in rules for name in one.if_any}
    return tuple(_empty_fields(treatment, law, asked)) if treatment.chemical else ()


def field_names() -> dict[str, str]:
    """Every field that any state asks for, in the order of the paper, with its name in plain words."""
    return {name: asked.text for name, asked in load_law().fields.items()}


def asked_in(state: str) -> frozenset[str]:
    """The fields that a state asks for, under any condition or if there are any; where its list is not known, all."""
    law = load_law()
    rule = law.of(state)
    if rule.list == "unconfirmed":
        return frozenset(law.fields)
    return frozenset({*rule.asks, *rule.if_any, *_conditional(rule)})


def key_of(field: str) -> str:
    """Where a field stands in a file: its key, behind that of the product or reading that it belongs to."""
    asked = load_law().fields.get(field)
    group = {"product": "products: ", "reading": "weather: "}.get(asked.each, "") if asked is not None else ""
    return f"{group}{field}"


def write_up_by(treatment: Treatment) -> WriteUp:
    """By when the record must be written up: the shortest time that state or active gives, else at once."""
    law = load_law()
    rule = law.of(treatment.state)
    over_night = treatment.started and treatment.finished and treatment.finished < treatment.started
    day = later(treatment.day, 1) if over_night else treatment.day
    ended = datetime.combine(day, treatment.finished or treatment.started or time(23, 59))
    hours = [rule.within_hours] if rule.within_hours is not None else []
    hours += [active.within_hours for active in _rules_of_actives(treatment, law)]
    limit = min(hours, default=0)
    text = f"{limit / 24:g} days" if limit >= 72 else f"{limit:g} hours"
    when = f"within {text}" if hours else "before you leave the site"
    exempt = f"exempt: {rule.exempt}; else " if rule.exempt else ""
    return WriteUp(
        ended + min(timedelta(hours=limit), datetime.max - ended),  # an old book may hold any day
        f"{exempt}write it up {when}; confirm with the regulator ({rule.unconfirmed})",
    )


def keep_until(treatment: Treatment) -> date:
    """The last day on which the record must still be there: the longest that state or active gives."""
    law = load_law()
    years = max(law.of(treatment.state).keep_years, *(rule.keep_years for rule in _rules_of_actives(treatment, law)), 0)
    return in_years(treatment.day, years)


def _conditional(rule: StateLaw, treatment: Treatment | None = None) -> Iterator[str]:
    """Fields asked under conditions that hold; under any condition where no treatment is given."""
    for condition, names in rule.asks_when.items():
        if treatment is None or _condition_holds(condition, treatment):
            yield from names


def _condition_holds(condition: Condition, treatment: Treatment) -> bool:
    """Where what decides it was not given, the condition is taken to hold."""
    if condition == "sprayed_outdoors":
        return treatment.outdoors and treatment.gear not in NO_SPRAY
    if condition == "not_by_hand":
        return treatment.gear not in BY_HAND
    return treatment.licensed == "yes" or (not treatment.licensed and bool(treatment.licence.strip()))


def _empty_fields(treatment: Treatment, law: Law, names: set[str]) -> Iterator[Missing]:
    """Those of the named fields that are empty, in the order of the paper."""
    products = treatment.products or (Product(),)
    weather = treatment.weather[0] if treatment.weather else Reading()
    for name, asked in law.fields.items():
        if name not in names or (name == "treated_area" and treatment.area_m2):
            continue
        if name == "licensed" and treatment.licence.strip():  # who has one is
            continue
        if asked.each == "product":
            for place, product in enumerate(products):
                if _is_empty(getattr(product, name)):
                    yield Missing(name, asked.text + (f" (product {place + 1})" if len(products) > 1 else ""), place)
        elif _is_empty(getattr(weather if asked.each == "reading" else treatment, name)):
            yield Missing(name, asked.text)


def _is_empty(value: object) -> bool:
    # A dash, a dot or a character that nobody sees says nothing.
    return value is None or value == () or (isinstance(value, str) and not has_content(value))


def _rules_of_actives(treatment: Treatment, law: Law) -> list[ActiveLaw]:
    """The rules of actives that the products name, whatever the blanks and dashes between."""
    named = " ".join(f"{product.actives} {product.name}" for product in treatment.products)
    return [rule for name, rule in law.actives.items() if re.search(_loose_pattern(name), named, re.IGNORECASE)]


def _loose_pattern(name: str) -> str:
    parts = re.findall(r"[0-9]+|[A-Za-z]+", name)
    return rf"(?<![0-9A-Za-z]){r'[^0-9A-Za-z]*'.join(parts)}(?![0-9A-Za-z])"
