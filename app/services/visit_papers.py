"""From the records to what papers are made from: the visit, how its weed was named, and the plan for it."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import suppress
from dataclasses import replace
from pathlib import Path
from typing import Any

from app.present.finding import LEAST_NAMED
from app.present.naming import Naming, still_possible
from app.records import Records, RecordsError, VisitRecord
from app.records.findings import KeptFinding
from app.services.labels import labels_read
from model.control import Case, Control, JudgedOption, Plan, plan
from model.control.facts import FORMER_METHODS
from model.errors import AnswerError
from model.identify import Key
from model.traits import Answers, check_answers


def visit_record(records: Records, visit: int) -> VisitRecord:
    """A visit with all that belongs to it, in its latest version. Raises RecordsError where there is none."""
    found = records.current("visit", visit).record
    assert isinstance(found, VisitRecord)
    return found


def all_visits(records: Records, site: int | None = None) -> list[VisitRecord]:
    """Every visit, or those to a site, newest first."""
    return [visit_record(records, visit.id) for visit in records.visits(site)]


def photos_of(records: Records, record: VisitRecord) -> tuple[Path, ...]:
    """The files of a visit's photos that are there."""
    found = []
    for photo in record.photos:
        with suppress(RecordsError):  # `records check` says which are lost
            found.append(records.photo_file(photo.sha256))
    return tuple(found)


def namings_of(record: VisitRecord, key: Key) -> tuple[Naming, ...]:
    """How each weed of a visit was named, once: what a person confirmed before the rest, then the latest first.

    Raises AnswerError where none does; a plant outside the flora is not given the name of the nearest, nor is one
    named of which hardly anything is known.
    """
    named = [found for found in record.findings if species_of(found) in key.flora.species and _may_be_named(found)]
    if not named:
        if any(found.status == "unlisted" for found in record.findings):
            raise AnswerError(
                f"visit {record.visit.id}: no plant on file fits what was seen, so there is no advice on it yet; "
                "send a sample to a herbarium or weeds officer, and confirm the name"
            )
        raise AnswerError(f"visit {record.visit.id} has no finding that names a plant; identify it first")
    best = sorted(named, key=lambda found: (bool(found.confirmed_by), found.id), reverse=True)
    first = {species_of(found): found for found in reversed(best)}  # of one species, the best
    return tuple(_naming(found, key) for found in sorted(first.values(), key=best.index))


def _naming(best: KeptFinding, key: Key) -> Naming:
    species = species_of(best) or ""
    chances = chances_of(best)
    probability = best.probability if best.probability is not None else chances.get(species)
    undecided = best.status == "undecided" and not best.confirmed_by
    others = {s: p for s, p in chances.items() if s != species and s in key.flora.species}
    also = still_possible(others) if undecided else ()
    given = answers_of(best, key)
    return Naming(species, best.status, probability, given, best.confirmed_by, also, best.visible)


def _may_be_named(found: KeptFinding) -> bool:
    """Whether a person confirmed the name, or the key named it, or put it in front with some weight."""
    if found.confirmed_by:
        return True
    front = chances_of(found).get(species_of(found) or "", 1.0)
    return found.status != "unlisted" and (bool(found.species) or front >= LEAST_NAMED)


def species_of(found: KeptFinding) -> str | None:
    """The species that a finding names, or that is in front in it."""
    if found.species:
        return found.species
    return next(iter(chances_of(found)), None)


def answers_of(found: KeptFinding, key: Key) -> Answers:
    """The answers of a finding in their order, without those to characters that the key no longer has."""
    known = {name: answer for name, answer in found.answers.items() if name in key.flora.characters}
    return check_answers(key.flora.characters, known)


def chances_of(found: KeptFinding) -> dict[str, float]:
    """The probabilities of the candidates that a kept finding lists, 0 to 1, by species."""
    listed = [one for one in found.finding.get("candidates") or [] if isinstance(one, dict)]
    return {str(one.get("species")): float(one.get("probability") or 0.0) for one in listed}


def plan_of(
    records: Records,
    record: VisitRecord,
    naming: Naming,
    control: Control,
    others: Sequence[Naming] = (),
    **changed: Any,
) -> Plan:
    """The plan for the weed of a visit and for ``others``, in the case as it was given then, parts of it ``changed``.

    Where no case was kept, the visit's site and month stand for it, with the groups used there before.
    """
    case = case_of(records, record)
    given = {name: value for name, value in changed.items() if value is not None}
    species, together = weeds_of((naming, *others), control)
    return plan(control, replace(case, **given, species=species, together=together))


def weeds_of(namings: Sequence[Naming], control: Control) -> tuple[tuple[str, ...], bool]:
    """The weeds that a visit is planned for, and whether they grow there together: each was found, not one of them."""
    every = dict.fromkeys(species for one in namings for species in (one.species, *one.also))
    together = len(namings) > 1
    species = tuple(one for one in every if one in control.treatments) if together else tuple(every)
    return species or (namings[0].species,), together


def kept_case(record: VisitRecord) -> Case | None:
    """The case that the latest kept plan of a visit was made for; None where there is none that can be read."""
    for kept in reversed(record.plans):
        found = kept.plan.get("case")
        if isinstance(found, dict):
            try:
                return Case.of_json(found)
            except (TypeError, ValueError, KeyError):
                continue  # of another version, which knew more
    return None


def case_of(records: Records, record: VisitRecord) -> Case:
    """The case that a visit's latest plan was made for; else what is known of its site, in the month of the visit."""
    return kept_case(record) or _case_of_site(records, record)


def _case_of_site(records: Records, record: VisitRecord) -> Case:
    site = record.site
    used = tuple(sorted({use.group for use in records.group_uses(site.id) if use.day < record.visit.day}))
    near: Any = tuple(site.near)
    day = record.visit.day
    return Case((), day.month, site.lawn, state=site.state or None, near=near, used=used, labels=labels_read())


def decided_option(record: VisitRecord, made: Plan) -> tuple[JudgedOption, ...]:
    """The option that was decided on at a visit, where the plan still has it."""
    words = {kept.chosen for kept in record.plans if kept.chosen}
    former = {FORMER_METHODS[chosen] for chosen in words if chosen in FORMER_METHODS}
    return tuple(o for o in (*made.options, *made.only) if o.name in words or o.method in former)[:1]
