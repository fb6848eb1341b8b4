"""What is found and planned for a visit in the records, kept with it: the same from a command and from the pages."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from app.records import KeptFinding, KeptPhoto, KeptPlan, Records, RecordsError, Visit, open_records
from app.services.advice import weeds_named
from app.services.choices import lawn_of
from app.services.knowledge import load_advice, load_key
from app.services.visit_papers import case_of, namings_of, visit_record, weeds_of
from model.control import Control, JudgedOption, Plan, plan
from model.errors import AnswerError
from model.finding import Finding
from model.flora.name import PlantNames
from model.interview import Interview
from model.traits import Visible
from model.traits.answers import Answer


def finding_to_keep(
    visit: int, finding: Finding, answers: Mapping[str, Answer], visible: Visible | None
) -> KeptFinding:
    """A finding as the records keep it."""
    plain = {name: list(answer) if isinstance(answer, tuple) else answer for name, answer in answers.items()}
    named = (finding.as_json(), finding.status, finding.species, finding.probability)
    return KeptFinding(visit, *named, plain, visible=visible)


def plan_to_keep(visit: int, plan: Plan, control: Control, chosen: JudgedOption | None = None) -> KeptPlan:
    """A plan as the records keep it, with the option that was decided on."""
    return KeptPlan(visit, plan.as_json(control), chosen.name if chosen is not None else "")


def open_visit(number: int) -> Visit:
    """A visit that something can be added to. Raises RecordsError where there is none, or it is signed."""
    with open_records() as book:
        current = book.current("visit", number)
        if current.is_signed:
            raise RecordsError(f"visit {number} is signed, so nothing is added to it; add a new visit to the site")
        return book.visit(number)


def keep_finding(number: int, interview: Interview, photos: Sequence[Path]) -> KeptFinding:
    """Keep photos and what was found with a visit: all of it or nothing. Raises PhotoError, RecordsError."""
    with open_records() as book, book.together():
        keep_photos(book, number, photos)
        return book.add_finding(finding_to_keep(number, interview.finding, interview.answers, interview.visible))


def keep_photos(book: Records, number: int, photos: Iterable[Path]) -> None:
    """Keep photos with a visit, each once. Raises PhotoError, RecordsError."""
    known = {kept.sha256 for kept in visit_record(book, number).photos}
    for sha256 in dict.fromkeys(map(book.store_photo, photos)):
        if sha256 not in known:
            book.add_photo(KeptPhoto(number, sha256, "before"))


def plan_for_visit(
    number: int, names: Sequence[str] = (), exact: bool = False, together: bool = False, **changed: Any
) -> tuple[Plan, Control]:  # fmt: skip
    """Make a plan for all that was found at a visit, or for the weeds that are named, on its site; and keep it with it.

    ``exact`` and ``together`` as in weeds_named. ``changed`` are fields of the Case in place of what the records say,
    None where they are not given. Raises SwardkeyError where the visit names no plant, or for a word that is not known.
    """
    open_visit(number)
    control = load_advice()
    with open_records() as book:
        record = visit_record(book, number)
        case = case_of(book, record)
        if names:
            species = weeds_named(PlantNames(control.flora), names, exact, together)
        elif together:
            raise AnswerError(
                "--together is for weeds that are named; what was found at a visit is planned for so anyway"
            )
        else:
            species, together = weeds_of(namings_of(record, load_key()), control)
        lawn, cultivar = lawn_of(control, changed.pop("lawn", None) or case.lawn, changed.pop("cultivar", None))
        given = {name: value for name, value in changed.items() if value is not None}
        if lawn == case.lawn:
            cultivar = cultivar or case.cultivar
        made = plan(
            control,
            replace(case, **given, species=species, together=together, lawn=lawn or "unknown", cultivar=cultivar),
        )
        book.add_plan(plan_to_keep(number, made, control))
    return made, control
