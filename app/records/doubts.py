"""What cannot be in a record that is signed, and what is asked about before it is, with the answer kept beside it."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

from app.records.days import latest_today
from app.records.entries import Treatment, VisitRecord
from app.records.errors import RecordsError
from app.records.law import NO_SPRAY


def refuse_impossible(record: Treatment | VisitRecord) -> None:
    """Raises RecordsError for a day to come, and for an end before the start."""
    day = record.day if isinstance(record, Treatment) else record.visit.day
    if day > latest_today():
        raise RecordsError(f"its day, {day.isoformat()}, is still to come; correct it, then sign")
    if isinstance(record, Treatment) and record.started and record.finished and record.finished < record.started:
        raise RecordsError(
            f"it finished at {record.finished:%H:%M}, before it started at {record.started:%H:%M}; correct the "
            "times (work past midnight is two records), then sign"
        )


def doubts(treatment: Treatment, visited: date, signer: str = "") -> tuple[str, ...]:
    """What is asked before a treatment is signed and was not answered yet: wind, day, and ``signer`` where given."""
    asked = []
    if treatment.day != visited:
        asked.append(f"The treatment is dated {treatment.day.isoformat()}, the visit {visited.isoformat()}: why?")
    if treatment.chemical:
        asked += _of_wind(treatment)
        if signer.strip() and treatment.applicator.strip() and _alike(signer) != _alike(treatment.applicator):
            asked.append(f"{treatment.applicator} applied it and {signer.strip()} signs: why?")
    return tuple(one for one in asked if one not in treatment.answered)


def answered(treatment: Treatment, asked: tuple[str, ...], answer: str) -> Treatment:
    """The treatment with an answer to all that is asked. Raises RecordsError with the questions where there is none."""
    if not asked:
        return treatment
    if not answer.strip():
        raise RecordsError(
            f"treatment {treatment.id}: {' '.join(asked)} Correct it, or answer (--answer TEXT) and sign"
        )
    return replace(treatment, answered={**treatment.answered, **dict.fromkeys(asked, answer.strip())})


def _of_wind(treatment: Treatment) -> list[str]:
    """Whether the wind of a reading is beyond the limits at which the spray check says stop."""
    from model.spray import load_rules  # model.spray takes long to import

    if treatment.gear in NO_SPRAY or not treatment.outdoors:
        return []
    band = load_rules().facts.bands["wind"]
    asked = []
    for wind in (reading.wind_speed for reading in treatment.weather if reading.wind_speed is not None):
        if band.stop_above is not None and wind > band.stop_above.value:
            asked.append(f"The wind was {wind:g} km/h, over {band.stop_above.value:g}: why was it sprayed?")
        elif band.stop_below is not None and wind < band.stop_below.value:
            asked.append(f"The wind was {wind:g} km/h, under {band.stop_below.value:g}: why was it sprayed?")
    return asked


def _alike(name: str) -> str:
    return " ".join(name.casefold().split())
