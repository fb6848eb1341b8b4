"""Sign a visit or a treatment, amend what is signed, and read the latest version of each."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from app.records.book import Book, completed
from app.records.chain import HEADS, MEANT, digest, note_heads, note_meant, read_heads, signed_row
from app.records.database import Database
from app.records.days import check_day
from app.records.doubts import answered, doubts, refuse_impossible
from app.records.entries import Current, PastVisit, Signed, Treatment, Visit, VisitRecord
from app.records.errors import RecordsError
from app.records.fields import Kind
from app.records.findings import KeptFinding, KeptPhoto, KeptPlan
from app.records.law import key_of, missing_fields, write_up_by
from app.records.own import Own, filled_in
from app.records.serialization import canonical, entry_of, entry_of_json, insert, plain, rechecked

Record = VisitRecord | Treatment


@dataclass(frozen=True)
class Waiting:
    """A treatment that is still to be signed, and by when, by the clock at the site."""

    treatment: Treatment
    write_up_by: datetime
    late: bool


class Signing:
    """Signatures over the entries of a book, each a row of the chain."""

    def __init__(self, database: Database, book: Book, own: Own) -> None:
        self._database = database
        self._book = book
        self._own = own

    @contextmanager
    def together(self) -> Iterator[None]:
        """Several changes that are made all, on the disk when this ends, or none of them."""
        with self._signing():
            yield

    @contextmanager
    def _signing(self) -> Iterator[sqlite3.Connection]:
        """A transaction; what is signed in it is noted beside the book, as meant before it ends and as done after."""
        outermost = not self._database.connection.in_transaction
        with self._database.writing() as connection:
            yield connection
            if outermost:
                with suppress(OSError):
                    note_meant(self._database.folder / MEANT, self._not_noted())
        if outermost:
            # It is signed whether or not this can be written: the next signature makes up for it.
            with suppress(OSError):
                note_heads(self._database.folder / HEADS, self._not_noted())

    def _not_noted(self) -> list[tuple[int, str]]:
        noted = len(read_heads(self._database.folder / HEADS))
        sql = "SELECT sequence, sha256 FROM signed WHERE sequence > ? ORDER BY sequence"
        return [(row["sequence"], row["sha256"]) for row in self._database.read(sql, noted)]

    def current(self, kind: Kind, number: int) -> Current:
        """The latest version of a visit or a treatment, with its chain of signatures."""
        signed = self.versions(kind, number)
        if signed:
            return Current(kind, signed[-1][1], tuple(row for row, _ in signed))
        return Current(kind, self.unsigned_record(kind, number))

    def versions(self, kind: Kind, number: int) -> tuple[tuple[Signed, Record], ...]:
        """Every signed version, oldest first; nothing while it is unsigned."""
        if kind not in ("visit", "treatment"):
            raise RecordsError(f"{kind!r} cannot be signed; give visit or treatment")
        form: type[Any] = Treatment if kind == "treatment" else VisitRecord
        sql = "SELECT * FROM signed WHERE kind = ? AND record = ? ORDER BY sequence"
        return tuple(
            (signed_row(row), entry_of_json(form, row["content"])) for row in self._database.read(sql, kind, number)
        )

    def visit(self, number: int) -> Visit:
        """A visit, in its latest version. Raises RecordsError where there is none."""
        found = self.current("visit", number).record
        assert isinstance(found, VisitRecord)
        return found.visit

    def visits(self, site: int | None = None) -> tuple[Visit, ...]:
        """All visits, or those to a site, in their latest versions, newest first."""
        found = self._database.read("SELECT * FROM visits WHERE ? IS NULL OR site = ?", site, site)
        visits = {row["id"]: entry_of(Visit, row) for row in found}
        for row in self._database.read(
            "SELECT record, content FROM signed WHERE kind = 'visit' AND amends > 0 ORDER BY sequence"
        ):
            if row["record"] in visits:
                visits[row["record"]] = entry_of_json(VisitRecord, row["content"]).visit
        return tuple(sorted(visits.values(), key=lambda visit: (visit.day, visit.id), reverse=True))

    def treatments(self, site: int | None = None, visit: int | None = None) -> tuple[Current, ...]:
        """All treatments, or those at a site or a visit, in their latest versions, newest first."""
        found = self._database.read(
            "SELECT t.id FROM treatments t JOIN visits v ON v.id = t.visit "
            "WHERE (? IS NULL OR v.site = ?) AND (? IS NULL OR t.visit = ?)",
            *(site, site, visit, visit),
        )
        current = (self.current("treatment", row["id"]) for row in found)
        return tuple(sorted(current, key=lambda one: (one.record.day, one.record.id), reverse=True))  # type: ignore[union-attr]

    def history(self, site: int) -> tuple[PastVisit, ...]:
        """All visits to a site, newest first, with what was found, planned and done."""
        self._book.site(site)
        treatments: dict[int, list[Current]] = {}
        for treatment in self.treatments(site):
            treatments.setdefault(treatment.record.visit, []).append(treatment)  # type: ignore[arg-type]
        follow_ups = self._book.follow_ups(site, open_only=False)
        return tuple(
            PastVisit(
                self.current("visit", visit.id),
                tuple(treatments.get(visit.id, ())),
                tuple(follow_up for follow_up in follow_ups if follow_up.visit == visit.id),
            )
            for visit in self.visits(site)
        )

    def new_treatment(self, visit: int) -> Treatment:
        """A treatment to fill in: place and client from the site, person and business from the profile or the last one.

        Never products or rates: those come from the label in hand.
        """
        today = self.visit(visit)
        site = self._book.site(today.site)
        client = self._book.client(site.client)
        contact = ", ".join(text for text in (client.phone, client.email) if text)
        new = Treatment(
            visit=visit,
            day=today.day,
            state=site.state,
            address=site.address,
            client=client.name,
            client_contact=contact or client.address,
            applicator=today.who,
        )
        last = self._database.read("SELECT id FROM treatments ORDER BY id DESC LIMIT 1")
        former = self.current("treatment", last[0]["id"]).record if last else None
        return filled_in(new, self._own.profile(), former if isinstance(former, Treatment) else None)

    def sign(self, kind: Kind, number: int, who: str, answer: str = "") -> Signed:
        """Sign a visit or a treatment as it stands; from now on it can only be amended.

        ``answer``: to what ``doubts`` asks, kept with the record. Raises RecordsError naming what its state still asks
        for, what is asked without an answer, and where it is signed already.
        """
        with self._signing() as connection:
            # Read in the same transaction, so that what is signed is what is there.
            if self.versions(kind, number):
                raise RecordsError(f"{kind} {number} is signed; amend it, and say why")
            record = self.unsigned_record(kind, number)
            if isinstance(record, Treatment):
                _check_complete(record)
                asked = doubts(record, self.visit(record.visit).day, who)
                record = answered(record, asked, answer)
                if asked:
                    record = self._book.change_treatment(record)
            signed = self._add_signed(connection, kind, number, record, who)
        return signed

    def amend(self, kind: Kind, number: int, changed: Record, who: str, reason: str, answer: str = "") -> Signed:
        """Sign another version of what is signed, saying why; the former ones stay.

        ``answer``: to what ``doubts`` asks of what was not asked before. Raises RecordsError.
        """
        if not reason.strip():
            raise RecordsError("no reason was given for the amendment; give one")
        changed = _valid(kind, number, changed)
        with self._signing() as connection:
            former = self.versions(kind, number)
            if not former:
                raise RecordsError(f"{kind} {number} is not signed; change it instead")
            row, record = former[-1]
            if _belongs_to(record) != _belongs_to(changed):
                raise RecordsError(f"{kind} {number} belongs to another site or visit; an amendment cannot move it")
            if plain(record) == plain(changed):
                raise RecordsError(f"{kind} {number} is the same as before; change something in it")
            if isinstance(changed, Treatment) and isinstance(record, Treatment):
                day = self.visit(changed.visit).day
                asked = tuple(one for one in doubts(changed, day) if one not in doubts(record, day))
                changed = answered(changed, asked, answer)
            signed = self._add_signed(connection, kind, number, changed, who, row.sequence, reason)
            if isinstance(changed, Treatment):
                self._book.index_treatment(connection, changed)
            else:
                self._book.index_visit(connection, changed.visit, changed.findings)
        return signed

    def unsigned(self, now: datetime | None = None) -> tuple[Waiting, ...]:
        """Treatments with a chemical still to be signed, by when; ``now`` by the clock at the site."""
        now = now or self._database.clock().astimezone().replace(tzinfo=None)
        rows = self._database.read(
            "SELECT id FROM treatments t WHERE NOT EXISTS "
            "(SELECT 1 FROM signed WHERE kind = 'treatment' AND record = t.id)"
        )
        treatments = (self._book.treatment_row(row["id"]) for row in rows)
        due = [(treatment, write_up_by(treatment).at) for treatment in treatments if treatment.chemical]
        return tuple(Waiting(treatment, at, now > at) for treatment, at in sorted(due, key=lambda pair: pair[1]))

    def unsigned_record(self, kind: Kind, number: int) -> Record:
        """A record as its own rows have it, whether or not it is signed."""
        book = self._book
        if kind == "treatment":
            return book.treatment_row(number)
        visit = book.one(Visit, number)
        site = book.site(visit.site)
        parts = (book.of_visit(KeptPhoto, number), book.of_visit(KeptFinding, number), book.of_visit(KeptPlan, number))
        return VisitRecord(visit, site, book.client(site.client), *parts)

    def _add_signed(
        self,
        connection: sqlite3.Connection,
        kind: Kind,
        number: int,
        record: Record,
        who: str,
        amends: int | None = None,
        reason: str = "",
    ) -> Signed:
        """Add a complete record to the chain. Its time is that of the clock, also where the row before it is later."""
        _check_complete(record)
        if not who.strip():
            raise RecordsError("the name of who signs was not given; give one")
        last = connection.execute("SELECT * FROM signed ORDER BY sequence DESC LIMIT 1").fetchone()
        sequence, former, former_at = (last["sequence"], last["sha256"], last["signed_at"]) if last else (0, "", "")
        at, note = self._database.now(), ""
        if former_at > at:
            note = f"earlier than the signature before this one, at {former_at}: the clock was wrong then or is now"
        content = canonical(plain(record))
        signed = Signed(sequence + 1, kind, number, who.strip(), at, note, amends, reason.strip(), former, "")
        signed = replace(signed, sha256=digest(signed, content))
        insert(connection, signed, content=content)
        return signed


def _check_complete(record: Record) -> None:
    """Raises RecordsError for what cannot be, and naming what the law asks for and the record lacks."""
    refuse_impossible(record)
    if isinstance(record, VisitRecord):
        if not record.visit.who.strip():
            raise RecordsError(f"visit {record.visit.id}: still missing: who was there (who); fill it in, then sign")
        return
    missing = missing_fields(record)
    if missing:
        listed = "; ".join(f"{lack.text} ({key_of(lack.field)})" for lack in missing)
        where = f" for {record.state}" if record.state else ", as no state is named"
        raise RecordsError(f"treatment {record.id}: still missing{where}: {listed}; fill these in, then sign")


def _valid(kind: Kind, number: int, changed: Record) -> Record:
    if isinstance(changed, Treatment) != (kind == "treatment"):
        raise RecordsError(f"a {kind} is amended by a {kind}, not by something else")
    found = rechecked(changed)
    check_day(found.day if isinstance(found, Treatment) else found.visit.day, kind)
    if isinstance(found, Treatment):
        return replace(completed(found), id=number)
    return replace(found, visit=replace(found.visit, id=number))


def _belongs_to(record: Record) -> int:
    return record.visit if isinstance(record, Treatment) else record.visit.site
