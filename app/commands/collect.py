"""The commands of `swardkey collect`: the user's own labelled photos."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer

from app.commands.addition import addition, check_outcome, plan_text, print_outcome
from app.commands.check_photos import check
from app.commands.collect_open import credits_of_photos, open_photos
from app.commands.json_output import Json, answer
from app.commands.options import CollectionFolder, option
from app.commands.plain_help import Commands
from app.commands.terminal import is_interactive, on_interrupt, print_table, progress_bar, say
from app.services.collection import contents, labeller, open_all, plan_addition
from app.services.collection import relabel as relabel_photo
from model.errors import CollectionError
from model.text import counted

STOPPED = "the photos added so far are kept; run the same command again for the others, none is added twice"
collect = Commands(help="Keep your own labelled photos, from which the photo model learns.")
collect.command("check")(check)
collect.command("open")(open_photos)
collect.command("credits")(credits_of_photos)

By = Annotated[str, option("NAME", "Who labels; default your name on this machine.", "--by")]
Photo = Annotated[str, typer.Argument(metavar="PHOTO", help="A photo's name in the collection, or its first digits.")]


@collect.command("add")
def add(
    source: Annotated[
        Path, typer.Argument(metavar="SOURCE", help="Folder of folders, CSV, zip or Darwin Core archive.")
    ],
    accept_new: Annotated[bool, typer.Option("--accept-new", help="Unknown names become species of your own.")] = False,
    new: Annotated[
        list[str] | None,
        option("NAME", "Make this name a species of your own, although it is near a known one; repeatable."),
    ] = None,
    skip_unknown: Annotated[bool, typer.Option("--skip-unknown", help="Leave out photos of unknown names.")] = False,
    as_name: Annotated[str, option("SPECIES", "The species of every photo.", "--as")] = "",
    origin: Annotated[str, option("TEXT", "Where the photos come from.", "--source")] = "",
    creator: Annotated[str, option("TEXT", "Who took them.")] = "",
    licence: Annotated[
        list[str] | None, option("TEXT", "Their licence; of an archive, each licence to accept.")
    ] = None,
    allow_host: Annotated[
        list[str] | None,
        option("HOST[:PORT]", "Also fetch from this host, on a private network or one that a photo redirects to."),
    ] = None,
    by: By = "",
    folder: CollectionFolder = None,
    yes: Annotated[bool, typer.Option("--yes", help="Do not ask before adding.")] = False,
    as_json: Json = False,
) -> None:
    """Add photos under the species that their folders, rows or occurrences name.

    A name that is not in the key, or that several plants share, is listed with its near names, and nothing is added.

    Examples:
        swardkey collect add PHOTOS     (where PHOTOS holds bindii/1.jpg, clover/1.jpg and so on)
        swardkey collect add shots --as bindii --by Kim
    """
    with (
        on_interrupt("nothing was added yet; run the same command again"),
        progress_bar("looking", None, as_json) as progress,
    ):
        collection, plan = plan_addition(
            source, by, folder, as_name=as_name, origin=origin, creator=creator, licence=licence or (),
            allow_host=allow_host or (), accept_new=accept_new, skip_unknown=skip_unknown, new_names=new or (),
            progress=progress,
        )  # fmt: skip
    if not plan.acceptable:
        answer(as_json, addition(plan, None), plan_text(plan))
        raise CollectionError(plan.obstacle)
    photos = sum(tally.photos for tally in plan.to_add.values())
    if not as_json:
        say(*plan_text(plan).splitlines())
        if photos and not yes and is_interactive():
            typer.confirm("Add them?", abort=True)
    with (
        on_interrupt(STOPPED),
        progress_bar(
            "adding", photos + plan.known_already + len(plan.refused) + plan.refused_more, as_json
        ) as progress,
    ):
        outcome = collection.add(plan, progress)
    answer(as_json, addition(plan, outcome), lambda: print_outcome(outcome))
    check_outcome(source, outcome)


@collect.command("list")
def list_photos(
    each: Annotated[bool, typer.Option("--photos", help="Name every photo too.")] = False,
    folder: CollectionFolder = None,
    as_json: Json = False,
) -> None:
    """Show what the collection holds: of each species its photos, its plants or visits (groups) and readable files."""
    found = contents(folder, each)
    answer(as_json, found, lambda: print_contents(found))


@collect.command("relabel")
def relabel(
    photo: Photo,
    species: Annotated[str, typer.Argument(metavar="SPECIES", help="Its right species, by any of its names.")],
    by: By = "",
    folder: CollectionFolder = None,
    as_json: Json = False,
) -> None:
    """Give a photo another label; its history keeps the old one."""
    done = relabel_photo(photo, species, by, folder)
    answer(as_json, done, f"{done['photo']} is {done['species']} now")


@collect.command("remove")
def remove(photo: Photo, by: By = "", folder: CollectionFolder = None, as_json: Json = False) -> None:
    """Remove a photo: nothing more is learned from it."""
    row = open_all(folder)[0].remove(photo, labeller(by))
    answer(as_json, {"photo": row.photo, "removed": True}, f"{row.photo} ({row.species}) is removed")


def print_contents(found: dict[str, Any]) -> None:
    """The collection as a table."""
    species = found["species"]
    say(f"{found['collection']}: {counted(found['photos'], 'photo')} of {len(species)} species")
    if species:
        columns = ("photos", "groups", "readable")
        rows = [[label, row["common_name"] or "", *(str(row[c]) for c in columns)] for label, row in species.items()]
        print_table(("species", "name", *columns), rows)
    if names := found.get("names"):
        print_table(("photo", "species", "group"), [(n["photo"][3:15], n["species"], n["group"]) for n in names])
    if found["removed"]:
        say(f"{counted(found['removed'], 'photo')} removed; the files are kept")
    if found["without_row"]:
        say(f"{counted(len(found['without_row']), 'file')} without a row: left by an interrupted run, harmless")
    for note in found["notes"]:
        say(note)
