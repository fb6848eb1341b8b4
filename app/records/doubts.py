"""What cannot be in a record that is signed, and what is asked about before it is, with the answer kept beside it."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta

from app.records.days import latest_now, latest_today
from app.records.entries import Reading, Treatment, VisitRecord
from app.records.errors import RecordsError
from app.records.fields import has_content
from app.records.law import NO_SPRAY, load_law
from model.text import day_text

# What may be asked, by the keys of the questions, and what the answer says.
QUESTIONS = {
    "day": "why the treatment has another date than the visit",
    "state": "why the record is for another state than the site's",
    "address": "why it has another address than the site",
    "client": "why it names another client than the site's",
    "chemical": "why no chemical was used, where the method is one with a chemical",
    "reading": "why the first reading of the weather is of another time than the start",
    "wind": "why it was sprayed in that wind",
    "signer": "why somebody else signs than whoever applied it",
}


def refuse_impossible(record: Treatment | VisitRecord) -> None:
    """Raises RecordsError for a day or an hour to come, and for an end before the start."""
    day = record.day if isinstance(record, Treatment) else record.visit.day
    if day > latest_today():
        raise RecordsError(f"its day, {day_text(day)}, is still to come; correct it, then sign")
    if isinstance(record, Treatment):
        _refuse_hours_to_come(record)
    if isinstance(record, Treatment) and record.started and record.finished and record.finished < record.started:
        raise RecordsError(
            f"it finished at {record.finished:%H:%M}, before it started at {record.started:%H:%M}; correct the "
            "times (work past midnight is two records), then sign"
        )


@dataclass(frozen=True)
class Doubt:
    """A question before a treatment is signed. ``key``: by which a file or an option answers it.

    ``formerly``: the same question in the words of an earlier version, under which its answer may be kept.
    """

    key: str
    text: str
    formerly: str = ""


def _refuse_hours_to_come(treatment: Treatment) -> None:
    for what, at in (("starts", treatment.started), ("finishes", treatment.finished)):
        if at is not None and datetime.combine(treatment.day, at) > latest_now():
            raise RecordsError(f"it {what} at {at:%H:%M}, which is still to come; sign once it is done")


def doubts(treatment: Treatment, visit: VisitRecord, signer: str = "") -> tuple[Doubt, ...]:
    """What is asked before a treatment is signed and was not answered yet: of ``signer`` only where one is given."""
    asked = []
    if treatment.day != visit.visit.day:
        asked.append(_ask_about_day(treatment.day, visit.visit.day))
    asked += _ask_about_place(treatment, visit)
    if treatment.chemical:
        asked += _ask_about_wind(treatment)
        asked += _ask_about_reading(treatment)
        if signer.strip() and treatment.applicator.strip() and _folded(signer) != _folded(treatment.applicator):
            asked.append(Doubt("signer", f"{treatment.applicator} applied it and {signer.strip()} signs: why?"))
    else:
        asked += _ask_about_method(treatment, visit)
    once = {one.text: one for one in reversed(asked)}
    settled = treatment.answered.keys()
    return tuple(one for one in reversed(once.values()) if not settled & {one.text, one.formerly or one.text})


def _ask_about_day(done: date, visited: date) -> Doubt:
    def asked(write: Callable[[date], str]) -> str:
        return f"The treatment is dated {write(done)}, the visit {write(visited)}: why?"

    return Doubt("day", asked(day_text), asked(date.isoformat))


def _ask_about_place(treatment: Treatment, visit: VisitRecord) -> list[Doubt]:
    """Whether the record names another state, whose law asks for other things, another place or another client."""
    site, client = visit.site, visit.client
    asked = []
    if treatment.state and site.state and treatment.state != site.state:
        asked.append(Doubt("state", f"The record is for {treatment.state} and the site is in {site.state}: why?"))
    for key, said, known in (("address", treatment.address, site.address), ("client", treatment.client, client.name)):
        # More words of the same, such as "rear of 1 Low Street", are no other one.
        if has_content(said) and _folded(known) not in _folded(said) and _folded(said) not in _folded(known):
            asked.append(Doubt(key, f"The record says {said.strip()} and the {key} of the site is {known}: why?"))
    return asked


def _ask_about_method(treatment: Treatment, visit: VisitRecord) -> list[Doubt]:
    """Whether work without a chemical has the method of an option with one: then no law of sprays would ask."""
    options = [option for plan in visit.plans for part in ("options", "only_for") for option in plan.plan.get(part, ())]
    if any(option.get("actives") and option.get("title") == treatment.method for option in options):
        text = f"The record says that no chemical was used, and its method is {treatment.method}: why?"
        return [Doubt("chemical", text)]
    return []


def _ask_about_reading(treatment: Treatment) -> list[Doubt]:
    """Whether the first reading of the weather is of another time than the start of the work."""
    read, start, end = (treatment.weather or (Reading(),))[0].at, treatment.started, treatment.finished
    if read is None or start is None or treatment.gear in NO_SPRAY or not treatment.outdoors:
        return []
    oldest = timedelta(hours=load_law().first_reading.within_hours)
    at, began = (datetime.combine(treatment.day, one) for one in (read, start))
    if at < began - oldest or read > max(start, end or start):
        return [Doubt("reading", f"The weather was read at {read:%H:%M} and the work started at {start:%H:%M}: why?")]
    return []


def is_key(text: str) -> bool:
    """Whether answers may be given under this key.

    >>> [is_key(text) for text in ("day", "wind", "wind-2", "signer", "widn", "wind-1")]
    [True, True, True, True, False, False]
    """
    return re.sub(r"^wind-([2-9]|[1-9]\d)$", "wind", text, flags=re.ASCII) in QUESTIONS


def ready_answers(treatment: Treatment) -> dict[str, str]:
    """Answers that were written down with the treatment before anything was asked, by the keys of the questions."""
    return {key: text for key, text in treatment.answered.items() if is_key(key)}


def answered(treatment: Treatment, asked: Sequence[Doubt], answers: Mapping[str, str]) -> Treatment:
    """The treatment with its own answer to each question, from ``answers`` or as written down with it.

    Raises RecordsError with the questions where an answer is missing, and for an answer to what is not asked.
    """
    keys = [one.key for one in asked]
    for key in answers:
        if key not in keys:
            raise RecordsError(f"treatment {treatment.id}: nothing is asked about {key[:60]}; leave that answer out")
    given = {key: text.strip() for key, text in (ready_answers(treatment) | dict(answers)).items()}
    if lacking := [one for one in asked if not has_content(given.get(one.key, ""))]:
        each = " ".join(f"--answer {one.key}=TEXT" for one in lacking)
        raise RecordsError(
            f"treatment {treatment.id}: {' '.join(one.text for one in lacking)} Correct it, or answer "
            f"{'each question' if len(lacking) > 1 else 'the question'} ({each}), then sign"
        )
    kept = {text: answer for text, answer in treatment.answered.items() if not is_key(text)}
    return replace(treatment, answered=kept | {one.text: given[one.key] for one in asked})


def _ask_about_wind(treatment: Treatment) -> list[Doubt]:
    """Whether the wind of a reading is beyond the limits at which the spray check says stop."""
    from model.spray import load_rules  # model.spray takes long to import

    if treatment.gear in NO_SPRAY or not treatment.outdoors:
        return []
    band = load_rules().facts.bands["wind"]
    asked = []
    for number, wind in enumerate((reading.wind_speed for reading in treatment.weather), start=1):
        if wind is None:
            continue
        if band.stop_above is not None and wind > band.stop_above.value:
            beyond = f"over {band.stop_above.value:g}"
        elif band.stop_below is not None and wind < band.stop_below.value:
            beyond = f"under {band.stop_below.value:g}"
        else:
            continue
        key = "wind" if number == 1 else f"wind-{number}"
        asked.append(Doubt(key, f"The wind was {wind:g} km/h, {beyond}: why was it sprayed?"))
    return asked


def _folded(name: str) -> str:
    return " ".join(re.findall(r"\w+", name.casefold()))
