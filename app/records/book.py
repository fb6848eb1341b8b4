"""Clients, sites and visits, and what belongs to a visit: added, changed while unsigned, and read back."""

from __future__ import annotations

import re
import secrets
import sqlite3
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any, TypeVar

from app.records import journal
from app.records.database import Database
from app.records.days import FOLLOW_UP, check_day
from app.records.entries import Client, FollowUp, GroupUse, Hit, Site, Treatment, Visit
from app.records.errors import RecordsError, in_a_sentence
from app.records.findings import KeptFinding, KeptPhoto, KeptPlan
from app.records.photos import keep_photo, photo_name
from app.records.search import Words, find, save_words, words_are_stale, words_of
from app.records.serialization import TABLES, entry_of, insert, missing, plain, rechecked, update
from model.text import day_text

Entry = TypeVar("Entry", Client, Site, Visit, KeptPhoto, KeptFinding, KeptPlan, Treatment, FollowUp)
Row = TypeVar("Row")


class Book:
    """What people write down: one row an entry, checked when it is written."""

    def __init__(self, database: Database) -> None:
        self._database = database
        self._photos = database.folder / "photos"

    def add_client(self, client: Client) -> Client:
        """Keep a new client."""
        return self._add(client)

    def change_client(self, client: Client) -> Client:
        """Change what is known of a client; signed records keep what they say."""
        return self._change(client)

    def client(self, number: int) -> Client:
        """One client. Raises RecordsError where there is none."""
        return self.one(Client, number)

    def clients(self) -> tuple[Client, ...]:
        """All clients by name."""
        return self._all(Client, "1 ORDER BY name COLLATE NOCASE, id")

    def add_site(self, site: Site) -> Site:
        """Keep a new site of a client."""
        self.client(site.client)
        return self._add(site)

    def change_site(self, site: Site) -> Site:
        """Change what is known of a site; signed records keep what they say."""
        self.client(site.client)
        return self._change(site)

    def site(self, number: int) -> Site:
        """One site. Raises RecordsError where there is none."""
        return self.one(Site, number)

    def sites(self, client: int | None = None) -> tuple[Site, ...]:
        """All sites, or those of a client, by address."""
        return self._all(Site, "? IS NULL OR client = ? ORDER BY address COLLATE NOCASE, id", client, client)

    def add_visit(self, visit: Visit) -> Visit:
        """Keep a new visit to a site."""
        self.site(visit.site)
        check_day(visit.day, "visit")
        return self._add(visit)

    def change_visit(self, visit: Visit) -> Visit:
        """Change a visit that is not signed; it stays with its site."""
        now = self.one(Visit, visit.id)
        if now.site != visit.site:
            raise RecordsError(f"visit {visit.id} belongs to another site; add a new visit there")
        sql = "SELECT 1 FROM signed JOIN treatments t ON kind = 'treatment' AND record = t.id WHERE t.visit = ?"
        if now.day != visit.day and self._database.read(sql, visit.id):
            raise RecordsError(
                f"visit {visit.id} has a signed treatment, which was signed for its day; sign the visit, then amend it"
            )
        check_day(visit.day, "visit")
        return self._change(visit)

    def store_photo(self, photo: Path) -> str:
        """Keep a photo's upright pixels, without metadata, and give the sha256 by which it is known.

        It belongs to no visit until ``add_photo``. Raises PhotoError as open_photo does, RecordsError.
        """
        with in_a_sentence(self._photos):
            return keep_photo(photo, self._photos)

    def photo_file(self, sha256: str) -> Path:
        """The file of a photo. Raises RecordsError for anything but the name of a photo that is there."""
        file = self._photos / photo_name(sha256)
        if not file.is_file():
            raise RecordsError(f"photo {sha256[:12]} is not in the records")
        return file

    def add_photo(self, photo: KeptPhoto) -> KeptPhoto:
        """Add a photo that was stored to a visit."""
        self.photo_file(photo.sha256)
        return self._add(photo)

    def add_finding(self, finding: KeptFinding) -> KeptFinding:
        """Keep what was found at a visit."""
        return self._add(finding)

    def confirm_finding(self, number: int, who: str) -> KeptFinding:
        """Write down who confirmed the name, and that it was now."""
        if not who.strip():
            raise RecordsError("the name of who confirmed it was not given; give one")
        found = self.one(KeptFinding, number)
        return self._change(replace(found, confirmed_by=who, confirmed_at=self._database.now()))

    def add_plan(self, plan: KeptPlan) -> KeptPlan:
        """Keep what was planned at a visit."""
        return self._add(plan)

    def add_treatment(self, treatment: Treatment) -> Treatment:
        """Keep what was done at a visit; it may lack fields until it is signed."""
        check_day(treatment.day, "treatment")
        return self._add(with_delta_t(treatment))

    def change_treatment(self, treatment: Treatment) -> Treatment:
        """Change a treatment that is not signed; it stays with its visit."""
        if self.treatment_row(treatment.id).visit != treatment.visit:
            raise RecordsError(f"treatment {treatment.id} belongs to another visit; add a new treatment there")
        check_day(treatment.day, "treatment")
        return self._change(with_delta_t(treatment))

    def treatment_row(self, number: int) -> Treatment:
        """A treatment as it was before anything was amended."""
        return self.one(Treatment, number)

    def add_group_use(self, use: GroupUse) -> None:
        """Keep that a mode of action was used at a site before, by whomever."""
        self.site(use.site)
        check_day(use.day, "group used")
        use = rechecked(replace(use, treatment=None))
        with self._database.writing() as connection:
            journal.note(connection, TABLES[GroupUse], insert(connection, use))

    def add_follow_up(self, follow_up: FollowUp) -> FollowUp:
        """Keep something to look at again; a calendar knows it by ``uid``."""
        self.site(follow_up.site)
        check_day(follow_up.due, "follow-up", FOLLOW_UP)
        return self._add(replace(follow_up, uid=follow_up.uid or f"{secrets.token_hex(16)}@swardkey"))

    def finish_follow_up(self, number: int, day: date, outcome: str = "") -> FollowUp:
        """Write down that it was looked at, when, and what was seen. Raises RecordsError where that was done before."""
        check_day(day, "follow-up")
        found = self.one(FollowUp, number)
        if found.done is not None and (found.done, found.outcome) != (day, outcome):
            seen = f" ({found.outcome})" if found.outcome else ""
            raise RecordsError(f"follow-up {number} was done on {day_text(found.done)}{seen}; undo that first")
        return self._change(replace(found, done=day, outcome=outcome))

    def reopen_follow_up(self, number: int) -> FollowUp:
        """It is still to be looked at: what was written down of it by mistake is taken back."""
        return self._change(replace(self.one(FollowUp, number), done=None, outcome=""))

    def reported_uses(self, site: int) -> tuple[GroupUse, ...]:
        """Modes of action that the user reported of a site, beside those of its treatments."""
        return self._all(GroupUse, "site = ? AND treatment IS NULL ORDER BY id", site)

    def follow_ups(self, site: int | None = None, open_only: bool = True) -> tuple[FollowUp, ...]:
        """What is to be looked at again, the soonest first."""
        where = "(? IS NULL OR site = ?) AND (done IS NULL OR NOT ?) ORDER BY due, id"
        return self._all(FollowUp, where, site, site, open_only)

    def overdue(self, today: date) -> tuple[FollowUp, ...]:
        """What was due on ``today`` or before and is not done, the longest overdue first."""
        return tuple(follow_up for follow_up in self.follow_ups() if follow_up.due <= today)

    def search(self, text: str, most: int = 50) -> tuple[Hit, ...]:
        """Clients, sites, visits and treatments in which every word of ``text`` occurs, at most ``most``."""
        if words_are_stale(self._database.connection):
            why = "the words to search could not be made, as on a full disk; make room, or see swardkey records check"
            raise RecordsError(f"{self._database.path}: {why}")
        with in_a_sentence(self._database.path):
            return tuple(find(self._database.connection, text, most))

    def dataset(self) -> str:
        """32 hex digits by which this record book is known to open portals; they never change and name nobody.

        Raises RecordsError for a book of the first version where nothing can be written: it has none yet.
        """
        found = self._database.read("SELECT value FROM notes WHERE name = 'dataset'")
        if not found:
            raise RecordsError(f"for sharing, the record book needs an id of its own; {self._database.refused}")
        return str(found[0][0])

    def one(self, kind: type[Entry], number: int) -> Entry:
        """The entry of a kind with that id. Raises RecordsError where there is none."""
        found = self._all(kind, "id = ?", number)
        if not found:
            raise missing(TABLES[kind], number)
        return found[0]

    def of_visit(self, kind: type[Entry], visit: int) -> tuple[Entry, ...]:
        """All entries of a kind that belong to a visit."""
        return self._all(kind, "visit = ? ORDER BY id", visit)

    def words_of_client(self, client: Client) -> Words:
        """The words by which a client is found."""
        return words_of("client", client.id, None, plain(client))

    def words_of_site(self, site: Site) -> Words:
        """The words by which a site is found."""
        return words_of("site", site.id, site.id, plain(site))

    def words_of_treatment(self, treatment: Treatment) -> Words:
        """The words by which a treatment is found, at the site of its visit."""
        return words_of("treatment", treatment.id, self.one(Visit, treatment.visit).site, plain(treatment))

    def words_of_visit(self, visit: Visit, findings: tuple[KeptFinding, ...]) -> Words:
        """The words by which a visit is found, with those of what was found at it."""
        return words_of("visit", visit.id, visit.site, [plain(visit), [_finding_names(f) for f in findings]])

    def _all(self, kind: type[Row], where: str, *values: Any) -> tuple[Row, ...]:
        found = self._database.read(f"SELECT * FROM {TABLES[kind]} WHERE {where}", *values)
        return tuple(entry_of(kind, row) for row in found)

    def _add(self, entry: Entry) -> Entry:
        if isinstance(entry, KeptPhoto | KeptFinding | KeptPlan | Treatment):
            self.one(Visit, entry.visit)
        entry = rechecked(entry)
        with self._database.writing() as connection:
            kept = replace(entry, id=insert(connection, entry))
            self._note_change(connection, kept)
        return kept

    def _change(self, entry: Entry) -> Entry:
        entry = rechecked(entry)
        with self._database.writing() as connection:
            journal.note_outside_change(connection, TABLES[type(entry)], entry.id)
            update(connection, entry)
            self._note_change(connection, entry)
        return entry

    def _note_change(self, connection: sqlite3.Connection, entry: Any) -> None:
        """Note it in the journal, and keep the words by which it, or the visit that it belongs to, is found."""
        journal.note(connection, TABLES[type(entry)], entry.id)
        if isinstance(entry, Client):
            save_words(connection, self.words_of_client(entry))
        elif isinstance(entry, Site):
            save_words(connection, self.words_of_site(entry))
        elif isinstance(entry, Treatment):
            save_words(connection, self.words_of_treatment(self.treatment_row(entry.id)))
        elif isinstance(entry, Visit | KeptFinding):
            visit = entry if isinstance(entry, Visit) else self.one(Visit, entry.visit)
            save_words(connection, self.words_of_visit(visit, self.of_visit(KeptFinding, visit.id)))


def with_delta_t(treatment: Treatment) -> Treatment:
    """The treatment with Delta T worked out where it was not given. Raises RecordsError for products of hand work."""
    from model.spray.delta_t import delta_t  # model.spray takes long to import

    if not treatment.chemical and treatment.products:
        raise RecordsError("work without a chemical has no products; remove them, or set chemical: true")
    weather = []
    for reading in treatment.weather:
        if reading.delta_t is None and reading.temperature is not None and reading.humidity is not None:
            reading = replace(reading, delta_t=round(delta_t(reading.temperature, reading.humidity), 1))
        weather.append(reading)
    return replace(treatment, weather=tuple(weather))


def _finding_names(finding: KeptFinding) -> list[str]:
    """The names under which a finding is looked for: not those of all other candidates."""
    names = [finding.species or "", (finding.species or "").replace("_", " "), finding.status]
    for candidate in finding.finding.get("candidates", ()):
        if isinstance(candidate, dict) and finding.species and candidate.get("species") == finding.species:
            names += [str(candidate.get(name, "")) for name in ("scientific_name", "common_name")]
    return [re.sub(r"\s+", " ", name) for name in names]
