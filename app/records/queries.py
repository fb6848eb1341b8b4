"""What the plan, the first page and the papers ask the records."""

from __future__ import annotations

from datetime import date

from app.records.book import Book
from app.records.database import Database
from app.records.entries import Current, FollowUp, GroupUse, Hit, PastVisit
from app.records.errors import in_a_sentence
from app.records.search import find
from app.records.serialization import entry_of
from app.records.signing import Signing


class Queries:
    """Questions about a record book; none of them changes it."""

    def __init__(self, database: Database, book: Book, signing: Signing) -> None:
        self._database, self._book, self._signing = database, book, signing

    def group_uses(self, site: int, since: date | None = None) -> tuple[GroupUse, ...]:
        """Modes of action used at a site on or after ``since``, newest first; signed or not, and those of others."""
        found = self._database.read(
            'SELECT site, day, "group", treatment, note FROM groups_used WHERE site = ? AND day >= ? '
            'ORDER BY day DESC, "group"',
            *(site, since.isoformat() if since else ""),
        )
        return tuple(entry_of(GroupUse, row) for row in found)

    def groups_used(self, site: int, since: date | None = None) -> tuple[int, ...]:
        """The groups of ``group_uses``, each once: for ``used`` of a Case."""
        return tuple(sorted({use.group for use in self.group_uses(site, since)}))

    def follow_ups(self, site: int | None = None, open_only: bool = True) -> tuple[FollowUp, ...]:
        """What is to be looked at again, the soonest first."""
        found = self._database.read(
            "SELECT * FROM follow_ups WHERE (? IS NULL OR site = ?) AND (done IS NULL OR NOT ?) ORDER BY due, id",
            *(site, site, open_only),
        )
        return tuple(entry_of(FollowUp, row) for row in found)

    def overdue(self, today: date) -> tuple[FollowUp, ...]:
        """What was due on ``today`` or before and is not done, the longest overdue first."""
        return tuple(follow_up for follow_up in self.follow_ups() if follow_up.due <= today)

    def dataset(self) -> str:
        """32 hex digits by which this record book is known to open portals; they never change and name nobody."""
        return str(self._database.read("SELECT value FROM notes WHERE name = 'dataset'")[0][0])

    def history(self, site: int) -> tuple[PastVisit, ...]:
        """All visits to a site, newest first, with what was found, planned and done."""
        self._book.site(site)
        treatments: dict[int, list[Current]] = {}
        for treatment in self._signing.treatments(site):
            treatments.setdefault(treatment.record.visit, []).append(treatment)  # type: ignore[arg-type]
        follow_ups = self.follow_ups(site, open_only=False)
        return tuple(
            PastVisit(
                self._signing.current("visit", visit.id),
                tuple(treatments.get(visit.id, ())),
                tuple(follow_up for follow_up in follow_ups if follow_up.visit == visit.id),
            )
            for visit in self._signing.visits(site)
        )

    def search(self, text: str, most: int = 50) -> tuple[Hit, ...]:
        """Clients, sites, visits and treatments in which every word of ``text`` occurs, at most ``most``."""
        with in_a_sentence(self._database.path):
            return tuple(find(self._database.connection, text, most))
