"""Whether the record book is sound, and everything signed is as it was signed."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import closing, suppress
from dataclasses import dataclass, replace

from app.records import journal, schema
from app.records.chain import HEADS, digest, noted_rows, read_marks, signed_row
from app.records.entries import VisitRecord
from app.records.errors import RecordsError
from app.records.record_book import Records
from app.records.search import false_words, index_is_false, words_are_stale
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
    faults = [*_of_chain(records, all_noted)]
    with database.one_moment() as connection:
        faults += _of_file(records)
        faults += _of_notes(records)
        faults += _of_signed(records)
        if with_journal:
            faults += journal.faults(connection)
            faults += _of_marks(records)
        false = _false_words(records)
    faults += _of_words(records, false)
    faults += _of_photos(records)
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


def _of_file(records: Records) -> Iterator[str]:
    database = records.database
    for row in database.read("PRAGMA integrity_check(5)"):
        if row[0] != "ok":
            yield f"the file is damaged: {row[0]}"
    for row in database.read("PRAGMA foreign_key_check"):
        yield f"a row of {row[0]} refers to one of {row[2]} that is not there"
    try:
        records.profile(), records.own_products()
    except RecordsError as error:
        yield str(error)
    changed = schema.shape(database.connection) ^ expected_shape(len(schema.MIGRATIONS))
    for name in sorted({name for name, _ in changed}):
        yield f"{name}: the definition of this table or guard was changed or taken away"


def _of_chain(records: Records, all_noted: bool) -> Iterator[str]:
    former = ""
    heads: list[tuple[int, str]] = []
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
        heads.append((signed.sequence, signed.sha256))
    try:
        noted = noted_rows(records.folder, heads)
    except OSError as error:
        yield f"{HEADS}: cannot be read ({error.strerror})"
        return
    if len(noted) > len(heads):
        yield f"signed rows {len(heads) + 1} to {len(noted)} are missing: the book is older than what was signed last"
    if all_noted and len(noted) < len(heads):
        yield (
            f"{HEADS}: does not list signed rows {len(noted) + 1} to {len(heads)}: it was deleted or cut, or could "
            "not be written; compare with a paper (--mark) or a backup (--against) that lies elsewhere"
        )
    for expected, found in zip(noted, heads, strict=False):
        if expected != found:
            yield f"signed row {found[0]}: is not the one that was written down in {HEADS}"


def _of_marks(records: Records) -> Iterator[str]:
    """Whether the journal is still the one that was noted beside the book with each signature."""
    now = {row[0]: row[1] for row in records.database.read(journal.ENTRIES)}
    with suppress(OSError):  # which is reported already
        for row, mark in read_marks(records.folder / HEADS).items():
            number, _, sha256 = mark.partition("-")
            if not now.get(int(number), "").startswith(sha256):
                yield f"the journal is not the one of signed row {row} in {HEADS}: it was cut back or begun anew"
                return


def _of_notes(records: Records) -> Iterator[str]:
    """Whether what was signed last of each record is still there."""
    sql = "SELECT name FROM notes WHERE name LIKE 'signed %' AND value NOT IN (SELECT sha256 FROM signed) ORDER BY name"
    for row in records.database.read(sql):
        yield f"{row['name'].removeprefix('signed ')}: was signed, and its signed row is gone"


def _false_words(records: Records) -> list[str]:
    """What is found by words that are not its own; nothing where a record cannot be read, which is reported already.

    Nothing either where a migration left the words to be made again, and the disk cannot be written to.
    """
    if words_are_stale(records.database.connection):
        return []
    try:
        return list(false_words(records.database.connection, records.all_words()))
    except RecordsError:
        return []


def _of_words(records: Records, false: list[str]) -> Iterator[str]:
    """What search gets wrong. Words and index are made again from the records: nothing is lost by it."""
    faults = [f"the search words of {one}: are not those of its record" for one in false]
    if index_is_false(records.database.connection):
        faults.append("the search index: does not hold the words that it is made from")
    why = "; they were changed by another program"
    if faults and not records.database.refused:
        records.make_words_again()
        why += " and are made again now"
    yield from (f"{fault}{why}" for fault in faults)


def _of_signed(records: Records) -> Iterator[str]:
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


def _of_photos(records: Records) -> Iterator[str]:
    for row in records.database.read("SELECT DISTINCT sha256 FROM photos ORDER BY sha256"):
        name = row["sha256"]
        try:
            if sha256_of(records.photo_file(name)) != name:
                yield f"photo {name[:12]}: was changed after it was kept"
        except RecordsError:
            yield f"photo {name[:12]}: its file is missing"
        except OSError as error:
            yield f"photo {name[:12]}: cannot be read ({error.strerror})"
