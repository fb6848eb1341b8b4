"""The commands `models share` and `models join`: what was learned, shared without photos, and taken out again."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from app.commands.json_output import Json, answer
from app.commands.options import CollectionFolder, option
from app.commands.terminal import is_interactive, on_interrupt, print_lines, print_table, progress_of_stages
from app.services import sharing
from app.services.activation import override_of
from model.errors import ModelError

if TYPE_CHECKING:
    from training.gate import Promotion

JOIN_STOPPED = "the active model is as it was; run the same command again"
COLUMNS = ("from", "species", "photos", "plants or visits", "")


def share(
    out: Annotated[Path, typer.Argument(metavar="FILE", help="The new file to write.")],
    species: Annotated[
        list[str] | None, option("SPECIES", "Only this species; repeatable. Otherwise all with enough photos.")
    ] = None,
    by: Annotated[str, option("NAME", "Who gives it, as others will see it.")] = "",
    licence: Annotated[str, option("LICENCE", "CC0, CC BY or CC BY-SA.")] = "CC0",
    note: Annotated[str, option("TEXT", "A sentence to those who join it.")] = "",
    folder: CollectionFolder = None,
    as_json: Json = False,
) -> None:
    """Write what can be learned from your own photos to a file for others, without any photo.

    It holds counts and averages by species, and no photo, place or client. A species needs 5 photos of 3 plants or
    visits.

    Examples:
        swardkey models share learned.swardkey --by "Wattle Lawns"
    """
    stopped = "no file was written; run the same command again"
    with on_interrupt(stopped), progress_of_stages(as_json) as progress:
        header = sharing.share_statistics(
            out, species or [], giver=by, licence=licence, note=note, folder=folder, progress=progress
        )

    def print_shared() -> None:
        rows = [(name, str(given.photos), str(given.groups)) for name, given in header.species.items()]
        print_table(COLUMNS[1:4], rows, numbers=COLUMNS[2:4])
        print_lines(f"{out}: given by {header.giver} under {header.licence}; no photo, place or client is in it")

    answer(as_json, {"file": str(out), **header.model_dump(mode="json")}, print_shared)


def join(
    files: Annotated[list[Path] | None, typer.Argument(metavar="FILE...", help="Files made by models share.")] = None,
    without: Annotated[list[str] | None, option("NAME", "Take out what this giver gave; repeatable.")] = None,
    by: Annotated[str, option("NAME", "Who joins them where the photos cannot tell.")] = "",
    because: Annotated[str, option("REASON", "Why; it is logged.")] = "",
    folder: CollectionFolder = None,
    dry_run: Annotated[bool, typer.Option("--dry-run", help="Only say what would come in.")] = False,
    yes: Annotated[bool, typer.Option("--yes", help="Do not ask before joining.")] = False,
    as_json: Json = False,
) -> None:
    """Add what others learned to the active model, if it is then no worse on your own held-out photos.

    What comes in is shown first; a species that does not fit what your model knows of it is left out. With --without,
    what a giver gave is taken out again, as if it had never come in. Later trainings keep what was joined.
    """
    if bool(files) == bool(without):
        raise ModelError("name files to join, or with --without the giver whose file is to go; one of the two")
    if without:
        with on_interrupt(JOIN_STOPPED):
            found = sharing.take_out(without)
        answer(as_json, {"in_charge": found.name, "without": without}, f"{found.name} is active now, without it")
        return
    override = override_of(by, because)
    with on_interrupt(JOIN_STOPPED), progress_of_stages(as_json) as progress:
        plan = sharing.plan_join(files or [], folder, progress)
    if not as_json:
        print_table(COLUMNS, plan.rows(), numbers=COLUMNS[2:4])
        print_lines(*(f"replaces what {name} gave before" for name in plan.replaced))
    if dry_run:
        answer(as_json, plan.as_json(), "nothing was changed")
        return
    if not as_json and not yes and is_interactive():
        typer.confirm("Join them?", abort=True)
    with on_interrupt(JOIN_STOPPED):
        done = sharing.carry_out_join(plan, override)
    result = {
        "changed": done.changed,
        "in_charge": done.in_charge,
        "verdict": done.verdict.as_json(),
        "says": done.says,
    }
    answer(as_json, {**plan.as_json(), **result}, lambda: print_joined(done))


def print_joined(done: Promotion) -> None:
    """Print the verdict, and how to go on where it cannot tell."""
    print_lines(str(done.verdict))
    print_lines(done.says, style="bold")
    if done.verdict.decision == "cannot_tell" and not done.changed:
        print_lines("To join them all the same, run it again with --by NAME --because REASON.")
