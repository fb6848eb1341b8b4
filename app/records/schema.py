"""The tables of the record book, and the triggers that keep what is signed as it is.

Each migration takes the file from one user_version to the next. Those that were ever shipped
stay as they are; a change is a new one.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator

APPLICATION_ID = 0x53574B59  # says that a SQLite file is ours

_TABLES = """
CREATE TABLE clients (
  id INTEGER PRIMARY KEY, name TEXT NOT NULL, phone TEXT NOT NULL, email TEXT NOT NULL, address TEXT NOT NULL,
  notes TEXT NOT NULL) STRICT;
CREATE TABLE sites (
  id INTEGER PRIMARY KEY, client INTEGER NOT NULL REFERENCES clients, address TEXT NOT NULL, state TEXT NOT NULL,
  lawn TEXT NOT NULL, near TEXT NOT NULL, area_m2 REAL, latitude REAL, longitude REAL, notes TEXT NOT NULL) STRICT;
CREATE TABLE visits (
  id INTEGER PRIMARY KEY, site INTEGER NOT NULL REFERENCES sites, day TEXT NOT NULL, who TEXT NOT NULL,
  purpose TEXT NOT NULL, notes TEXT NOT NULL) STRICT;
CREATE INDEX visits_by_site ON visits (site, day);
CREATE TABLE photos (
  id INTEGER PRIMARY KEY, visit INTEGER NOT NULL REFERENCES visits, sha256 TEXT NOT NULL, shows TEXT NOT NULL,
  UNIQUE (visit, sha256)) STRICT;
CREATE TABLE findings (
  id INTEGER PRIMARY KEY, visit INTEGER NOT NULL REFERENCES visits, finding TEXT NOT NULL, status TEXT NOT NULL,
  species TEXT, probability REAL, answers TEXT NOT NULL, confirmed_by TEXT NOT NULL, confirmed_at TEXT NOT NULL) STRICT;
CREATE INDEX findings_by_visit ON findings (visit);
CREATE TABLE plans (
  id INTEGER PRIMARY KEY, visit INTEGER NOT NULL REFERENCES visits, plan TEXT NOT NULL, chosen TEXT NOT NULL) STRICT;
CREATE INDEX plans_by_visit ON plans (visit);
CREATE TABLE treatments (
  id INTEGER PRIMARY KEY, visit INTEGER NOT NULL REFERENCES visits, content TEXT NOT NULL) STRICT;
CREATE INDEX treatments_by_visit ON treatments (visit);
CREATE TABLE signed (
  sequence INTEGER PRIMARY KEY, kind TEXT NOT NULL CHECK (kind IN ('visit', 'treatment')), record INTEGER NOT NULL,
  content TEXT NOT NULL, signed_by TEXT NOT NULL, signed_at TEXT NOT NULL, note TEXT NOT NULL,
  amends INTEGER REFERENCES signed, reason TEXT NOT NULL, former TEXT NOT NULL, sha256 TEXT NOT NULL UNIQUE) STRICT;
CREATE INDEX signed_by_record ON signed (kind, record, sequence);
CREATE TABLE groups_used (
  id INTEGER PRIMARY KEY, site INTEGER NOT NULL REFERENCES sites, day TEXT NOT NULL, "group" INTEGER NOT NULL,
  treatment INTEGER REFERENCES treatments ON DELETE CASCADE, note TEXT NOT NULL) STRICT;
CREATE INDEX groups_by_site ON groups_used (site, day);
CREATE TABLE follow_ups (
  id INTEGER PRIMARY KEY, site INTEGER NOT NULL REFERENCES sites, visit INTEGER REFERENCES visits, due TEXT NOT NULL,
  what TEXT NOT NULL, done TEXT, uid TEXT NOT NULL UNIQUE) STRICT;
CREATE INDEX follow_ups_by_due ON follow_ups (due) WHERE done IS NULL;
CREATE TABLE drafts (
  id TEXT PRIMARY KEY, state TEXT NOT NULL, started_at TEXT NOT NULL, saved_at TEXT NOT NULL,
  visit INTEGER REFERENCES visits) STRICT;
CREATE INDEX drafts_by_time ON drafts (saved_at) WHERE visit IS NULL;
CREATE TABLE words (
  id INTEGER PRIMARY KEY, kind TEXT NOT NULL, record INTEGER NOT NULL, site INTEGER, text TEXT NOT NULL,
  UNIQUE (kind, record)) STRICT;
CREATE TABLE notes (name TEXT PRIMARY KEY, value TEXT NOT NULL) STRICT;
"""

# REPLACE would take a signed row away without a DELETE trigger, so an INSERT in its place is refused too.
_LEDGER = """
CREATE TRIGGER signed_never_changes BEFORE UPDATE ON signed
  BEGIN SELECT RAISE(ABORT, 'what is signed never changes'); END;
CREATE TRIGGER signed_never_goes BEFORE DELETE ON signed
  BEGIN SELECT RAISE(ABORT, 'what is signed is never deleted'); END;
CREATE TRIGGER signed_goes_on BEFORE INSERT ON signed
  WHEN NEW.sequence IS NOT (SELECT coalesce(max(sequence), 0) + 1 FROM signed)
    OR NEW.former IS NOT coalesce((SELECT sha256 FROM signed ORDER BY sequence DESC LIMIT 1), '')
  BEGIN SELECT RAISE(ABORT, 'a signed row follows the one before it'); END;
CREATE TRIGGER signed_once BEFORE INSERT ON signed
  WHEN NEW.amends IS NOT (SELECT max(sequence) FROM signed WHERE kind = NEW.kind AND record = NEW.record)
  BEGIN SELECT RAISE(ABORT, 'what is signed can only be amended, in its latest version'); END;
"""

_RECORD = """
CREATE TRIGGER {table}_signed_stays BEFORE UPDATE ON {table}
  WHEN OLD.id IS NOT NEW.id OR EXISTS (SELECT 1 FROM signed WHERE kind = '{kind}' AND record = OLD.id)
  BEGIN SELECT RAISE(ABORT, 'a signed {kind} is never changed: amend it'); END;
CREATE TRIGGER {table}_signed_is_kept BEFORE DELETE ON {table}
  WHEN EXISTS (SELECT 1 FROM signed WHERE kind = '{kind}' AND record = OLD.id)
  BEGIN SELECT RAISE(ABORT, 'a signed {kind} is never deleted'); END;
CREATE TRIGGER {table}_signed_is_not_replaced BEFORE INSERT ON {table}
  WHEN EXISTS (SELECT 1 FROM signed WHERE kind = '{kind}' AND record = NEW.id)
  BEGIN SELECT RAISE(ABORT, 'a signed {kind} is never replaced: amend it'); END;
"""

_PART = """
CREATE TRIGGER {table}_{event}_of_signed BEFORE {event} ON {table}
  WHEN EXISTS (SELECT 1 FROM signed WHERE kind = 'visit' AND record IN ({rows}))
    {replaced}
  BEGIN SELECT RAISE(ABORT, 'the visit is signed: amend it'); END;
"""

_REPLACED = """OR EXISTS (SELECT 1 FROM {table} AS old
      JOIN signed ON signed.kind = 'visit' AND signed.record = old.visit WHERE old.id = NEW.id)"""


def _triggers() -> str:
    parts = [_LEDGER]
    parts += [_RECORD.format(table=f"{kind}s", kind=kind) for kind in ("visit", "treatment")]
    for table in ("photos", "findings", "plans"):
        for event, rows in (("INSERT", "NEW.visit"), ("UPDATE", "OLD.visit, NEW.visit"), ("DELETE", "OLD.visit")):
            replaced = "" if event == "DELETE" else _REPLACED.format(table=table)
            parts.append(_PART.format(table=table, event=event, rows=rows, replaced=replaced))
    return "".join(parts)


# By what open portals know this book again, whoever publishes from it: random, and names nobody.
_DATASET = "INSERT INTO notes VALUES ('dataset', lower(hex(randomblob(16))));\n"

# Answers became a list in their order. Those of before are read as they are, but an earlier swardkey cannot read these.
_IN_ORDER = ""

# A treatment says whether its applicator is licensed; an earlier swardkey would refuse the field.
_LICENSED = ""

# A follow-up says what was seen.
_OUTCOME = "ALTER TABLE follow_ups ADD COLUMN outcome TEXT NOT NULL DEFAULT '';\n"

# A treatment keeps what was asked before it was signed, which an earlier swardkey would refuse. For every visit and
# treatment there is a note of its last signed row, so that a row that was taken away leaves a gap.
_NOTED = """
INSERT INTO notes SELECT 'signed ' || kind || ' ' || record, sha256 FROM signed
  WHERE sequence IN (SELECT max(sequence) FROM signed GROUP BY kind, record);
CREATE TRIGGER signed_is_noted AFTER INSERT ON signed
  BEGIN INSERT OR REPLACE INTO notes VALUES ('signed ' || NEW.kind || ' ' || NEW.record, NEW.sha256); END;
"""

# The journal has a hash of each row that swardkey writes. Groups of treatments are worked out from the treatments, and
# search words are made again from the records.
_JOURNAL = """
CREATE TABLE journal (
  sequence INTEGER PRIMARY KEY, "table" TEXT NOT NULL, row TEXT NOT NULL, columns INTEGER NOT NULL,
  content TEXT NOT NULL, former TEXT NOT NULL, sha256 TEXT NOT NULL UNIQUE) STRICT;
CREATE TRIGGER journal_never_changes BEFORE UPDATE ON journal
  BEGIN SELECT RAISE(ABORT, 'the journal never changes'); END;
CREATE TRIGGER journal_never_goes BEFORE DELETE ON journal
  BEGIN SELECT RAISE(ABORT, 'the journal is never deleted'); END;
CREATE TRIGGER journal_goes_on BEFORE INSERT ON journal
  WHEN NEW.sequence IS NOT (SELECT coalesce(max(sequence), 0) + 1 FROM journal)
    OR NEW.former IS NOT coalesce((SELECT sha256 FROM journal ORDER BY sequence DESC LIMIT 1), '')
  BEGIN SELECT RAISE(ABORT, 'an entry of the journal follows the one before it'); END;
CREATE TRIGGER journal_is_noted AFTER INSERT ON journal
  BEGIN INSERT OR REPLACE INTO notes VALUES ('journal', NEW.sequence || ' ' || NEW.sha256); END;
DELETE FROM groups_used WHERE treatment IS NOT NULL;
DELETE FROM words;
INSERT OR REPLACE INTO notes VALUES ('words_index', 'stale');
INSERT OR REPLACE INTO notes VALUES ('words', 'stale');
"""

MIGRATIONS: tuple[str, ...] = (_TABLES + _triggers(), _DATASET, _IN_ORDER, _LICENSED, _OUTCOME, _NOTED, _JOURNAL)
JOURNAL = 7  # the version that began the journal


def statements(script: str) -> Iterator[str]:
    """The statements of a script, one at a time: sqlite3 would commit before running it as a whole."""
    statement = ""
    for line in script.splitlines(keepends=True):
        statement += line
        if sqlite3.complete_statement(statement):
            yield statement.strip()
            statement = ""
    if statement.strip():
        yield statement.strip()


INDEX = "CREATE VIRTUAL TABLE words_index USING fts5(text, content='words', content_rowid='id')"

# Without the search index, which is made where there can be one, and the tables that SQLite makes for it.
SHAPE = f"""
SELECT name, sql FROM sqlite_master WHERE sql IS NOT NULL AND NOT (type = 'table' AND
  (name IN ('words_index_data', 'words_index_idx', 'words_index_docsize', 'words_index_config')
  OR (name = 'words_index' AND sql = '{INDEX.replace("'", "''")}')))
"""


def shape(connection: sqlite3.Connection) -> set[tuple[str, str]]:
    """Names and definitions of all tables, indexes and triggers."""
    return {(name, sql) for name, sql in connection.execute(SHAPE)}
