"""The commands of `swardkey records`: clients, sites, visits and treatments, signed, amended and found again."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime, time
from pathlib import Path
from typing import Annotated, Any, Literal

import typer
import yaml

from app.commands.json_output import Json, answer
from app.commands.options import LAWN, Day, Near, State, option
from app.present.show_records import plain, show_added, show_list, show_signed, show_treatment
from app.records import (
    Client,
    Current,
    FollowUp,
    Records,
    RecordsError,
    Site,
    Treatment,
    Visit,
    VisitRecord,
    check_records,
    open_records,
)
from app.records.yaml_fields import changed_by, read_fields
from app.services.objections import against

records = typer.Typer(no_args_is_help=True, help="Keep clients, sites, visits and spray records; sign and amend them.")
Kind = Annotated[Literal["visit", "treatment"], typer.Argument(metavar="KIND", help="visit or treatment.")]
Number = Annotated[int, typer.Argument(metavar="NUMBER", min=1, help="Its number.")]
By = Annotated[str, option("NAME", "Who signs.", "--by")]
Changes = Annotated[Path, typer.Argument(metavar="FILE", help="YAML file of the fields that change.")]


@records.command()
def clients(
    add: Annotated[str, option("NAME", "Add a client of this name.")] = "",
    phone: str = "",
    email: str = "",
    address: str = "",
    as_json: Json = False,
) -> None:
    """List the clients, or add one."""
    with open_records() as book:
        if add:
            show_added("client", book.add_client(Client(add, phone, email, address)), as_json)
        else:
            show_list("clients", book.clients(), as_json)


@records.command()
def sites(
    client: Annotated[int | None, typer.Option(min=1, help="Of this client only, or whose the new one is.")] = None,
    add: Annotated[str, option("ADDRESS", "Add a site at this address.")] = "",
    state: State = None,
    lawn: Annotated[str, LAWN] = "unknown",
    near: Near = None,
    area: Annotated[float | None, option("M2", "Area in square metres.")] = None,
    as_json: Json = False,
) -> None:
    """List the sites, or add one."""
    with open_records() as book:
        if not add:
            show_list("sites", book.sites(client), as_json)
            return
        if client is None:
            raise RecordsError("the client of the new site was not given; give --client NUMBER, see records clients")
        site = Site(client, add, state or "", lawn, tuple(near or ()), area)  # type: ignore[arg-type]  # checked there
        show_added("site", book.add_site(site), as_json)


@records.command()
def visits(
    site: Annotated[int | None, typer.Option(min=1, help="To this site only, or the site of the new one.")] = None,
    add: Annotated[str, option("WHO", "Add a visit by this person.")] = "",
    day: Day = None,
    purpose: str = "",
    notes: str = "",
    as_json: Json = False,
) -> None:
    """List the visits, newest first, or add one."""
    with open_records() as book:
        if not add:
            show_list("visits", book.visits(site), as_json)
            return
        if site is None:
            raise RecordsError("the site of the new visit was not given; give --site NUMBER, see records sites")
        show_added("visit", book.add_visit(Visit(site, day or date.today(), add, purpose, notes)), as_json)


@records.command()
def treat(
    visit: Annotated[int, typer.Argument(metavar="VISIT", min=1, help="The number of the visit.")],
    file: Annotated[Path, typer.Argument(metavar="FILE", help="YAML file of what was done.")],
    as_json: Json = False,
) -> None:
    """Add a treatment from a file; site, client and business are filled in where the file does not name them."""
    fields = read_fields(file)
    with open_records() as book:
        show_treatment(book.add_treatment(changed_by(book.new_treatment(visit), fields, file)), as_json)


@records.command()
def change(kind: Kind, number: Number, file: Changes, as_json: Json = False) -> None:
    """Change a visit or treatment that is not signed."""
    fields = read_fields(file)
    with open_records() as book:
        now = book.current(kind, number).record
        if isinstance(now, Treatment):
            show_treatment(book.change_treatment(changed_by(now, fields, file)), as_json)
        else:
            show_added("visit", book.change_visit(changed_by(now.visit, fields, file)), as_json, "is changed")


@records.command()
def show(
    kind: Annotated[
        Literal["client", "site", "visit", "treatment"],
        typer.Argument(metavar="KIND", help="client, site, visit or treatment."),
    ],
    number: Number,
    as_json: Json = False,
) -> None:
    """Show one record in its latest version with its signatures; of a site, its history.

    Beside a treatment stands the evidence against it, if there is any; the record itself keeps what was done.
    """
    found: dict[str, Any]
    with open_records() as book:
        if kind == "client":
            found = {"client": plain(book.client(number)), "sites": [plain(site) for site in book.sites(number)]}
        elif kind == "site":
            past = [
                plain(visit) | {"treatments": [with_objections(book, one) for one in visit.treatments]}
                for visit in book.history(number)
            ]
            found = {"site": plain(book.site(number)), "groups_used": list(book.groups_used(number)), "history": past}
        elif kind == "treatment":
            found = with_objections(book, book.current("treatment", number))
        else:
            found = plain(book.current("visit", number))
    answer(as_json, found, yaml.safe_dump(found, sort_keys=False, allow_unicode=True).rstrip())


def with_objections(book: Records, treatment: Current) -> dict[str, Any]:
    """A treatment as data, with the reasons against it."""
    assert isinstance(treatment.record, Treatment)
    return plain(treatment) | {"against": [str(remark) for remark in against(book, treatment.record)]}


@records.command()
def sign(kind: Kind, number: Number, by: By, as_json: Json = False) -> None:
    """Sign a visit or treatment: from then on it can only be amended."""
    with open_records() as book:
        signed = book.sign(kind, number, by)
    show_signed(signed, as_json)


@records.command()
def amend(
    kind: Kind,
    number: Number,
    file: Changes,
    by: By,
    because: Annotated[str, option("TEXT", "Why it is amended.")],
    as_json: Json = False,
) -> None:
    """Amend what is signed: a new signed version, beside the old one."""
    fields = read_fields(file)
    with open_records() as book:
        now = book.current(kind, number).record
        if isinstance(now, VisitRecord):
            changed: Any = replace(now, visit=changed_by(now.visit, fields, file))
        else:
            changed = changed_by(now, fields, file)
        signed = book.amend(kind, number, changed, by, because)
    show_signed(signed, as_json)


@records.command()
def search(
    text: Annotated[list[str], typer.Argument(metavar="WORD...", help="Words or beginnings of words, all of them.")],
    as_json: Json = False,
) -> None:
    """Find clients, sites, visits and treatments by their words."""
    with open_records() as book:
        show_list("found", book.search(" ".join(text)), as_json)


@records.command()
def due(
    day: Day = None,
    site: Annotated[int | None, typer.Option(min=1, help="Add a follow-up at this site.")] = None,
    add: Annotated[str, option("WHAT", "What to check; --day says when.")] = "",
    done: Annotated[int | None, typer.Option(min=1, help="This one was done; --day says when.")] = None,
    as_json: Json = False,
) -> None:
    """Show what is overdue on a day, and treatments still to be signed; or add or finish something."""
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
        waiting = book.unsigned(datetime.combine(on, time.max) if day else None)
    lines = [f"{one.due}  {one.id}  site {one.site}: {one.what}" for one in overdue]
    for one in waiting:
        late = ", and late" if one.late else ""
        lines.append(f"treatment {one.treatment.id} is not signed{late}: by {one.write_up_by}")
    found = {"overdue": [plain(one) for one in overdue], "unsigned": [plain(one) for one in waiting]}
    answer(as_json, found, "\n".join(lines) or "nothing is due")


@records.command()
def check(as_json: Json = False) -> None:
    """Look through the records and the chain of what is signed; exit status 1 where something is wrong."""
    with open_records() as book:
        found = check_records(book)
    counts = f"{found.visits} visits, {found.treatments} treatments, {found.signed} signed rows, {found.photos} photos"
    text = "\n".join([*found.faults, f"{counts}: {'nothing was altered' if found.sound else 'see above'}"])
    answer(as_json, {"sound": found.sound, **plain(found)}, text)
    if not found.sound:
        raise typer.Exit(1)
