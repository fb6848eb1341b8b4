"""The record book of a folder: one database, and the parts that work on it under one name."""

from __future__ import annotations

from contextlib import suppress
from pathlib import Path
from types import TracebackType
from typing import Self

from app.records.book import Book
from app.records.database import PATIENCE, Clock, Database, utc_now
from app.records.drafts import Drafts
from app.records.errors import RecordsError
from app.records.latest import LatestVersions
from app.records.merging import Merging
from app.records.own import OwnDetails
from app.records.search import words_are_stale
from app.records.signing import Signing
from app.records.switch import finish_restore
from app.services.home import home


class Records:
    """The records in ``folder``, made where there are none.

    What pages, commands and papers call is listed here; which part does it, and how, only that part knows.
    ``patience``: seconds to wait for another program that is writing. Raises RecordsError.
    """

    def __init__(self, folder: Path, patience: float = PATIENCE, clock: Clock = utc_now) -> None:
        self.folder = folder
        self.database = Database(folder, patience, clock)

        book = Book(self.database)
        self.add_client = book.add_client
        self.change_client = book.change_client
        self.client = book.client
        self.clients = book.clients
        self.add_site = book.add_site
        self.change_site = book.change_site
        self.site = book.site
        self.sites = book.sites
        self.add_visit = book.add_visit
        self.change_visit = book.change_visit
        self.store_photo = book.store_photo
        self.photo_file = book.photo_file
        self.add_photo = book.add_photo
        self.add_finding = book.add_finding
        self.confirm_finding = book.confirm_finding
        self.add_plan = book.add_plan
        self.add_treatment = book.add_treatment
        self.change_treatment = book.change_treatment
        self.treatment_row = book.treatment_row
        self.add_follow_up = book.add_follow_up
        self.finish_follow_up = book.finish_follow_up
        self.reopen_follow_up = book.reopen_follow_up
        self.add_group_use = book.add_group_use
        self.follow_ups = book.follow_ups
        self.overdue = book.overdue
        self.search = book.search
        self.dataset = book.dataset
        self._sign_with(book)

    def _sign_with(self, book: Book) -> None:
        """The parts that need more than the entries: own details, signatures, merging, drafts."""
        own = OwnDetails(self.database)
        self._offer(own)

        latest = LatestVersions(self.database, book)
        self._read_with(latest)

        signing = Signing(self.database, book, own, latest)
        self.together = signing.together
        self.asked = signing.asked
        self.sign = signing.sign
        self.amend = signing.amend
        self.unsigned = signing.unsigned
        self.new_treatment = signing.new_treatment

        self.merging = Merging(self.database, book)

        if words_are_stale(self.database.connection):
            # Where the disk is full the book is read without them: a search says so, and a later start makes them.
            with suppress(RecordsError):
                self.make_words_again()

        drafts = Drafts(self.database)
        self.save_draft = drafts.save_draft
        self.draft = drafts.draft
        self.recent_drafts = drafts.recent_drafts
        self.end_draft = drafts.end_draft

    def _read_with(self, latest: LatestVersions) -> None:
        self.current = latest.current
        self.versions = latest.versions
        self.unsigned_record = latest.unsigned_record
        self.visit = latest.visit
        self.visits = latest.visits
        self.treatments = latest.treatments
        self.history = latest.history
        self.group_uses = latest.group_uses
        self.groups_used = latest.groups_used
        self.all_words = latest.all_words
        self.make_words_again = latest.make_words_again

    def _offer(self, own: OwnDetails) -> None:
        self.profile = own.profile
        self.keep_profile = own.keep_profile
        self.own_products = own.own_products
        self.keep_product = own.keep_product
        self.remove_product = own.remove_product
        self.learn_products = own.learn_products

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
