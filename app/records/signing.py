"""Sign a visit or a treatment, and amend what is signed."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import dataclass, replace
from datetime import datetime
from types import MappingProxyType

from app.records import journal
from app.records.book import Book, with_delta_t
from app.records.chain import (
    PENDING_LIST,
    ROWS,
    SIGNED_LIST,
    digest,
    list_pending,
    list_signed,
    listed_rows,
    read_listed,
)
from app.records.database import Database
from app.records.days import check_day
from app.records.doubts import Doubt, answered, doubts, refuse_impossible
from app.records.entries import Signed, Treatment, VisitRecord
from app.records.errors import RecordsError
from app.records.fields import Kind, has_content
from app.records.latest import LatestVersions, Record
from app.records.law import key_of, missing_fields, write_up_by
from app.records.own import OwnDetails, filled_in
from app.records.search import save_words
from app.records.serialization import TABLES, canonical, insert, plain, rechecked

NOTHING: Mapping[str, str] = MappingProxyType({})


@dataclass(frozen=True)
class Waiting:
    """A treatment that is still to be signed, and by when, by the clock at the site."""

    treatment: Treatment
    write_up_by: datetime
    late: bool


class Signing:
    """Signatures over the entries of a book, each a row of the chain."""

    def __init__(self, database: Database, book: Book, own: OwnDetails, latest: LatestVersions) -> None:
        self._database = database
        self._book = book
        self._own = own
        self._latest = latest
        self._gap = ""

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
            if outermost:
                self._gap = self._gap_note()
            yield connection
            if outermost:
                with suppress(OSError):
                    list_pending(self._database.folder / PENDING_LIST, self._rows_to_list())
        if outermost:
            # It is signed whether or not this can be written: the next signature makes up for it.
            with suppress(OSError, sqlite3.Error):
                rows, mark = self._rows_to_list(), journal.mark(self._database.connection)
                list_signed(self._database.folder / SIGNED_LIST, rows, {number: mark for number, _ in rows})

    def _gap_note(self) -> str:
        """What is to be said where rows that were signed before are not in the file beside the book; else "".

        The next signature lists them again, so what it says stays as the trace.
        """
        rows = [(row[0], row[1]) for row in self._database.read(ROWS)]
        try:
            listed = len(listed_rows(self._database.folder, rows))
        except OSError:
            return ""
        missing = f"{SIGNED_LIST} did not list signed rows {listed + 1} to {len(rows)}"
        return f"before this, {missing}" if listed < len(rows) else ""

    def _rows_to_list(self) -> list[tuple[int, str]]:
        noted = len(read_listed(self._database.folder / SIGNED_LIST))
        sql = "SELECT sequence, sha256 FROM signed WHERE sequence > ? ORDER BY sequence"
        return [(row["sequence"], row["sha256"]) for row in self._database.read(sql, noted)]

    def new_treatment(self, visit: int) -> Treatment:
        """A treatment to fill in: place and client from the site, person and business from the profile or the last one.

        Never products or rates: those come from the label in hand.
        """
        today = self._latest.visit(visit)
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
        former = self._latest.current("treatment", last[0]["id"]).record if last else None
        return filled_in(new, self._own.profile(), former if isinstance(former, Treatment) else None)

    def asked(self, number: int, who: str = "", changed: Treatment | None = None) -> tuple[Doubt, ...]:
        """What is asked before ``who`` signs a treatment, or what is new where it is amended to ``changed``.

        Questions that were answered already are left out. Raises RecordsError where there is none.
        """
        now = self._latest.current("treatment", number).record
        assert isinstance(now, Treatment)
        visit = self._latest.current("visit", now.visit).record
        assert isinstance(visit, VisitRecord)
        if changed is None:
            return doubts(now, visit, who)
        before = {old.text for old in doubts(now, visit)}
        return tuple(one for one in doubts(changed, visit) if one.text not in before)

    def sign(self, kind: Kind, number: int, who: str, answers: Mapping[str, str] = NOTHING) -> Signed:
        """Sign a visit or a treatment as it stands; from now on it can only be amended.

        ``answers``: to each question of ``asked`` by its key, kept with the record. Raises RecordsError naming what its
        state still asks for, what is asked without an answer, and where it is signed already.
        """
        _require_name(who)
        with self._signing() as connection:
            # Read in the same transaction, so that what is signed is what is there.
            if self._latest.versions(kind, number):
                raise RecordsError(f"{kind} {number} is signed; amend it, and say why")
            record = self._latest.unsigned_record(kind, number)
            if isinstance(record, Treatment):
                _check_complete(record)
                settled = answered(record, self.asked(number, who), answers)
                record = self._book.change_treatment(settled) if settled != record else record
            signed = self._add_signed(connection, kind, number, record, who)
        return signed

    def amend(
        self, kind: Kind, number: int, changed: Record, who: str, reason: str, answers: Mapping[str, str] = NOTHING
    ) -> Signed:
        """Sign another version of what is signed, saying why; the former ones stay.

        ``answers``: to each question of ``asked`` by its key. Raises RecordsError.
        """
        _require_name(who)
        if not has_content(reason):
            raise RecordsError("no reason was given for the amendment; give one")
        changed = _valid(kind, number, changed)
        with self._signing() as connection:
            former = self._latest.versions(kind, number)
            if not former:
                raise RecordsError(f"{kind} {number} is not signed; change it instead")
            row, record = former[-1]
            if _parent(record) != _parent(changed):
                raise RecordsError(f"{kind} {number} belongs to another site or visit; an amendment cannot move it")
            if isinstance(changed, Treatment):
                changed = answered(changed, self.asked(number, changed=changed), answers)
            if plain(record) == plain(changed):
                raise RecordsError(f"{kind} {number} is the same as before; change something in it")
            signed = self._add_signed(connection, kind, number, changed, who, row.sequence, reason)
            save_words(connection, self._latest.words_of(self._latest.current(kind, number).record))
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
        last = connection.execute("SELECT * FROM signed ORDER BY sequence DESC LIMIT 1").fetchone()
        sequence, former, former_at = (last["sequence"], last["sha256"], last["signed_at"]) if last else (0, "", "")
        at, clock = self._database.now(), ""
        if former_at > at:
            clock = f"earlier than the signature before this one, at {former_at}: the clock was wrong then or is now"
        note, self._gap = "; ".join(filter(None, (clock, self._gap))), ""
        content = canonical(plain(record))
        signed = Signed(sequence + 1, kind, number, who.strip(), at, note, amends, reason.strip(), former, "")
        signed = replace(signed, sha256=digest(signed, content))
        insert(connection, signed, content=content)
        journal.note(connection, TABLES[Signed], signed.sequence)
        return signed


def _require_name(who: str) -> None:
    if not has_content(who):
        raise RecordsError("the name of who signs was not given; give one")


def _check_complete(record: Record) -> None:
    """Raises RecordsError for what cannot be, and naming what the law asks for and the record lacks."""
    refuse_impossible(record)
    if isinstance(record, VisitRecord):
        if not has_content(record.visit.who):
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
        return replace(with_delta_t(found), id=number)
    return replace(found, visit=replace(found.visit, id=number))


def _parent(record: Record) -> int:
    return record.visit if isinstance(record, Treatment) else record.visit.site
