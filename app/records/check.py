"""Whether the record book is sound, and everything signed is as it was signed."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import closing, suppress
from dataclasses import dataclass, replace

from app.records import journal, schema
from app.records.chain import SIGNED_LIST, digest, listed_rows, read_marks, signed_row
from app.records.entries import VisitRecord
from app.records.errors import RecordsError
from app.records.own import OwnDetails
from app.records.record_book import Records
from app.records.search import index_is_wrong, words_are_stale, wrong_words
from app.records.serialization import plain
from model.file import sha256_of


@dataclass(frozen=True)
class Checked:
    """What was checked, and every fault in a sentence; none where all is well."""

    faults: tuple[str, ...]
    visits: int
    treatments: int
    signed: int
    photos: int

    @property
    def sound(self) -> bool:
        """Whether there is no fault."""
        return not self.faults


def check_records(records: Records, all_noted: bool = True, with_journal: bool = True) -> Checked:
    """Check the whole record book, its photos, the chain of what is signed and the journal. Raises RecordsError.

    The chain detects any change, loss or insertion among signed rows; rows cut off at the end are
    detected by the file beside the book that lists them, and by the note of each record's last signature.
    ``all_noted``: whether that file must list every row; a backup may be older than its last line. ``with_journal``:
    whether rows must be as the journal has them.
    """
    database = records.database
    faults = [*_chain_faults(records, all_noted)]
    with database.snapshot() as connection:
        faults += _file_faults(records)
        faults += _missing_signatures(records)
        faults += _changed_after_signing(records)
        if with_journal:
            faults += journal.faults(connection)
            faults += _mark_faults(records)
        wrong = _wrong_words(records)
    faults += _word_faults(records, wrong)
    faults += _photo_faults(records)
    counts = [
        database.read(f"SELECT count(*) FROM {table}")[0][0]
        for table in ("visits", "treatments", "signed", "(SELECT DISTINCT sha256 FROM photos)")
    ]
    return Checked(tuple(faults), *counts)


def expected_shape(version: int) -> set[tuple[str, str]]:
    """The definitions that a record book of a version has."""
    with closing(sqlite3.connect(":memory:")) as fresh:
        for script in schema.MIGRATIONS[:version]:
            fresh.executescript(script)
        return schema.shape(fresh)


def _file_faults(records: Records) -> Iterator[str]:
    database = records.database
    for row in database.read("PRAGMA integrity_check(5)"):
        if row[0] != "ok":
            yield f"the file is damaged: {row[0]}"
    for row in database.read("PRAGMA foreign_key_check"):
        yield f"a row of {row[0]} refers to one of {row[2]} that is not there"
    try:
        OwnDetails(database).profile(), OwnDetails(database).own_products()
    except RecordsError as error:
        yield str(error)
    changed = schema.shape(database.connection) ^ expected_shape(len(schema.MIGRATIONS))
    for name in sorted({name for name, _ in changed}):
        yield f"{name}: the definition of this table or guard was changed or taken away"


def _chain_faults(records: Records, all_noted: bool) -> Iterator[str]:
    former = ""
    rows: list[tuple[int, str]] = []
    for place, row in enumerate(records.database.read("SELECT * FROM signed ORDER BY sequence"), start=1):
        signed = signed_row(row)
        name = f"signed row {signed.sequence} ({signed.kind} {signed.record})"
        if signed.sequence != place:
            yield f"{name}: rows before it are missing"
            return
        if signed.former != former:
            yield f"{name}: does not follow the row before it"
        if digest(replace(signed, sha256=""), row["content"]) != signed.sha256:
            yield f"{name}: is not what was signed"
        former = signed.sha256
        rows.append((signed.sequence, signed.sha256))
    try:
        listed = listed_rows(records.folder, rows)
    except OSError as error:
        yield f"{SIGNED_LIST}: cannot be read ({error.strerror})"
        return
    if len(listed) > len(rows):
        yield f"signed rows {len(rows) + 1} to {len(listed)} are missing: the book is older than what was signed last"
    if all_noted and len(listed) < len(rows):
        yield (
            f"{SIGNED_LIST}: does not list signed rows {len(listed) + 1} to {len(rows)}: it was deleted or cut, or "
            "could not be written; compare with a paper (--mark) or a backup (--against) that lies elsewhere"
        )
    for expected, found in zip(listed, rows, strict=False):
        if expected != found:
            yield f"signed row {found[0]}: is not the one that was written down in {SIGNED_LIST}"


def _mark_faults(records: Records) -> Iterator[str]:
    """Whether the journal is still the one that was noted beside the book with each signature."""
    now = {row[0]: row[1] for row in records.database.read(journal.ENTRIES)}
    with suppress(OSError):  # which is reported already
        for row, mark in read_marks(records.folder / SIGNED_LIST).items():
            number, _, sha256 = mark.partition("-")
            if not now.get(int(number), "").startswith(sha256):
                yield f"the journal is not the one of signed row {row} in {SIGNED_LIST}: it was cut back or begun anew"
                return


def _missing_signatures(records: Records) -> Iterator[str]:
    """Whether what was signed last of each record is still there."""
    sql = "SELECT name FROM notes WHERE name LIKE 'signed %' AND value NOT IN (SELECT sha256 FROM signed) ORDER BY name"
    for row in records.database.read(sql):
        yield f"{row['name'].removeprefix('signed ')}: was signed, and its signed row is gone"


def _wrong_words(records: Records) -> list[str]:
    """What is found by words that are not its own; nothing where a record cannot be read, which is reported already.

    Nothing either where a migration left the words to be made again, and the disk cannot be written to.
    """
    if words_are_stale(records.database.connection):
        return []
    try:
        return list(wrong_words(records.database.connection, records.all_words()))
    except RecordsError:
        return []


def _word_faults(records: Records, wrong: list[str]) -> Iterator[str]:
    """What search gets wrong. Words and index are made again from the records: nothing is lost by it."""
    faults = [f"the search words of {one}: are not those of its record" for one in wrong]
    if index_is_wrong(records.database.connection):
        faults.append("the search index: does not hold the words that it is made from")
    why = "; they were changed by another program"
    if faults and not records.database.refused:
        records.make_words_again()
        why += " and are made again now"
    yield from (f"{fault}{why}" for fault in faults)


def _changed_after_signing(records: Records) -> Iterator[str]:
    """Whether the rows behind each signature still say what was signed first."""
    for row in records.database.read("SELECT kind, record FROM signed WHERE amends IS NULL ORDER BY sequence"):
        try:
            first = records.versions(row["kind"], row["record"])[0][1]
            now = records.unsigned_record(row["kind"], row["record"])
        except RecordsError as error:
            yield f"{row['kind']} {row['record']}: {error}"
            continue
        if isinstance(first, VisitRecord) and isinstance(now, VisitRecord):
            # Client and site may have changed since; the signed row keeps them as they were.
            now = replace(now, site=first.site, client=first.client)
        # As plain data, in which the order of the answers counts too.
        if plain(now) != plain(first):
            yield f"{row['kind']} {row['record']}: was changed after it was signed"


def _photo_faults(records: Records) -> Iterator[str]:
    for row in records.database.read("SELECT DISTINCT sha256 FROM photos ORDER BY sha256"):
        name = row["sha256"]
        try:
            if sha256_of(records.photo_file(name)) != name:
                yield f"photo {name[:12]}: was changed after it was kept"
        except RecordsError:
            yield f"photo {name[:12]}: its file is missing"
        except OSError as error:
            yield f"photo {name[:12]}: cannot be read ({error.strerror})"
