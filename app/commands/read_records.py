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
        follow_ups = [plain(one) for one in book.follow_ups(number, open_only=False)]
        used = list(book.groups_used(number))
        return {"site": plain(book.site(number)), "groups_used": used, "follow_ups": follow_ups, "history": past}
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


def numbered(help: str) -> Any:
    """An option for the number of something in the records."""
    return typer.Option(metavar="NUMBER", min=1, help=help)


def due(
    day: Day = None,
    add: Annotated[str, option("WHAT", "What to check; --day says when, --visit or --site where.")] = "",
    visit: Annotated[int | None, numbered("Of the new follow-up: the visit that it belongs to.")] = None,
    site: Annotated[int | None, numbered("Of the new follow-up: its site, where it belongs to no visit.")] = None,
    done: Annotated[int | None, numbered("The follow-up that was done; --day says when.")] = None,
    outcome: Annotated[str, option("TEXT", "With --done: what was seen then.")] = "",
    undo: Annotated[int | None, numbered("The follow-up that is still to be done after all.")] = None,
    as_json: Json = False,
) -> None:
    """Show what is overdue and due within two weeks, and treatments to sign; or add, finish or reopen a follow-up.

    Those of a visit or a site, also what came of them, are in swardkey records show.

    Examples:
        swardkey records due
        swardkey records due --add "any survivors?" --visit 1 --day 12/12/2026
        swardkey records due --done 1 --outcome "three left, pulled by hand"
        swardkey records due --undo 1
    """
    on = day or date.today()
    if sum(map(bool, (add, done, undo))) > 1:
        raise RecordsError("--add, --done and --undo are three different things; give one of them")
    if outcome and done is None:
        raise RecordsError("--outcome is what was seen when a follow-up was done; give its number with --done")
    with open_records() as book:
        if add:
            show_added("follow_up", book.add_follow_up(_new_follow_up(book, on, add, visit, site)), as_json)
            return
        if done is not None:
            finished = book.finish_follow_up(done, on, outcome)
            show_added("follow_up", finished, as_json, f"is done{f': {outcome}' if outcome else ''}")
            return
        if undo is not None:
            show_added("follow_up", book.reopen_follow_up(undo), as_json, "is to be done again")
            return
        overdue = book.overdue(on)
        coming = [one for one in book.follow_ups() if on < one.due <= later(on, AHEAD)]
        waiting = book.unsigned(datetime.combine(on, time.max) if day else None)
        sites = {one.id: one.address for one in book.sites()}
    found = {"overdue": overdue, "coming": coming, "unsigned": waiting}
    data = {what: [plain(one) for one in some] for what, some in found.items()}
    answer(as_json, data, lambda: print_due(overdue, coming, waiting, sites))


def _new_follow_up(book: Records, on: date, what: str, visit: int | None, site: int | None) -> FollowUp:
    if visit is None and site is None:
        raise RecordsError("where it is was not given; give --visit NUMBER or --site NUMBER, see records visits")
    of_visit = book.visit(visit).site if visit is not None else None
    if of_visit is not None and site not in (None, of_visit):
        raise RecordsError(f"visit {visit} was to site {of_visit}, not {site}; give one of the two")
    return FollowUp(of_visit or site or 0, on, what, visit)


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
