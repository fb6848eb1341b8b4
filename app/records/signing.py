"""Signing a visit or a treatment, amending what is signed, and its latest version."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from app.records import rows
from app.records.book import Book, fitting, known_kind
from app.records.chain import HEADS, digest, note_heads, read_heads, signed_row
from app.records.entries import Client, Current, Signed, Site, Treatment, Visit, VisitRecord
from app.records.fields import Kind
from app.records.kept import KeptPhoto, KeptPlan
from app.records.law import missing_fields, write_up_by
from app.records.refusals import RecordsError

Record = VisitRecord | Treatment


@dataclass(frozen=True)
class Waiting:
    """A treatment that is still to be signed, and by when, by the clock at the site."""

    treatment: Treatment
    write_up_by: datetime
    late: bool


class Signing(Book):
    """The record book, to sign in."""

    @contextmanager
    def together(self) -> Iterator[None]:
        """Several changes that are made all, on the disk when this ends, or none of them."""
        with self.writing():
            yield
        self._note_heads()

    def current(self, kind: Kind, number: int) -> Current:
        """The latest version of a visit or a treatment, with its chain of signatures."""
        signed = self.versions(kind, number)
        if signed:
            return Current(kind, signed[-1][1], tuple(row for row, _ in signed))
        return Current(kind, self.unsigned_record(kind, number))

    def versions(self, kind: Kind, number: int) -> tuple[tuple[Signed, Record], ...]:
        """Every signed version, oldest first; nothing while it is unsigned."""
        known_kind(kind)
        found = self.read("SELECT * FROM signed WHERE kind = ? AND record = ? ORDER BY sequence", kind, number)
        return tuple((signed_row(row), _record(kind, row["content"])) for row in found)

    def visit(self, number: int) -> Visit:
        """A visit, in its latest version. Raises RecordsError where there is none."""
        found = self.current("visit", number).record
        assert isinstance(found, VisitRecord)
        return found.visit

    def visits(self, site: int | None = None) -> tuple[Visit, ...]:
        """All visits, or those to a site, in their latest versions, newest first."""
        found = self.read("SELECT * FROM visits WHERE ? IS NULL OR site = ?", site, site)
        amended = self.read("SELECT record, content FROM signed WHERE kind = 'visit' AND amends > 0 ORDER BY sequence")
        visits = {row["id"]: rows.entry_of(Visit, row) for row in found}
        for row in amended:
            if row["record"] in visits:
                visits[row["record"]] = rows.entry_of_json(VisitRecord, row["content"]).visit
        return tuple(sorted(visits.values(), key=lambda visit: (visit.day, visit.id), reverse=True))

    def treatments(self, site: int | None = None, visit: int | None = None) -> tuple[Current, ...]:
        """All treatments, or those at a site or a visit, in their latest versions, newest first."""
        found = self.read(
            "SELECT t.id FROM treatments t JOIN visits v ON v.id = t.visit "
            "WHERE (? IS NULL OR v.site = ?) AND (? IS NULL OR t.visit = ?)",
            *(site, site, visit, visit),
        )
        return tuple(sorted((self.current("treatment", row["id"]) for row in found), key=_newest, reverse=True))

    def new_treatment(self, visit: int) -> Treatment:
        """A treatment to fill in: place and client from the site, person and business from the last one kept.

        Never products or rates: those come from the label in hand.
        """
        today = self.visit(visit)
        site = self.site(today.site)
        client = self.client(site.client)
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
        last = self.read("SELECT id FROM treatments ORDER BY id DESC LIMIT 1")
        if not last:
            return new
        former = self.current("treatment", last[0]["id"]).record
        names = ["business", "business_address", "business_contact"]
        # A licence is a person's: it is not handed on to somebody else.
        if getattr(former, "applicator", "") == new.applicator or not new.applicator:
            names += ["applicator", "applicator_address", "applicator_contact", "licence"]
        return replace(new, **{name: getattr(former, name) for name in names})

    def sign(self, kind: Kind, number: int, who: str) -> Signed:
        """Sign a visit or a treatment as it stands; from now on it can only be amended.

        Raises RecordsError naming what its state still asks for, and where it is signed already.
        """
        with self.writing() as connection:
            # Read in the same transaction, so that what is signed is what is there.
            if self.versions(kind, number):
                raise RecordsError(f"{kind} {number} is signed; amend it, and say why")
            record = self.unsigned_record(kind, number)
            _complete(record)
            signed = self._signed(connection, kind, number, record, who, None, "")
        self._note_heads()
        return signed

    def amend(self, kind: Kind, number: int, changed: Record, who: str, reason: str) -> Signed:
        """Sign another version of what is signed, saying why; the former ones stay. Raises RecordsError."""
        if not reason.strip():
            raise RecordsError("why it is amended was not given; give a reason")
        changed = _checked(kind, number, changed)
        _complete(changed)
        with self.writing() as connection:
            former = self.versions(kind, number)
            if not former:
                raise RecordsError(f"{kind} {number} is not signed; change it instead")
            row, record = former[-1]
            if _belongs_to(record) != _belongs_to(changed):
                raise RecordsError(f"{kind} {number} is of another site or visit; an amendment stays where it was")
            if rows.plain(record) == rows.plain(changed):
                raise RecordsError(f"{kind} {number} says that already; change something in it")
            signed = self._signed(connection, kind, number, changed, who, row.sequence, reason)
            if isinstance(changed, Treatment):
                self._note_treatment(connection, changed, self._one(Visit, "visits", changed.visit).site)
            else:
                self._note_visit(connection, changed.visit, changed.findings)
        self._note_heads()
        return signed

    def unsigned(self, now: datetime | None = None) -> tuple[Waiting, ...]:
        """Treatments with a chemical still to be signed, by when; ``now`` by the clock at the site."""
        now = now or self.clock().astimezone().replace(tzinfo=None)
        sql = (
            "SELECT id FROM treatments t WHERE NOT EXISTS "
            "(SELECT 1 FROM signed WHERE kind = 'treatment' AND record = t.id)"
        )
        found = []
        for row in self.read(sql):
            treatment = self.treatment_row(row["id"])
            if treatment.chemical:
                at = write_up_by(treatment).at
                found.append(Waiting(treatment, at, now > at))
        return tuple(sorted(found, key=lambda waiting: waiting.write_up_by))

    def unsigned_record(self, kind: Kind, number: int) -> Record:
        """A record as its own rows have it, whether or not it is signed."""
        known_kind(kind)
        if kind == "treatment":
            return self.treatment_row(number)
        visit = self._one(Visit, "visits", number)
        site = self._one(Site, "sites", visit.site)
        client = self._one(Client, "clients", site.client)
        return VisitRecord(
            visit,
            site,
            client,
            self._parts(KeptPhoto, "photos", number),
            self._findings(number),
            self._parts(KeptPlan, "plans", number),
        )

    def _parts(self, kind: type[Any], table: str, visit: int) -> tuple[Any, ...]:
        found = self.read(f"SELECT * FROM {table} WHERE visit = ? ORDER BY id", visit)
        return tuple(rows.entry_of(kind, row) for row in found)

    def _signed(
        self,
        connection: sqlite3.Connection,
        kind: Kind,
        number: int,
        record: Record,
        who: str,
        amends: int | None,
        reason: str,
    ) -> Signed:
        """Add the row to the chain. A time is never before that of the row before it."""
        if not who.strip():
            raise RecordsError("who signs was not given; give a name")
        last = connection.execute("SELECT * FROM signed ORDER BY sequence DESC LIMIT 1").fetchone()
        clock = self.now()
        at, note = clock, ""
        if last is not None and last["signed_at"] > clock:
            at = last["signed_at"]
            note = f"the clock said {clock}, before the time of the record signed before; set the clock right"
        content = rows.canonical(rows.plain(record))
        former = last["sha256"] if last is not None else ""
        sequence = last["sequence"] + 1 if last is not None else 1
        signed = Signed(sequence, kind, number, who.strip(), at, note, amends, reason.strip(), former, "")
        signed = replace(signed, sha256=digest(signed, content))
        data = {**vars(signed), "content": content}
        sql = f"INSERT INTO signed ({', '.join(data)}) VALUES ({', '.join('?' for _ in data)})"
        connection.execute(sql, tuple(data.values()))
        self._step("signed row added")
        return signed

    def _note_heads(self) -> None:
        if self._connection.in_transaction:  # not signed for good yet
            return
        # It is signed whether or not this can be written: the next signature makes up for it.
        with suppress(OSError):
            path = self.folder / HEADS
            sql = "SELECT sequence, sha256 FROM signed WHERE sequence > ? ORDER BY sequence"
            found = self.read(sql, len(read_heads(path)))
            note_heads(path, ((row["sequence"], row["sha256"]) for row in found), self._step)


def _record(kind: Kind, content: str) -> Record:
    if kind == "treatment":
        return rows.entry_of_json(Treatment, content)
    return rows.entry_of_json(VisitRecord, content)


def _complete(record: Record) -> None:
    """Raises RecordsError naming what the law asks for and the record lacks."""
    if isinstance(record, VisitRecord):
        if not record.visit.who.strip():
            raise RecordsError(f"visit {record.visit.id}: still missing: who was there; fill it in, then sign")
        return
    missing = missing_fields(record)
    if missing:
        listed = "; ".join(lack.text for lack in missing)
        where = f" for {record.state}" if record.state else ", as no state is named"
        raise RecordsError(f"treatment {record.id}: still missing{where}: {listed}; fill these in, then sign")


def _checked(kind: Kind, number: int, changed: Record) -> Record:
    known_kind(kind)
    if isinstance(changed, Treatment) != (kind == "treatment"):
        raise RecordsError(f"a {kind} is amended by a {kind}, not by something else")
    found = rows.rechecked(changed)
    if isinstance(found, Treatment):
        return replace(fitting(found), id=number)
    return replace(found, visit=replace(found.visit, id=number))


def _belongs_to(record: Record) -> int:
    return record.visit if isinstance(record, Treatment) else record.visit.site


def _newest(current: Current) -> tuple[Any, ...]:
    assert isinstance(current.record, Treatment)
    return current.record.day, current.record.id
