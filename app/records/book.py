"""Clients, sites and visits, and what belongs to a visit: kept, changed while unsigned, and read back."""

from __future__ import annotations

import re
import secrets
import sqlite3
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any, TypeVar

from app.records import rows
from app.records.database import PATIENCE, Database
from app.records.entries import Client, FollowUp, GroupUse, Site, Treatment, Visit
from app.records.fields import Kind
from app.records.kept import KeptFinding, KeptPhoto, KeptPlan
from app.records.photos import keep_photo, photo_name
from app.records.refusals import RecordsError, in_a_sentence
from app.records.search_words import drop_words, put_words
from model.storage import Step, go_on

Part = TypeVar("Part", KeptPhoto, KeptFinding, KeptPlan)
Entry = TypeVar("Entry", Client, Site, Visit, KeptPhoto, KeptFinding, KeptPlan, FollowUp)
Clock = Callable[[], datetime]


def utc_now() -> datetime:
    """The time by this machine's clock."""
    return datetime.now(UTC)


class Book(Database):
    """The record book, to write in. ``clock`` gives the time in UTC."""

    def __init__(self, folder: Path, step: Step = go_on, patience: float = PATIENCE, clock: Clock = utc_now) -> None:
        self.clock = clock
        super().__init__(folder, step, patience)

    def add_client(self, client: Client) -> Client:
        """Keep a new client."""
        return self._kept("clients", client)

    def change_client(self, client: Client) -> Client:
        """Change what is known of a client; signed records keep what they say."""
        return self._changed("clients", client)

    def client(self, number: int) -> Client:
        """One client. Raises RecordsError where there is none."""
        return self._one(Client, "clients", number)

    def clients(self) -> tuple[Client, ...]:
        """All clients by name."""
        found = self.read("SELECT * FROM clients ORDER BY name COLLATE NOCASE, id")
        return tuple(rows.entry_of(Client, row) for row in found)

    def add_site(self, site: Site) -> Site:
        """Keep a new site of a client."""
        self.client(site.client)
        return self._kept("sites", site)

    def change_site(self, site: Site) -> Site:
        """Change what is known of a site; signed records keep what they say."""
        self.client(site.client)
        return self._changed("sites", site)

    def site(self, number: int) -> Site:
        """One site. Raises RecordsError where there is none."""
        return self._one(Site, "sites", number)

    def sites(self, client: int | None = None) -> tuple[Site, ...]:
        """All sites, or those of a client, by address."""
        found = self.read(
            "SELECT * FROM sites WHERE ? IS NULL OR client = ? ORDER BY address COLLATE NOCASE, id", client, client
        )
        return tuple(rows.entry_of(Site, row) for row in found)

    def add_visit(self, visit: Visit) -> Visit:
        """Keep a new visit to a site."""
        self.site(visit.site)
        return self._kept("visits", visit)

    def change_visit(self, visit: Visit) -> Visit:
        """Change a visit that is not signed; it stays with its site."""
        if self._one(Visit, "visits", visit.id).site != visit.site:
            raise RecordsError(f"visit {visit.id} is of another site; add a new visit there")
        return self._changed("visits", visit)

    def store_photo(self, photo: Path) -> str:
        """Keep a photo's upright pixels, without metadata, and give the sha256 by which it is known.

        It belongs to no visit until ``add_photo``. Raises PhotoError as open_photo does, RecordsError.
        """
        with in_a_sentence(self.folder / "photos"):
            return keep_photo(photo, self.folder / "photos", self._step)

    def photo_file(self, sha256: str) -> Path:
        """The file of a photo. Raises RecordsError for what is no name of a photo that is there."""
        file = self.folder / "photos" / photo_name(sha256)
        if not file.is_file():
            raise RecordsError(f"photo {sha256[:12]} is not in the records")
        return file

    def add_photo(self, photo: KeptPhoto) -> KeptPhoto:
        """Put a photo that was stored to a visit."""
        self.photo_file(photo.sha256)
        return self._kept_part("photos", photo)

    def add_finding(self, finding: KeptFinding) -> KeptFinding:
        """Keep what was found at a visit."""
        return self._kept_part("findings", finding)

    def confirm_finding(self, number: int, who: str) -> KeptFinding:
        """Write down who confirmed the name, and that it was now."""
        if not who.strip():
            raise RecordsError("who confirmed it was not given; give a name")
        found = self._one(KeptFinding, "findings", number)
        return self._changed("findings", replace(found, confirmed_by=who, confirmed_at=self.now()))

    def add_plan(self, plan: KeptPlan) -> KeptPlan:
        """Keep what was planned at a visit."""
        return self._kept_part("plans", plan)

    def add_treatment(self, treatment: Treatment) -> Treatment:
        """Keep what was done at a visit; it may lack fields until it is signed."""
        treatment = rows.rechecked(fitting(treatment))
        site = self._one(Visit, "visits", treatment.visit).site
        with self.writing() as connection:
            sql = "INSERT INTO treatments (visit, content) VALUES (?, ?)"
            number = connection.execute(sql, (treatment.visit, _content(treatment))).lastrowid or 0
            kept = replace(treatment, id=number)
            self._note_treatment(connection, kept, site)
        return kept

    def change_treatment(self, treatment: Treatment) -> Treatment:
        """Change a treatment that is not signed; it stays with its visit."""
        treatment = rows.rechecked(fitting(treatment))
        if self.treatment_row(treatment.id).visit != treatment.visit:
            raise RecordsError(f"treatment {treatment.id} is of another visit; add a new one there")
        site = self._one(Visit, "visits", treatment.visit).site
        with self.writing() as connection:
            values = (_content(treatment), treatment.id)
            connection.execute("UPDATE treatments SET content = ? WHERE id = ?", values)
            self._note_treatment(connection, treatment, site)
        return treatment

    def treatment_row(self, number: int) -> Treatment:
        """A treatment as it was before anything was amended."""
        found = self.read("SELECT * FROM treatments WHERE id = ?", number)
        if not found:
            raise RecordsError(f"there is no treatment {number} in the records")
        return rows.entry_of_json(Treatment, found[0]["content"], id=number, visit=found[0]["visit"])

    def drop(self, kind: Kind, number: int) -> None:
        """Take away a treatment or a visit, with all of it, that is not signed. Raises RecordsError where it is."""
        known_kind(kind)
        with self.writing() as connection:
            tables = ("photos", "findings", "plans", "drafts") if kind == "visit" else ()
            for table in tables:
                connection.execute(f"DELETE FROM {table} WHERE visit = ?", (number,))
            if not connection.execute(f"DELETE FROM {kind}s WHERE id = ?", (number,)).rowcount:
                raise RecordsError(f"there is no {kind} {number} in the records")
            drop_words(connection, kind, number)

    def tell_group(self, use: GroupUse) -> None:
        """Keep that a mode of action was used at a site before, by whomever."""
        self.site(use.site)
        use = rows.rechecked(replace(use, treatment=None))
        with self.writing() as connection:
            rows.insert(connection, "groups_used", use)

    def add_follow_up(self, follow_up: FollowUp) -> FollowUp:
        """Keep something to look at again; a calendar knows it by ``uid``."""
        self.site(follow_up.site)
        follow_up = rows.rechecked(replace(follow_up, uid=follow_up.uid or f"{secrets.token_hex(16)}@swardkey"))
        with self.writing() as connection:
            return replace(follow_up, id=rows.insert(connection, "follow_ups", follow_up))

    def finish_follow_up(self, number: int, day: date) -> FollowUp:
        """Write down that it was looked at, and when."""
        return self._changed("follow_ups", replace(self._one(FollowUp, "follow_ups", number), done=day))

    def now(self) -> str:
        """The time as it is written down."""
        return self.clock().astimezone(UTC).isoformat(timespec="seconds")

    def _note_treatment(self, connection: sqlite3.Connection, treatment: Treatment, site: int) -> None:
        """Keep what is asked of treatments: their words, and the modes of action of the latest version."""
        put_words(connection, "treatment", treatment.id, site, rows.plain(treatment))
        connection.execute("DELETE FROM groups_used WHERE treatment = ?", (treatment.id,))
        for group in treatment.groups:
            rows.insert(connection, "groups_used", GroupUse(site, treatment.day, group, treatment.id))

    def _note_visit(self, connection: sqlite3.Connection, visit: Visit, findings: tuple[KeptFinding, ...]) -> None:
        put_words(connection, "visit", visit.id, visit.site, [rows.plain(visit), [_names(f) for f in findings]])

    def _kept(self, table: str, entry: Entry) -> Entry:
        entry = rows.rechecked(entry)
        with self.writing() as connection:
            kept = replace(entry, id=rows.insert(connection, table, entry))
            self._note(connection, kept)
        return kept

    def _changed(self, table: str, entry: Entry) -> Entry:
        entry = rows.rechecked(entry)
        with self.writing() as connection:
            rows.update(connection, table, entry)
            self._note(connection, entry)
        return entry

    def _kept_part(self, table: str, part: Part) -> Part:
        visit = self._one(Visit, "visits", part.visit)
        part = rows.rechecked(part)
        with self.writing() as connection:
            kept = replace(part, id=rows.insert(connection, table, part))
            self._note_visit(connection, visit, self._findings(visit.id))
        return kept

    def _note(self, connection: sqlite3.Connection, entry: Any) -> None:
        if isinstance(entry, Client):
            put_words(connection, "client", entry.id, None, rows.plain(entry))
        elif isinstance(entry, Site):
            put_words(connection, "site", entry.id, entry.id, rows.plain(entry))
        elif isinstance(entry, Visit):
            self._note_visit(connection, entry, self._findings(entry.id))

    def _findings(self, visit: int) -> tuple[KeptFinding, ...]:
        found = self.read("SELECT * FROM findings WHERE visit = ? ORDER BY id", visit)
        return tuple(rows.entry_of(KeptFinding, row) for row in found)

    def _one(self, kind: type[Entry], table: str, number: int) -> Entry:
        found = self.read(f"SELECT * FROM {table} WHERE id = ?", number)
        if not found:
            raise RecordsError(f"there is no {table[:-1].replace('_', ' ')} {number} in the records")
        return rows.entry_of(kind, found[0])


def _content(treatment: Treatment) -> str:
    return rows.canonical({k: v for k, v in rows.plain(treatment).items() if k not in ("id", "visit")})


def known_kind(kind: str) -> None:
    if kind not in ("visit", "treatment"):
        raise RecordsError(f"{kind!r} is nothing that is signed; give visit or treatment")


def fitting(treatment: Treatment) -> Treatment:
    """The treatment with Delta T worked out where it was not told. Raises RecordsError for products of hand work."""
    from model.spray.delta_t import delta_t

    if not treatment.chemical and treatment.products:
        raise RecordsError("work without a chemical has no products; take them out, or say that it is chemical")
    weather = []
    for reading in treatment.weather:
        if reading.delta_t is None and reading.temperature is not None and reading.humidity is not None:
            reading = replace(reading, delta_t=round(delta_t(reading.temperature, reading.humidity), 1))
        weather.append(reading)
    return replace(treatment, weather=tuple(weather))


def _names(finding: KeptFinding) -> list[str]:
    """The names under which a finding is looked for: not those of all other candidates."""
    names = [finding.species or "", (finding.species or "").replace("_", " "), finding.status]
    for candidate in finding.finding.get("candidates", ()):
        if isinstance(candidate, dict) and finding.species and candidate.get("species") == finding.species:
            names += [str(candidate.get(name, "")) for name in ("scientific_name", "common_name")]
    return [re.sub(r"\s+", " ", name) for name in names]
