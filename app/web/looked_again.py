"""What was to be looked at again: done with what was seen, and taken back; on the pages of a visit, a place and all."""

from __future__ import annotations

from datetime import date

from app.records import Records
from app.web.frame import Fields, one, row_number


def finish(records: Records, fields: Fields, which: str) -> str:
    """Write down that it was looked at today; a sentence on it. Raises RecordsError where there is none."""
    item = records.finish_follow_up(row_number(which, "follow-up"), date.today(), one(fields, "outcome"))
    return f"Done: {item.what}{f', {item.outcome}' if item.outcome else ''}."


def take_back(records: Records, which: str) -> str:
    """It is still to be looked at; a sentence on it. Raises RecordsError where there is none."""
    return f"To be looked at again: {records.reopen_follow_up(row_number(which, 'follow-up')).what}."
