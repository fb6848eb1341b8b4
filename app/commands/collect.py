"""The commands of `swardkey collect`: the user's own labelled photos."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from app.commands.json_output import print_json
from app.services.collection import labeller, open_all
from app.services.progress import bar
from model.errors import CollectionError

if TYPE_CHECKING:
    from training.collection import Intake, Outcome, Refusal

MOST_SHOWN = 40  # rows of a table in the terminal; --json gives all

collect = typer.Typer(no_args_is_help=True, help="Keep your own labelled photos, from which the photo model learns.")

Folder = Annotated[Path | None, typer.Option("--collection", metavar="DIR", help="The collection; otherwise your own.")]
By = Annotated[str, typer.Option("--by", metavar="NAME", help="Who labels; otherwise your name on this machine.")]
Json = Annotated[bool, typer.Option("--json", help="Print one JSON object and nothing else.")]
Photo = Annotated[str, typer.Argument(metavar="PHOTO", help="A photo's name in the collection, or its first digits.")]


@collect.command("add")
def add(
    source: Annotated[
        Path, typer.Argument(metavar="SOURCE", help="Folder of folders, CSV, zip or Darwin Core archive.")
    ],
    accept_new: Annotated[bool, typer.Option("--accept-new", help="Unknown names become species of your own.")] = False,
    skip_unknown: Annotated[bool, typer.Option("--skip-unknown", help="Leave out photos of unknown names.")] = False,
    as_name: Annotated[str, typer.Option("--as", metavar="SPECIES", help="The species of every photo.")] = "",
    origin: Annotated[str, typer.Option("--source", metavar="TEXT", help="Where the photos come from.")] = "",
    creator: Annotated[str, typer.Option("--creator", metavar="TEXT", help="Who took them.")] = "",
    licence: Annotated[
        list[str] | None,
        typer.Option("--licence", metavar="TEXT", help="Their licence; of a Darwin Core archive, each that is taken."),
    ] = None,
    allow_host: Annotated[
        list[str] | None,
        typer.Option(
            "--allow-host",
            metavar="HOST[:PORT]",
            help="Fetch from this host too: one of a private network, or one that a photo is redirected to.",
        ),
    ] = None,
    by: By = "",
    folder: Folder = None,
    yes: Annotated[bool, typer.Option("--yes", help="Do not ask before adding.")] = False,
    as_json: Json = False,
) -> None:
    """Add photos under the species that their folders, rows or occurrences name.

    A name that is not in the key, or that several plants share, is listed and nothing is added.
    """
    from training.collection import Wishes, open_source, plan_intake

    if accept_new and skip_unknown:
        raise CollectionError("--accept-new and --skip-unknown exclude each other; give one")
    collection, names, _ = open_all(folder)
    wishes = Wishes(origin, creator, licence or (), allow_host or (), as_name)
    offered = open_source(source, wishes, lambda name: names.look_up(name) is not None)
    with bar("looking", None, as_json) as progress:
        plan = plan_intake(
            offered,
            names,
            collection,
            labeller(by),
            accept_new=accept_new,
            skip_unknown=skip_unknown,
            progress=progress,
        )
    if not plan.acceptable:
        show_plan(plan, as_json)
        raise CollectionError(plan.obstacle)
    photos = sum(tally.photos for tally in plan.to_add.values())
    if not as_json:
        show_plan(plan, as_json)
    if photos and not yes and not as_json and sys.stdin.isatty():
        typer.confirm("Add them?", abort=True)
    with bar("adding", photos + plan.known_already + len(plan.refused) + plan.refused_more, as_json) as progress:
        outcome = collection.add(plan, progress)
    show_outcome(outcome, plan, as_json)
    complain(source, outcome)


def complain(source: Path, outcome: Outcome) -> None:
    """End with exit status 2 where there was nothing to add, or photos are left for another run."""
    refused = len(outcome.refused) + outcome.refused_more
    if outcome.stopped:
        raise CollectionError(f"{outcome.stopped}; {outcome.left} left to fetch: run the same command again later")
    if outcome.added or outcome.known_already:
        return
    if refused:
        first = outcome.refused[0]
        raise CollectionError(f"{source}: nothing was added: {refused} refused, the first {first.file}: {first.why}")
    if not outcome.unknown_names:
        raise CollectionError(f"{source}: holds no photos; name a folder whose folders are named after species")


@collect.command("list")
def list_photos(
    each: Annotated[bool, typer.Option("--photos", help="Name every photo too.")] = False,
    folder: Folder = None,
    as_json: Json = False,
) -> None:
    """Say what the collection holds: photos, groups and readable files of each species."""
    collection, _, flora = open_all(folder)
    plants: dict[str, Any] = {**collection.own_species(), **flora.species}
    rows: dict[str, dict[str, Any]] = {}
    groups: dict[str, set[str]] = {}
    photos = collection.photos()
    for photo in photos:
        row = rows.setdefault(photo.label, {"photos": 0, "groups": 0, "readable": 0})
        row["photos"] += 1
        row["readable"] += is_whole(photo.file)
        groups.setdefault(photo.label, set()).add(photo.group)
    for label, row in rows.items():
        row["groups"] = len(groups[label])
        row["common_name"] = plants[label].common_name if label in plants else None
        row["own"] = label not in flora.species and label in plants
    found = {
        "collection": str(collection.folder),
        "photos": len(photos),
        "species": dict(sorted(rows.items())),
        "removed": collection.removed(),
        "without_row": [str(path) for path in collection.orphans()],
        "notes": collection.notes,
    }
    if each:
        found["names"] = [
            {"photo": p.name, "species": p.label, "group": p.group if p.group_known else ""} for p in photos
        ]
    if as_json:
        print_json(found)
    else:
        show_list(found)


@collect.command("relabel")
def relabel(
    photo: Photo,
    species: Annotated[str, typer.Argument(metavar="SPECIES", help="Its right species, by any of its names.")],
    by: By = "",
    folder: Folder = None,
    as_json: Json = False,
) -> None:
    """Give a photo another label; its history keeps the old one."""
    collection, names, _ = open_all(folder)
    found = names.look_up(species)
    if isinstance(found, list):
        raise CollectionError(f"{species}: may be {' or '.join(found)}; name one of them")
    if found is None:
        raise CollectionError(f"{species}: not in the key, nor a species of your own; check the spelling")
    row = collection.relabel(photo, found, labeller(by))
    say({"photo": row.photo, "species": row.species}, f"{row.photo} is {row.species} now", as_json)


@collect.command("remove")
def remove(photo: Photo, by: By = "", folder: Folder = None, as_json: Json = False) -> None:
    """Take a photo back: nothing is learned from it any more."""
    collection, _, _ = open_all(folder)
    row = collection.remove(photo, labeller(by))
    say({"photo": row.photo, "removed": True}, f"{row.photo} ({row.species}) is taken back", as_json)


def is_whole(file: Path) -> bool:
    """Whether a stored photo is there from its first to its last byte."""
    try:
        with file.open("rb") as data:
            begins = data.read(3) == b"\xff\xd8\xff"
            data.seek(-2, 2)
            return begins and data.read(2) == b"\xff\xd9"
    except OSError:
        return False


def show_plan(plan: Intake, as_json: bool) -> None:
    """Print a plan; with --json only one that cannot be applied comes here."""
    if as_json:
        print_json(as_object(0, plan.known_already, plan.refused, plan.refused_more, plan, {}))
        return
    lines = str(plan).splitlines()
    print("\n".join(lines[:MOST_SHOWN]))
    if len(lines) > MOST_SHOWN:
        print(f"  and {len(lines) - MOST_SHOWN} lines more (--json gives all)")


def show_outcome(outcome: Outcome, plan: Intake, as_json: bool) -> None:
    """Print what was added, and a table of what was refused."""
    if as_json:
        counts = (outcome.added, outcome.known_already, outcome.refused, outcome.refused_more)
        found = as_object(*counts, plan, dict(outcome.species))
        print_json({**found, "left": outcome.left, "notes": list(outcome.notes)})
        return
    from model.text import counted

    print(f"{counted(outcome.added, 'photo')} added, {outcome.known_already} in the collection already")
    for note in outcome.notes:
        print(note)
    if outcome.refused:
        print_table(("file", "why it was refused"), [(one.file, one.why) for one in outcome.refused[:MOST_SHOWN]])
    more = len(outcome.refused[MOST_SHOWN:]) + outcome.refused_more
    if more:
        print(f"and {more} more")


def as_object(
    added: int, known: int, refused: tuple[Refusal, ...], more: int, plan: Intake, species: dict[str, int]
) -> dict[str, Any]:
    """The object that `collect add --json` prints; ``species`` counts the photos that this run added."""
    return {
        "added": added,
        "known_already": known,
        "refused": [{"file": one.file, "why": one.why} for one in refused],
        "refused_more": more,
        "unknown_names": list(plan.unknown_names),
        "ambiguous": {name: list(candidates) for name, candidates in plan.ambiguous.items()},
        "species": species,
        "hosts": dict(plan.hosts),
    }


def show_list(found: dict[str, Any]) -> None:
    """The collection as a table."""
    from model.text import counted

    rows = [
        (label, row["common_name"] or "", str(row["photos"]), str(row["groups"]), str(row["readable"]))
        for label, row in found["species"].items()
    ]
    print(f"{found['collection']}: {counted(found['photos'], 'photo')} of {len(rows)} species")
    if rows:
        print_table(("species", "name", "photos", "groups", "readable"), rows)
    if names := found.get("names"):
        print_table(("photo", "species", "group"), [(n["photo"][3:15], n["species"], n["group"]) for n in names])
    if found["removed"]:
        print(f"{counted(found['removed'], 'photo')} taken back; the files are kept")
    if found["without_row"]:
        print(f"{counted(len(found['without_row']), 'file')} without a row: left by an interrupted run, harmless")
    for note in found["notes"]:
        print(note)


def print_table(columns: tuple[str, ...], rows: Sequence[tuple[str, ...]]) -> None:
    """A plain table; nothing in it is taken for markup."""
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    table = Table(box=None, pad_edge=False)
    for column in columns:
        table.add_column(column, overflow="fold")
    for row in rows:
        table.add_row(*(Text(cell) for cell in row))
    Console(highlight=False).print(table)


def say(found: dict[str, Any], sentence: str, as_json: bool) -> None:
    """One object, or one sentence."""
    if as_json:
        print_json(found)
    else:
        print(sentence)
