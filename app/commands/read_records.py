"""The commands of `swardkey records` that read: show one record, search, what is due, and check the book."""

from __future__ import annotations

from datetime import date, datetime, time
from pathlib import Path
from typing import Annotated, Any, Literal

import typer

from app.commands.json_output import Json, answer
from app.commands.options import Day, option
from app.commands.terminal import print_lines
from app.present.show_records import hit_line, plain, print_due, print_record, show_added, show_list
from app.records import Current, FollowUp, Records, RecordsError, Treatment, open_records
from app.records.days import later
from app.services.book_check import LIMITS, check_book
from app.services.objections import against

Shown = Literal["client", "site", "visit", "treatment"]
Number = Annotated[int, typer.Argument(metavar="NUMBER", min=1, help="Its number.")]
AHEAD = 14  # days


def show(
    kind: Annotated[Shown, typer.Argument(metavar="KIND", help="client, site, visit or treatment.")],
    number: Number,
    as_json: Json = False,
) -> None:
    """Show one record in its latest version with its signatures; of a site, its history.

    Beside a treatment stands the evidence against it, if there is any; the record itself keeps what was done.
    """
    with open_records() as book:
        data = _as_data(book, kind, number) if as_json else {}
        answer(as_json, data, lambda: print_record(book, kind, number))


def _as_data(book: Records, kind: Shown, number: int) -> dict[str, Any]:
    if kind == "client":
        return {"client": plain(book.client(number)), "sites": [plain(site) for site in book.sites(number)]}
    if kind == "site":
        past = [
            plain(visit) | {"treatments": [with_objections(book, one) for one in visit.treatments]}
            for visit in book.history(number)
        ]
        return {"site": plain(book.site(number)), "groups_used": list(book.groups_used(number)), "history": past}
    if kind == "treatment":
        return with_objections(book, book.current("treatment", number))
    return plain(book.current("visit", number))


def with_objections(book: Records, treatment: Current) -> dict[str, Any]:
    """A treatment as data, with the reasons against it."""
    assert isinstance(treatment.record, Treatment)
    return plain(treatment) | {"against": [str(remark) for remark in against(book, treatment.record)]}


def search(
    text: Annotated[list[str], typer.Argument(metavar="WORD...", help="Words or beginnings of words, all of them.")],
    as_json: Json = False,
) -> None:
    """Find clients, sites, visits and treatments by their words."""
    with open_records() as book:
        show_list("found", book.search(" ".join(text)), as_json, hit_line)


def due(
    day: Day = None,
    site: Annotated[int | None, typer.Option(min=1, help="Add a follow-up at this site.")] = None,
    add: Annotated[str, option("WHAT", "What to check; --day says when.")] = "",
    done: Annotated[int | None, typer.Option(min=1, help="This one was done; --day says when.")] = None,
    as_json: Json = False,
) -> None:
    """Show what is overdue and due within two weeks, and treatments to sign; or add or finish something."""
    on = day or date.today()
    with open_records() as book:
        if add:
            if site is None:
                raise RecordsError("the site was not given; give --site NUMBER, see records sites")
            show_added("follow_up", book.add_follow_up(FollowUp(site, on, add)), as_json)
            return
        if done is not None:
            show_added("follow_up", book.finish_follow_up(done, on), as_json, "is done")
            return
        overdue = book.overdue(on)
        coming = [one for one in book.follow_ups() if on < one.due <= later(on, AHEAD)]
        waiting = book.unsigned(datetime.combine(on, time.max) if day else None)
        sites = {one.id: one.address for one in book.sites()}
    found = {"overdue": overdue, "coming": coming, "unsigned": waiting}
    data = {what: [plain(one) for one in some] for what, some in found.items()}
    answer(as_json, data, lambda: print_due(overdue, coming, waiting, sites))


def check(
    mark: Annotated[str, option("MARK", "Whether it holds what it held at a mark, from the foot of a paper.")] = "",
    against_zip: Annotated[
        Path | None, option("BACKUP.zip", "Whether it holds all that a backup has.", "--against")
    ] = None,
    as_json: Json = False,
) -> None:
    """Check the records, the chain of what is signed and the journal; exit status 1 where something is wrong.

    Papers and backups carry the mark of the book: --mark and --against compare it with one that lies elsewhere. What no
    check on one machine can prove is said at the end.
    """
    with open_records() as book:
        done = check_book(book, mark, against_zip)
    outcome = "no tampering detected" if done.sound else "see above"
    lines = [
        *done.faults,
        f"{done.counts}: {outcome}",
        *done.held,
        *([f"mark: {done.mark}"] if done.mark else []),
        LIMITS,
    ]
    found = plain(done.found) | {"faults": list(done.faults)}
    data = {"sound": done.sound, **found, "held": list(done.held), "mark": done.mark, "limits": LIMITS}
    answer(as_json, data, lambda: print_lines(*lines))
    if not done.sound:
        raise typer.Exit(1)
