"""The whole check of the record book, with a mark or a backup that lies elsewhere: what command and page both say."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from app.records import Records, check_records
from app.records.book_mark import against_backup, against_mark, mark_of_book
from app.records.check import Checked
from model.text import counted

LIMITS = (
    "What this cannot prove: whoever may write to this folder can put another book in its place, or an older copy of "
    "this one, with every hash in it right, and no program alone on one machine would notice. Nor can it know whether "
    "what was typed is what was done, who sat at the keyboard, or whether the clock was right. To notice another or "
    "older book, compare with the mark at the foot of the latest paper that someone else holds, or with the latest "
    "backup that lies elsewhere: an early mark is in an older copy too."
)


@dataclass(frozen=True)
class BookCheck:
    """What was found in the book, what it was compared with, and its mark now; "" while it is empty."""

    found: Checked
    faults: tuple[str, ...]
    held: tuple[str, ...]
    mark: str

    @property
    def sound(self) -> bool:
        """Whether there is no fault, in the book or against what it was compared with."""
        return not self.faults

    @property
    def counts(self) -> str:
        """What was looked through."""
        one = self.found
        counts = {"visit": one.visits, "treatment": one.treatments, "signed row": one.signed, "photo": one.photos}
        return ", ".join(counted(number, noun) for noun, number in counts.items())


def check_book(records: Records, mark: str = "", backup: Path | None = None) -> BookCheck:
    """Look through the book, and whether it still holds what it held at a mark or has in a backup.

    Raises RecordsError for a text that is not a mark and a file that is not a backup.
    """
    found = check_records(records)
    compared = [(f"held at the mark {mark.strip()}", against_mark(records, mark))] if mark.strip() else []
    compared += [(f"held when {backup.name} was made", against_backup(records, backup))] if backup is not None else []
    held = tuple(f"The book still has all that it {then}." for then, faults in compared if not faults)
    faults = (*found.faults, *(fault for _, faults in compared for fault in faults))
    return BookCheck(found, faults, held, mark_of_book(records))
