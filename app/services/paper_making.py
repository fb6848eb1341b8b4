"""Make the papers of the job: of a visit in the records, of a weed that is named, or of the records as a whole."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

from app.papers.visit_paper import PaperVisit, make_paper
from app.present.block import Block
from app.present.finding import day_text
from app.present.naming import Naming
from app.present.sums import figures_on_paper
from app.records import open_records
from app.records.book_mark import mark_on_paper
from app.services.advice import advise, weeds_named
from app.services.interview import named_for_paper
from app.services.knowledge import load_advice, load_key
from app.services.last_sum import last_sum
from app.services.plant_photos import OF_THIS, ONE_OF_THESE, paper_photo
from app.services.visit_papers import all_visits, namings_of, photos_of, plan_of, visit_record
from model.control.facts import FORMER_METHODS
from model.errors import AnswerError, nearest
from model.flora.name import PlantNames
from model.identify import Key


def _visit(
    number: int, maker: str | None, place: str | None, cover: float | None, key: Key | None, pictured: bool = True
) -> PaperVisit:  # fmt: skip
    """What the papers of a visit are made of. ``maker``: who hands them out, None for who made the visit."""
    key, control = key or load_key(), load_advice()
    with open_records() as book:
        record = visit_record(book, number)
        naming, *others = namings_of(record, key)
        made = plan_of(book, record, naming, control, others, place=place, cover=cover)
        photo = paper_photo(photos_of(book, record), made.case.species, key.flora) if pictured else None
        if photo is not None and photo.caption == OF_THIS and others:
            photo = replace(photo, caption=ONE_OF_THESE)
        who = record.visit.who if maker is None else maker
        due = tuple(item for item in book.follow_ups(record.site.id, open_only=False) if item.visit == number)
        done = book.treatments(visit=number)[::-1]
        every = (naming, *others)
        profile, mark = book.profile(), mark_on_paper(book)
        return PaperVisit(record, naming, made, key, control, who, photo, every, done, due, profile, mark)


def paper_of_visit(
    name: str, number: int, maker: str | None = None, place: str | None = None, cover: float | None = None,
    key: Key | None = None,
) -> bytes:  # fmt: skip
    """The paper ``name``, one of TITLES, of a visit. Raises SwardkeyError where the visit lacks what it needs."""
    return make_paper(name, _visit(number, maker, place, cover, key))


def text_for_client(number: int, key: Key | None = None) -> str:
    """What the client's paper of a visit says, for a mail. Raises SwardkeyError where there is none yet."""
    from app.papers.client_sheet import client_text  # here and below: what one paper needs, the others do not wait for

    return client_text(_visit(number, None, None, None, key, pictured=False))


def advice_of_visit(
    number: int, maker: str | None = None, client: str = "", place: str | None = None, cover: float | None = None,
    key: Key | None = None,
) -> bytes:  # fmt: skip
    """The advice sheet of a visit. Raises SwardkeyError where there is no such visit, or it names no plant."""
    return make_paper("advice", _visit(number, maker, place, cover, key), client=client)


def advice_on(
    names: Sequence[str], answers: Path | None, month: int, client: str, maker: str, together: bool = False,
    **circumstances: Any,
) -> bytes:  # fmt: skip
    """The advice sheet without a visit, of weeds that are named, or of one that a file of answers names."""
    from app.papers.advice_sheet import AdviceSheet, advice_paper

    key = load_key()
    named = weeds_named(PlantNames(key.flora), names, together=together)
    naming, species = named_for_paper(key, named, answers, month)
    plan, control = advise(species, month, together=together, **circumstances)
    photo = paper_photo((), plan.case.species, key.flora)
    others = tuple(Naming(one) for one in species if together and one != naming.species)
    sheet = AdviceSheet(naming, plan, client, "", day_text(date.today()), maker, photo, others)
    return advice_paper(sheet, key, control)


def job_of_visit(
    number: int, maker: str | None = None, methods: Sequence[str] = (), sums: Sequence[str] = (),
    place: str | None = None, cover: float | None = None, with_last_sum: bool = False, key: Key | None = None,
) -> bytes:  # fmt: skip
    """The job sheet of a visit, for ``methods`` or what was decided on; ``with_last_sum``: the last of `mix` too."""
    visit = _visit(number, maker, place, cover, key)
    known = visit.control.methods.methods
    chosen = tuple(FORMER_METHODS.get(method, method) for method in methods)
    for method in chosen:
        if method not in known:
            raise AnswerError(f"--do {method}: no such method is known; {nearest(method, known)}")
    worked_out: list[str | Block] = [*sums]
    if with_last_sum:
        title, day, rows, working = last_sum()
        worked_out.append(figures_on_paper(f"{title}, worked out on {day_text(day)}", rows, working))
    return make_paper("job", visit, chosen=chosen, sums=tuple(worked_out))


def record_of_treatment(number: int, maker: str = "") -> bytes:
    """The spray record of a treatment, with its amendments. Raises RecordsError where there is none."""
    from app.papers.record_sheet import paper_of_treatment

    with open_records() as book:
        return paper_of_treatment(book, number, maker)


def calendar(site: int | None = None) -> tuple[bytes, int]:
    """The open follow-ups as a calendar file, and how many there are."""
    from app.papers.follow_ups import calendar_file

    with open_records() as book:
        due, sites = book.follow_ups(site), {one.id: one for one in book.sites()}
    return calendar_file(due, sites, datetime.now(UTC)), len(due)


def table(what: str, site: int | None = None) -> bytes:
    """All ``treatments`` or all ``findings``, as CSV for a spreadsheet."""
    from app.papers.csv_table import findings_csv, treatments_csv

    with open_records() as book:
        return treatments_csv(book.treatments(site)) if what == "treatments" else findings_csv(all_visits(book, site))


def shared_findings(
    ending: str, by: str, licence: str, decimals: int | None, names: bool, site: int | None = None,
    key: Key | None = None,
) -> bytes:  # fmt: skip
    """Confirmed findings in Darwin Core: a table (.csv) or an archive (.zip). Raises AnswerError where none may go."""
    from app.papers.darwin_core import Sharing, archive, check_sharing, occurrence_csv
    from training.collection.licence import kind_of, licence_of

    with open_records() as book:
        visits, dataset = all_visits(book, site), book.dataset()
    sharing = check_sharing(Sharing(by, kind_of(licence_of(licence)) or licence, dataset, decimals, names))
    flora = (key or load_key()).flora
    if ending == ".zip":
        return archive(visits, flora, sharing, datetime.now(UTC).date())
    return occurrence_csv(visits, flora, sharing)
