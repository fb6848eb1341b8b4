"""The commands `collect open` and `collect credits`: open photos from an archive, and whom to credit for them."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import Annotated, Any

import typer

from app.commands.addition import addition, check_outcome, print_outcome
from app.commands.json_output import Json, answer
from app.commands.options import CollectionFolder, option
from app.commands.terminal import is_interactive, on_interrupt, print_table, progress_bar, say
from app.services.open_photos import (
    countries_of,
    credits_due,
    kinds_of_licence,
    plan_open_addition,
    plan_open_photos,
    species_wanted,
    write_credits,
)
from model.errors import CollectionError

COLUMNS = ("species", "creator", "licence", "source")  # of the table in the terminal
By = Annotated[str, option("NAME", "Who adds them; default your name on this machine.", "--by")]


def open_photos(
    species: Annotated[list[str] | None, typer.Argument(metavar="SPECIES...", help="By any of their names.")] = None,
    every: Annotated[bool, typer.Option("--all", help="Every plant on file.")] = False,
    kind: Annotated[str, option("KIND", "Every plant of a kind of weed, such as winter_annual_grass.")] = "",
    each: Annotated[int, option("N", "Photos of each species, at most.", min=1, max=1000)] = 60,
    licence: Annotated[str, option("LIST", "Licences to accept.")] = "cc0,by,by-sa",
    country: Annotated[str, option("LIST", "Only from these countries, such as AU,NZ.")] = "",
    allow_host: Annotated[
        list[str] | None, option("HOST[:PORT]", "Fetch from this host of a private network too; repeatable.")
    ] = None,
    by: By = "",
    folder: CollectionFolder = None,
    dry_run: Annotated[bool, typer.Option("--dry-run", help="Only show what would be fetched.")] = False,
    yes: Annotated[bool, typer.Option("--yes", help="Do not ask before fetching.")] = False,
    as_json: Json = False,
) -> None:
    """Fetch open photos of weeds from GBIF into the collection, with their licences and who to credit.

    Each picture is judged by its own licence. After an interruption run it again: nothing is fetched twice.

    Examples:
        swardkey collect open bindii "winter grass" --each 40
    """
    with on_interrupt("nothing was fetched yet; run the same command again"):
        names, kinds = species_wanted(species or [], every, kind, folder), kinds_of_licence(licence)
        with progress_bar("asking", len(names), as_json) as progress:
            plan = plan_open_photos(names, each, kinds, countries_of(country), progress)
        if dry_run or not plan.photos:
            answer(as_json, {"plan": plan.as_json()}, str(plan))
            if not plan.photos:
                raise CollectionError("no open photo was found; ask for more licences, or from more countries")
            return
        if not as_json:
            say(*str(plan).splitlines())
            if not yes and is_interactive():
                typer.confirm("Fetch them?", abort=True)
        collection, intake = plan_open_addition(plan, by, folder, allow_host or ())
    stopped = "the photos fetched so far are kept; run the same command again for the others, none is fetched twice"
    with on_interrupt(stopped), progress_bar("fetching", len(plan.photos), as_json) as progress:
        outcome = collection.add(intake, progress)
    answer(as_json, {"plan": plan.as_json(), **addition(intake, outcome)}, lambda: print_outcome(outcome))
    check_outcome(Path("open photos"), outcome)


def credits_of_photos(
    out: Annotated[Path | None, option("FILE", "Write them to a .csv or .md file.")] = None,
    folder: CollectionFolder = None,
    as_json: Json = False,
) -> None:
    """Show who to credit for the photos in the collection, and under which licences."""
    credited = credits_due(folder)
    data: dict[str, Any] = {"credits": [asdict(one) for one in credited]}
    if out is None:
        answer(as_json, data, lambda: print_table(COLUMNS, [one.cells[1:] for one in credited]))
        return
    write_credits(out, credited)
    answer(as_json, data | {"file": str(out)}, f"{out}: {len(credited)} photos")
