"""What to do about a weed: names to a case, the case to a plan, and the plant's year."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from app.services.knowledge import load_advice
from app.services.labels import labels_read
from model.control import Case, Control, Plan, Year, plan, year_of
from model.flora.name import PlantNames


def advise(
    names: Sequence[str], month: int, *, exact: bool = False, near: Sequence[str] = (), used: Sequence[int] = (),
    **circumstances: Any,
) -> tuple[Plan, Control]:  # fmt: skip
    """The plan for a weed, or for all that it may still be, with the facts that it rests on.

    ``exact`` refuses a name that several plants have; ``circumstances`` are other fields of a Case, None where not
    known. Raises AnswerError naming the word that is not known.
    """
    control = load_advice()
    plants = PlantNames(control.flora)
    species = [one for name in names for one in plants.the_plants(name, exact=exact)]
    case = Case(
        tuple(dict.fromkeys(species)), month, labels=labels_read(), used=tuple(used),
        near=tuple(dict.fromkeys(near)), **circumstances,  # type: ignore[arg-type]  # checked with the case
    )  # fmt: skip
    return plan(control, case), control


def plan_for(case: Case) -> Plan:
    """The plan for a case. Raises AnswerError naming the word that is not known."""
    return plan(load_advice(), case)


def years_of(names: Sequence[str]) -> tuple[list[Year], Control]:
    """The years of some plants, each once, with the facts. Raises AnswerError for a name that is not one plant's."""
    control = load_advice()
    plants = PlantNames(control.flora)
    return [year_of(control, species) for species in dict.fromkeys(map(plants.the_species, names))], control
