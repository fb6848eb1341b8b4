"""The commands of `swardkey records`: clients, sites, visits and treatments, signed, amended and found again."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Annotated, Any, Literal, get_args

import typer

from app.commands.json_output import Json, answer
from app.commands.options import LAWN, Day, Near, State, option, parsed
from app.commands.plain_help import Commands
from app.commands.read_records import Number, check, due, search, show
from app.commands.sign_records import Changes, Kind, amend, sign
from app.present.show_records import client_line, show_added, show_list, show_treatment, site_line, visit_line
from app.records import Client, RecordsError, Site, Treatment, Visit, open_records
from app.records.fields import State as StateName
from app.records.yaml_fields import blank_sheet, changed_by, read_fields
from app.services.choices import AREA_UNITS, near_of, number_in, one_of, state_of
from app.services.own_details import own_state
from app.services.site_lawn import lawn_of_site

records = Commands(help="Keep clients, sites, visits and spray records; sign and amend them.")
Notes = Annotated[str | None, option("TEXT", "Anything else about it.")]
OfBook = Annotated[Literal["client", "site"], typer.Argument(metavar="KIND", help="client or site.")]
Into = Annotated[int, typer.Option("--into", metavar="NUMBER", min=1, help="The entry that stays.")]
Edit = Annotated[int | None, typer.Option("--edit", metavar="NUMBER", min=1, help="Edit this one.")]


@records.command()
def clients(
    add: Annotated[str, option("NAME", "Add a client of this name.")] = "",
    edit: Edit = None,
    name: Annotated[str | None, option("NAME", "With --edit: the new name.")] = None,
    phone: Annotated[str | None, option("TEXT", "The client's phone number.")] = None,
    email: Annotated[str | None, option("TEXT", "The client's email address.")] = None,
    address: Annotated[str | None, option("TEXT", "The client's own address; sites have theirs.")] = None,
    notes: Notes = None,
    as_json: Json = False,
) -> None:
    """List the clients, add one, or edit one: only what is given changes.

    Examples:
        swardkey records clients --add "A. Wattle" --phone 0400000000
        swardkey records clients --edit 1 --email a@example.com
    """
    details = {"name": name, "phone": phone, "email": email, "address": address, "notes": notes}
    given: Any = {what: text for what, text in details.items() if text is not None}
    with open_records() as book:
        if add:
            show_added("client", book.add_client(Client(**{"name": add, **given})), as_json)
        elif edit is not None:
            show_added("client", book.change_client(replace(book.client(edit), **given)), as_json, "is changed")
        else:
            show_list("clients", book.clients(), as_json, client_line)


@records.command()
def sites(
    client: Annotated[
        int | None, typer.Option(metavar="NUMBER", min=1, help="Of this client only, or whose the new one is.")
    ] = None,
    add: Annotated[str, option("ADDRESS", "Add a site at this address.")] = "",
    edit: Edit = None,
    address: Annotated[str | None, option("ADDRESS", "With --edit: the new address.")] = None,
    state: State = None,
    lawn: Annotated[str | None, LAWN] = None,
    near: Near = None,
    area: Annotated[float | None, option("M2", "Area in square metres.", parser=parsed(number_in(*AREA_UNITS)))] = None,
    notes: Notes = None,
    as_json: Json = False,
) -> None:
    """List the sites, add one, or edit one: only what is given changes.

    Examples:
        swardkey records sites --client 1 --add "1 High St" --lawn buffalo --near pets --area 120
    """
    details = {"client": client, "address": address, "state": state, "area_m2": area, "notes": notes}
    given: Any = {what: value for what, value in details.items() if value is not None}
    given |= lawn_of_site(lawn, notes or "") if lawn else {}
    given |= {"near": near_of(near)} if near else {}
    with open_records() as book:
        if add:
            if client is None:
                raise RecordsError(
                    "the client of the new site was not given; give --client NUMBER, see records clients"
                )
            started = {"address": add, "state": own_state() or ""}
            show_added("site", book.add_site(Site(**{**started, **given})), as_json)
        elif edit is not None:
            show_added("site", book.change_site(replace(book.site(edit), **given)), as_json, "is changed")
        else:
            names = {one.id: one.name for one in book.clients()}
            show_list("sites", book.sites(client), as_json, lambda site: site_line(site, names))


@records.command()
def merge(kind: OfBook, number: Number, into: Into, as_json: Json = False) -> None:
    """Put a client or site that is in the book twice into the other entry; the first one goes."""
    with open_records() as book:
        show_added(kind, book.merging.merge(kind, number, into), as_json, f"now holds all of {kind} {number}")


@records.command()
def remove(kind: OfBook, number: Number, as_json: Json = False) -> None:
    """Remove a client without sites, or a site without visits, follow-ups and groups used."""
    with open_records() as book:
        show_added(kind, book.merging.remove(kind, number), as_json, "is removed")


@records.command()
def visits(
    site: Annotated[
        int | None, typer.Option(metavar="NUMBER", min=1, help="To this site only, or the site of the new one.")
    ] = None,
    add: Annotated[str, option("WHO", "Add a visit by this person.")] = "",
    day: Day = None,
    purpose: Annotated[str, option("TEXT", "What the visit is for.")] = "",
    notes: Annotated[str, option("TEXT", "Anything else about it.")] = "",
    as_json: Json = False,
) -> None:
    """List the visits, newest first, or add one.

    Examples:
        swardkey records visits --site 1 --add Kim --purpose "weeds in the lawn"
    """
    with open_records() as book:
        if not add:
            show_list("visits", book.visits(site), as_json, visit_line)
            return
        if site is None:
            raise RecordsError("the site of the new visit was not given; give --site NUMBER, see records sites")
        show_added("visit", book.add_visit(Visit(site, day or date.today(), add, purpose, notes)), as_json)


@records.command()
def treat(
    visit: Annotated[int | None, typer.Argument(metavar="VISIT", min=1, help="The number of the visit.")] = None,
    file: Annotated[Path | None, typer.Argument(metavar="FILE", help="YAML file of what was done.")] = None,
    blank: Annotated[
        str | None,
        option("STATE", "Print a file to fill in, with what this state asks for.", "--blank", parser=state_of),
    ] = None,
    as_json: Json = False,
) -> None:
    """Add a treatment from a file; site, client and business are filled in where the file does not name them.

    Examples:
        swardkey records treat --blank NSW > done.yaml     (a file to fill in)
        swardkey records treat 1 done.yaml
    """
    if blank is not None:
        text = blank_sheet(one_of("--blank", blank, get_args(StateName)[1:]))
        # As it is, since it goes into a file.
        answer(as_json, {"state": blank, "sheet": text}, lambda: print(text, end=""))
        return
    if visit is None or file is None:
        raise RecordsError("give the number of the visit and a file of what was done; --blank NSW > FILE makes a file")
    fields = read_fields(file)
    with open_records() as book:
        kept = book.add_treatment(changed_by(book.new_treatment(visit), fields, file))
        show_treatment(kept, as_json, book.asked(kept.id))


@records.command()
def change(kind: Kind, number: Number, file: Changes, as_json: Json = False) -> None:
    """Change a visit or treatment that is not signed."""
    fields = read_fields(file)
    with open_records() as book:
        now = book.current(kind, number).record
        if isinstance(now, Treatment):
            kept = book.change_treatment(changed_by(now, fields, file))
            show_treatment(kept, as_json, book.asked(kept.id))
        else:
            show_added("visit", book.change_visit(changed_by(now.visit, fields, file)), as_json, "is changed")


for _command in (sign, amend, show, search, due, check):
    records.command()(_command)
