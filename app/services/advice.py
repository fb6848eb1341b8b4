"""What to do about a weed: names to a case, the case to a plan, and the plant's year."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from app.services.choices import lawn_of
from app.services.knowledge import load_advice
from app.services.labels import labels_read
from app.services.own_details import own_state
from model.control import Case, Control, Plan, Year, plan, year_of
from model.errors import AnswerError
from model.flora.name import PlantNames


def advise(
    names: Sequence[str], month: int, *, exact: bool = False, together: bool = False, near: Sequence[str] = (),
    used: Sequence[int] = (), **circumstances: Any,
) -> tuple[Plan, Control]:  # fmt: skip
    """The plan for a weed, for all that it may still be, or for all that grow there, with the facts that it rests on.

    ``exact`` and ``together`` as in weeds_named; ``circumstances`` are other fields of a Case, None where not known.
    Raises AnswerError naming the word that is not known.
    """
    control = load_advice()
    species = weeds_named(PlantNames(control.flora), names, exact, together)
    circumstances["state"] = circumstances.get("state") or own_state()
    lawn, cultivar = lawn_of(control, circumstances.pop("lawn", None), circumstances.pop("cultivar", None))
    case = Case(
        species, month, together=together, labels=labels_read(), used=tuple(used),
        near=tuple(dict.fromkeys(near)), lawn=lawn or "unknown", cultivar=cultivar, **circumstances,  # type: ignore[arg-type]  # checked with the case
    )  # fmt: skip
    return plan(control, case), control


def weeds_named(
    plants: PlantNames, names: Sequence[str], exact: bool = False, together: bool = False
) -> tuple[str, ...]:  # fmt: skip
    """The ids of the weeds that are named: a shortlist, or two or more that grow there ``together``.

    ``exact``, which ``together`` implies, refuses a name that several plants have. Raises AnswerError.
    """
    found = plants.the_plants_in(names, exact or together)
    if together and len(found) < 2:
        raise AnswerError("--together is for two weeds or more on one lawn; name the others too, or leave it out")
    return found


def plan_for(case: Case) -> Plan:
    """The plan for a case. Raises AnswerError naming the word that is not known."""
    return plan(load_advice(), case)


def years_of(names: Sequence[str]) -> tuple[list[Year], Control]:
    """The year of each plant that is named, with the facts. Raises AnswerError for a name that is not known."""
    control = load_advice()
    return [year_of(control, species) for species in PlantNames(control.flora).the_plants_in(names)], control
