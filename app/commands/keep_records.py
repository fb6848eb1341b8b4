"""The commands of `swardkey records`: clients, sites, visits and treatments, signed, amended and found again."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from app.commands.json_output import print_json
from app.present.show_records import plain, say, show_added, show_list, show_signed, show_treatment

if TYPE_CHECKING:
    from app.records import Current, Kind, Records

records = typer.Typer(no_args_is_help=True, help="Keep clients, sites, visits and spray records; sign and amend them.")
Json = Annotated[bool, typer.Option("--json", help="Print one JSON object and nothing else.")]
KindOf = Annotated[str, typer.Argument(metavar="KIND", help="visit or treatment.")]
Number = Annotated[int, typer.Argument(metavar="NUMBER", min=1, help="Its number.")]
By = Annotated[str, typer.Option("--by", metavar="NAME", help="Who signs.")]
Day = Annotated[str, typer.Option(metavar="YYYY-MM-DD", help="The day; today without it.")]


@records.command()
def clients(
    add: Annotated[str, typer.Option("--add", metavar="NAME", help="Add a client of this name.")] = "",
    phone: str = "",
    email: str = "",
    address: str = "",
    as_json: Json = False,
) -> None:
    """List the clients, or add one."""
    from app.records import Client

    with opened() as book:
        if add:
            show_added("client", book.add_client(Client(add, phone, email, address)), as_json)
        else:
            show_list("clients", book.clients(), as_json)


@records.command()
def sites(
    client: Annotated[int | None, typer.Option(min=1, help="Of this client only, or whose the new one is.")] = None,
    add: Annotated[str, typer.Option("--add", metavar="ADDRESS", help="Add a site at this address.")] = "",
    state: Annotated[str, typer.Option(help="Australian state or territory, such as NSW.")] = "",
    lawn: Annotated[str, typer.Option(help="The lawn grass, or unknown.")] = "unknown",
    near: Annotated[list[str] | None, typer.Option(help="What is near; repeat it for several.")] = None,
    area: Annotated[float | None, typer.Option(metavar="M2", help="Area in square metres.")] = None,
    as_json: Json = False,
) -> None:
    """List the sites, or add one."""
    from app.records import RecordsError, Site

    with opened() as book:
        if not add:
            show_list("sites", book.sites(client), as_json)
            return
        if client is None:
            raise RecordsError("the client of the new site was not given; give --client NUMBER, see records clients")
        site = Site(client, add, state.upper(), lawn, tuple(near or ()), area)  # type: ignore[arg-type]  # checked there
        show_added("site", book.add_site(site), as_json)


@records.command()
def visits(
    site: Annotated[int | None, typer.Option(min=1, help="To this site only, or the site of the new one.")] = None,
    add: Annotated[str, typer.Option("--add", metavar="WHO", help="Add a visit by this person.")] = "",
    day: Day = "",
    purpose: str = "",
    notes: str = "",
    as_json: Json = False,
) -> None:
    """List the visits, newest first, or add one."""
    from app.records import RecordsError, Visit

    with opened() as book:
        if not add:
            show_list("visits", book.visits(site), as_json)
            return
        if site is None:
            raise RecordsError("the site of the new visit was not given; give --site NUMBER, see records sites")
        show_added("visit", book.add_visit(Visit(site, day_of(day), add, purpose, notes)), as_json)


@records.command()
def treat(
    visit: Annotated[int, typer.Argument(metavar="VISIT", min=1, help="The number of the visit.")],
    file: Annotated[Path, typer.Argument(metavar="FILE", help="YAML file of what was done.")],
    as_json: Json = False,
) -> None:
    """Add a treatment from a file; site, client and business are filled in where the file does not name them."""
    from app.records.yaml_fields import changed_by, read_fields

    fields = read_fields(file)
    with opened() as book:
        show_treatment(book.add_treatment(changed_by(book.new_treatment(visit), fields, file)), as_json)


@records.command()
def change(
    kind: KindOf,
    number: Number,
    file: Annotated[Path, typer.Argument(metavar="FILE", help="YAML file of the fields that change.")],
    as_json: Json = False,
) -> None:
    """Change a visit or treatment that is not signed."""
    from app.records import Treatment
    from app.records.yaml_fields import changed_by, read_fields

    fields = read_fields(file)
    with opened() as book:
        now = book.current(known(kind), number).record
        if isinstance(now, Treatment):
            show_treatment(book.change_treatment(changed_by(now, fields, file)), as_json)
        else:
            show_added("visit", book.change_visit(changed_by(now.visit, fields, file)), as_json, "is changed")


@records.command()
def show(
    kind: Annotated[str, typer.Argument(metavar="KIND", help="client, site, visit or treatment.")],
    number: Number,
    as_json: Json = False,
) -> None:
    """Show one record in its latest version with its signatures; of a site, its history.

    Beside a treatment stands what speaks against it, if anything does; the record itself keeps what was done.
    """
    from app.records import RecordsError

    with opened() as book:
        if kind == "client":
            found: dict[str, Any] = {
                "client": plain(book.client(number)),
                "sites": [plain(site) for site in book.sites(number)],
            }
        elif kind == "site":
            past = [
                plain(visit) | {"treatments": [_with_against(book, one) for one in visit.treatments]}
                for visit in book.history(number)
            ]
            found = {"site": plain(book.site(number)), "groups_used": list(book.groups_used(number)), "history": past}
        elif kind == "treatment":
            found = _with_against(book, book.current("treatment", number))
        elif kind == "visit":
            found = plain(book.current("visit", number))
        else:
            raise RecordsError(f"{kind!r} is not a kind of record; give client, site, visit or treatment")
    if as_json:
        print_json(found)
    else:
        import yaml

        say(yaml.safe_dump(found, sort_keys=False, allow_unicode=True).rstrip())


@records.command()
def sign(kind: KindOf, number: Number, by: By, as_json: Json = False) -> None:
    """Sign a visit or treatment: from then on it can only be amended."""
    with opened() as book:
        signed = book.sign(known(kind), number, by)
    show_signed(signed, as_json)


@records.command()
def amend(
    kind: KindOf,
    number: Number,
    file: Annotated[Path, typer.Argument(metavar="FILE", help="YAML file of the fields that change.")],
    by: By,
    because: Annotated[str, typer.Option("--because", metavar="TEXT", help="Why it is amended.")],
    as_json: Json = False,
) -> None:
    """Amend what is signed: a new signed version, beside the old one."""
    from dataclasses import replace

    from app.records import VisitRecord
    from app.records.yaml_fields import changed_by, read_fields

    fields = read_fields(file)
    with opened() as book:
        now = book.current(known(kind), number).record
        if isinstance(now, VisitRecord):
            changed: Any = replace(now, visit=changed_by(now.visit, fields, file))
        else:
            changed = changed_by(now, fields, file)
        signed = book.amend(known(kind), number, changed, by, because)
    show_signed(signed, as_json)


@records.command()
def search(
    text: Annotated[list[str], typer.Argument(metavar="WORD...", help="Words or beginnings of words, all of them.")],
    as_json: Json = False,
) -> None:
    """Find clients, sites, visits and treatments by their words."""
    with opened() as book:
        show_list("found", book.search(" ".join(text)), as_json)


@records.command()
def due(
    day: Day = "",
    site: Annotated[int | None, typer.Option(min=1, help="Add something to look at again at this site.")] = None,
    add: Annotated[str, typer.Option("--add", metavar="WHAT", help="What to look at; --day says when.")] = "",
    done: Annotated[int | None, typer.Option(min=1, help="This one was done; --day says when.")] = None,
    as_json: Json = False,
) -> None:
    """Show what is overdue on a day, and treatments still to be signed; or add or finish something."""
    from datetime import datetime, time

    from app.records import FollowUp, RecordsError

    on = day_of(day)
    with opened() as book:
        if add:
            if site is None:
                raise RecordsError("the site was not given; give --site NUMBER, see records sites")
            show_added("follow_up", book.add_follow_up(FollowUp(site, on, add)), as_json)
            return
        if done is not None:
            show_added("follow_up", book.finish_follow_up(done, on), as_json, "is done")
            return
        overdue = book.overdue(on)
        waiting = book.unsigned(datetime.combine(on, time.max) if day else None)
    if as_json:
        print_json({"overdue": [plain(one) for one in overdue], "unsigned": [plain(one) for one in waiting]})
        return
    say(*(f"{one.due}  {one.id}  site {one.site}: {one.what}" for one in overdue))
    say(
        *(
            f"treatment {w.treatment.id} is not signed{', and late' if w.late else ''}: by {w.write_up_by}"
            for w in waiting
        )
    )
    if not overdue and not waiting:
        say("nothing is due")


@records.command()
def check(as_json: Json = False) -> None:
    """Look through the records and the chain of what is signed; exit status 1 where something is wrong."""
    from app.records import check_records

    with opened() as book:
        found = check_records(book)
    if as_json:
        print_json({"sound": found.sound, **plain(found)})
    else:
        counted = (
            f"{found.visits} visits, {found.treatments} treatments, {found.signed} signed rows, {found.photos} photos"
        )
        say(*found.faults, f"{counted}: {'all is as it was' if found.sound else 'see above'}")
    if not found.sound:
        raise typer.Exit(1)


def _with_against(book: Records, treatment: Current) -> dict[str, Any]:
    """A treatment as data, and what speaks against it."""
    from app.records import Treatment
    from app.services.objections import against

    assert isinstance(treatment.record, Treatment)
    return plain(treatment) | {"against": [str(remark) for remark in against(book, treatment.record)]}


def opened() -> Records:
    """The records of this user."""
    from app.records import open_records

    return open_records()


def known(kind: str) -> Kind:
    """The kind of what is signed. Raises RecordsError for another word."""
    from app.records import RecordsError

    if kind not in ("visit", "treatment"):
        raise RecordsError(f"{kind!r} cannot be signed; give visit or treatment")
    return kind  # type: ignore[return-value]


def day_of(text: str) -> date:
    """A day as it was typed; today where nothing was."""
    from app.records import RecordsError

    try:
        return date.fromisoformat(text) if text else date.today()
    except ValueError:
        raise RecordsError(f"--day {text!r} is not a date; give it as 2026-03-01") from None
