"""The latest version of each visit and treatment, signed or not, and what is worked out from them."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import suppress
from datetime import date
from typing import Any

from app.records.book import Book
from app.records.chain import signed_row
from app.records.database import Database
from app.records.entries import Current, GroupUse, PastVisit, Signed, Treatment, Visit, VisitRecord
from app.records.errors import RecordsError
from app.records.fields import Kind
from app.records.findings import KeptFinding, KeptPhoto, KeptPlan
from app.records.search import Words, rebuild_words
from app.records.serialization import entry_of, entry_of_json

Record = VisitRecord | Treatment


class LatestVersions:
    """Reads each record as it was signed last, or as its rows have it while it is not."""

    def __init__(self, database: Database, book: Book) -> None:
        self._database = database
        self._book = book

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

    def unsigned_record(self, kind: Kind, number: int) -> Record:
        """A record as its own rows have it, whether or not it is signed."""
        book = self._book
        if kind == "treatment":
            return book.treatment_row(number)
        visit = book.one(Visit, number)
        site = book.site(visit.site)
        parts = (book.of_visit(KeptPhoto, number), book.of_visit(KeptFinding, number), book.of_visit(KeptPlan, number))
        return VisitRecord(visit, site, book.client(site.client), *parts)

    def group_uses(self, site: int, since: date | None = None) -> tuple[GroupUse, ...]:
        """Modes of action used at a site on or after ``since``, newest first; signed or not, and those of others.

        Those of treatments are read from the latest version of each, so nothing else can say that there were others.
        """
        done = [one.record for one in self.treatments(site) if isinstance(one.record, Treatment)]
        found = [GroupUse(site, one.day, group, one.id) for one in done for group in one.groups]
        found += self._book.reported_uses(site)
        found = [use for use in found if since is None or use.day >= since]
        return tuple(sorted(found, key=lambda use: (-use.day.toordinal(), use.group)))

    def groups_used(self, site: int, since: date | None = None) -> tuple[int, ...]:
        """The groups of ``group_uses``, each once: for ``used`` of a Case."""
        return tuple(sorted({use.group for use in self.group_uses(site, since)}))

    def all_words(self) -> Iterator[Words]:
        """The words by which everything is found, from the latest version of each record."""
        yield from map(self._book.words_of_client, self._book.clients())
        yield from map(self._book.words_of_site, self._book.sites())
        for table, kind in (("visits", "visit"), ("treatments", "treatment")):
            for row in self._database.read(f"SELECT id FROM {table} ORDER BY id"):
                yield self.words_of(self.current(kind, row["id"]).record)  # type: ignore[arg-type]  # one of the two

    def make_words_again(self) -> None:
        """Make the words by which everything is found again from the records."""
        if self._database.refused:
            # A copy in memory, of a book of an earlier version, takes them; a file that cannot be written does not.
            with suppress(sqlite3.OperationalError):
                rebuild_words(self._database.connection, list(self.all_words()))
            return
        with self._database.writing() as connection:
            rebuild_words(connection, list(self.all_words()))

    def words_of(self, record: Record) -> Words:
        """The words by which a version of a record is found."""
        if isinstance(record, Treatment):
            return self._book.words_of_treatment(record)
        return self._book.words_of_visit(record.visit, record.findings)
