"""The check of the record book on a page: on its own, against a mark from a paper, or against a backup."""

from __future__ import annotations

from typing import Any

from app.records import open_records
from app.services.book_check import LIMITS, BookCheck, check_book
from app.web import backups
from app.web.background import Progress, Work
from app.web.frame import Address, Fields, one

work = Work()


def show() -> dict[str, Any]:
    """What the page shows: what may be compared with, and how the last check went."""
    return {"backups": [(file.name, file.name) for file in backups.there()], "state": work.state, "limits": LIMITS}


def act(do: str, fields: Fields) -> Address:
    """Begin a check, whose photos may take a while, or forget what the last one came to; where to go."""
    if do == "forget_check":
        work.clear()
        return {"check": "yes"}
    mark, name = one(fields, "mark"), one(fields, "against")
    file = backups.file_of(name) if name else None

    def run(progress: Progress) -> BookCheck:
        with open_records() as records:
            return check_book(records, mark, file)

    work.start("The check", run)
    return {"check": "yes"}
