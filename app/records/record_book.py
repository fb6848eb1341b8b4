"""The record book of a folder: its parts under one name."""

from __future__ import annotations

from contextlib import suppress
from pathlib import Path
from types import TracebackType
from typing import Self

from app.records.database import PATIENCE, Clock, utc_now
from app.records.drafts import Drafts
from app.records.errors import RecordsError
from app.records.merging import Merging
from app.records.search import words_are_stale
from app.records.signing import Signing
from app.records.switch import finish_restore
from app.services.home import home


class Records(Signing, Merging, Drafts):
    """The records in ``folder``, made where there are none: all that can be done with them, part by part.

    ``patience``: seconds to wait for another program that is writing. Raises RecordsError.
    """

    def __init__(self, folder: Path, patience: float = PATIENCE, clock: Clock = utc_now) -> None:
        super().__init__(folder, patience, clock)
        if words_are_stale(self.database.connection):
            # Where the disk is full the book is read without them: a search says so, and a later start makes them.
            with suppress(RecordsError):
                self.make_words_again()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Let the file go. What was written is on the disk already."""
        self.database.connection.close()


def open_records(folder: Path | None = None, patience: float = PATIENCE, clock: Clock = utc_now) -> Records:
    """The records of this user, or those in ``folder``; made where there are none. Raises RecordsError."""
    if folder is None:
        finish_restore(home())
    return Records(folder or home() / "records", patience, clock)
