"""The commands of `swardkey models`, and `swardkey measure`: which photo model is active, and how good it is."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from app.commands.json_output import Json, answer
from app.commands.options import option
from app.commands.plain_help import Commands
from app.commands.share_models import join, share
from app.commands.terminal import on_interrupt, print_lines, print_table, progress_of_stages
from app.services.activation import activate
from app.services.home import registry
from model.errors import CollectionError

if TYPE_CHECKING:
    from app.services.measuring import Measurement
    from training.registry.models import InCharge, Installed

models = Commands(help="Your own photo models: list them, activate one, or go back.")
Name = Annotated[
    str, typer.Argument(metavar="NAME", help="A name from swardkey models list; starter is the shipped one.")
]

MEASURE_STOPPED = "the photos looked at so far need not be looked at again; run the same command to go on"

models.command("share")(share)
models.command("join")(join)


@models.callback(invoke_without_command=True)
def without_a_command(context: typer.Context, as_json: Json = False) -> None:
    """Your own photo models: list them, activate one, or go back."""
    if context.invoked_subcommand is None:
        list_models(as_json)


@models.command("list")
def list_models(as_json: Json = False) -> None:
    """List the models, the shipped one first, and say which is active."""
    kept = registry()
    found, active = kept.installed(), kept.in_charge()
    entries = [vars(model) for model in found]
    answer(
        as_json,
        {"in_charge": active.name, "note": active.note or None, "models": entries},
        lambda: print_models(found, active),
    )


def print_models(found: tuple[Installed, ...], active: InCharge) -> None:
    """Print the models as a table, with the role of each."""
    rows = []
    for model in found:
        roles = {
            "active": model.name == active.name,
            "chosen": model.in_charge and model.name != active.name,
            "before": model.previous,
            "pinned": model.pinned,
            "turned down": model.turned_down,
        }
        named = ", ".join(role for role, holds in roles.items() if holds)
        rows.append((model.name, str(model.species or "-"), named, model.fault or "sound"))
    print_table(("model", "species", "", "files"), rows, numbers=("species",))
    if active.note:
        print_lines(active.note)


@models.command("use")
def use(
    name: Name,
    by: Annotated[str, option("NAME", "Who activates a model that was turned down when it was trained.")] = "",
    because: Annotated[str, option("REASON", "Why; it is logged.")] = "",
    as_json: Json = False,
) -> None:
    """Activate a model. Its files are checked first."""
    before = registry().in_charge().name
    print_active(activate(name, by, because), before, as_json)


@models.command("undo")
def undo(as_json: Json = False) -> None:
    """Revert to the previous model; run it twice to end where you began."""
    kept = registry()
    before = kept.in_charge().name
    print_active(kept.undo(), before, as_json)


@models.command("pin")
def pin(
    name: Name, off: Annotated[bool, typer.Option("--off", help="Unpin it.")] = False, as_json: Json = False
) -> None:
    """Keep a model for good; others go when there are more than five newer ones."""
    registry().pin(name, not off)
    answer(as_json, {"model": name, "pinned": not off}, f"{name} is {'no longer pinned' if off else 'pinned'}")


def print_active(active: InCharge, before: str, as_json: bool) -> None:
    """Print which model is active now, and which was."""
    same = active.name == before
    change = "active already" if same else f"active now, instead of {before}; swardkey models undo reverts it"
    answer(as_json, {"in_charge": active.name, "before": before}, f"{active.name} is {change}")


def measure(
    folder: Annotated[
        Path, typer.Argument(metavar="FOLDER", help="Photos in folders named after species, or a manifest.csv.")
    ],
    page: Annotated[Path | None, option("OUT.html", "Write a page with figures and the worst errors.")] = None,
    name: Annotated[str, option("NAME", "A model from swardkey models list; else the active one.", "--model")] = "",
    held_out: Annotated[
        bool, typer.Option("--held-out", help="Only groups that the model's own recipe held out.")
    ] = False,
    as_json: Json = False,
) -> None:
    """Measure a photo model on labelled photos that it has not learned from.

    Species that the model does not know count as other plants and are marked.
    """
    if page is not None and (page.is_dir() or not page.absolute().parent.is_dir()):
        raise CollectionError(f"{page}: cannot be written; name a file in a folder that is there")
    with on_interrupt(MEASURE_STOPPED), progress_of_stages(quiet=False) as progress:
        from app.services.measuring import measure_photos  # only here: `models` needs none of its libraries

        found = measure_photos(folder, name, held_out, lambda done, of: progress("looking", done, of))
    sys.stderr.write("".join(f"{note}\n" for note in found.notes))
    if page is not None:
        found.write_page(page)
        sys.stderr.write(f"the page is {page}\n")
    answer(as_json, found.measured.as_json(), lambda: print_accuracy(found))


def print_accuracy(found: Measurement) -> None:
    """Print how often a model is right, over all and by species."""
    m, sets = found.measured.figures, found.measured.sets
    print_lines(f"{found.measured.model} on {m.photos} photos in {m.groups} groups", style="bold")
    print_lines(
        f"first choice right {m.top1:.1%}, class by class {m.balanced_top1:.1%}, in the first three {m.top3:.1%}; "
        f"{m.nll:.3f} nats; calibration error {m.ece:.3f} (a perfect model would stay under {m.ece_null:.3f})"
    )
    if sets is not None:
        print_lines(
            f"sets hold the right name {sets.coverage:.1%} of the time (chance explains {sets.low:.1%} to "
            f"{sets.high:.1%}), {sets.mean_size:.2f} names each"
        )
    rows = []
    for row in found.measured.by_species:
        plant = found.plant_names.get(row.species, "other plants") + ("" if row.known else " (not known to the model)")
        rows.append((plant, str(row.photos), f"{row.recall:.1%}", f"{row.low:.1%} to {row.high:.1%}"))
    columns = ("species", "photos", "right", "95 % interval")
    print_table(columns, rows, numbers=columns[1:])
