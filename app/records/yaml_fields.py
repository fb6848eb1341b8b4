"""A record's fields as a person writes them in a YAML file: every value stays exactly as it was typed."""

from __future__ import annotations

from dataclasses import fields
from pathlib import Path
from typing import Any, TypeVar

import yaml

from app.records.entries import Treatment, Visit
from app.records.errors import RecordsError
from app.records.serialization import checked, plain
from model.errors import nearest
from model.file import read_file
from model.flora.load import check_plain

LARGEST_BYTES = 200_000
OURS = ("id", "visit", "site")  # given by where the record belongs, not by the file
Entry = TypeVar("Entry", Treatment, Visit)


def read_fields(file: Path) -> dict[str, Any]:
    """The fields in a file, all text, less those left empty. Raises RecordsError naming file and line."""
    try:
        text = read_file(file, LARGEST_BYTES).decode("utf-8-sig")
        check_plain(text)
        found = yaml.load(text, Loader=yaml.BaseLoader)  # it makes text of every value: `1.50` stays `1.50`
    except OSError as error:
        raise RecordsError(f"{file}: {error.strerror or error}; give the file of one record") from None
    except UnicodeDecodeError:
        raise RecordsError(f"{file}: is not UTF-8 text; save it as UTF-8") from None
    except yaml.YAMLError as error:
        mark = getattr(error, "problem_mark", None)
        line = f" line {mark.line + 1}" if mark is not None else ""
        cause = getattr(error, "problem", None) or "unreadable"
        raise RecordsError(f"{file}{line}: is not valid YAML ({cause}); fix that line") from None
    if not isinstance(found, dict) or not found:
        raise RecordsError(f"{file}: holds no fields; write `field: text` on each line")
    return {name: value for name, value in found.items() if value != ""}


def changed_by(entry: Entry, given: dict[str, Any], file: Path) -> Entry:
    """The entry with the fields of a file in place of its own. Raises RecordsError naming file and field."""
    known = [f.name for f in fields(entry) if f.name not in OURS]
    for name in given:
        if name not in known:
            raise RecordsError(f"{file}: {name} is not a field of this record; {nearest(name, known)}")
    try:
        return checked(type(entry), plain(entry) | given)
    except RecordsError as error:
        raise RecordsError(f"{file}: {error}; fix that field") from None
