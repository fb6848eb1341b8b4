"""The commands of `swardkey models`, and `swardkey measure`: which photo model is in charge, and how good it is."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from app.commands.json_output import print_json
from app.services.home import home, registry
from app.services.progress import bar
from model.errors import CollectionError, ModelError

if TYPE_CHECKING:
    from training.data.manifest import LabelledPhoto
    from training.evaluate import Measured
    from training.registry.models import InCharge

models = typer.Typer(help="Your own photo models: list them, activate one, or go back.")
Json = Annotated[bool, typer.Option("--json", help="Print one JSON object and nothing else.")]
Name = Annotated[
    str, typer.Argument(metavar="NAME", help="A name from swardkey models list; starter is the shipped one.")
]


@models.callback(invoke_without_command=True)
def without_a_command(context: typer.Context, as_json: Json = False) -> None:
    """Your own photo models: list them, activate one, or go back."""
    if context.invoked_subcommand is None:
        list_models(as_json)


@models.command("list")
def list_models(as_json: Json = False) -> None:
    """List the models, the shipped one first, and say which is active."""
    kept = registry()
    found, charge = kept.installed(), kept.in_charge()
    if as_json:
        entries = [vars(model) for model in found]
        print_json({"in_charge": charge.name, "note": charge.note or None, "models": entries})
        return
    from rich.console import Console
    from rich.table import Table

    table = Table(box=None, pad_edge=False)
    for title in ("model", "species", "", "files"):
        table.add_column(title, justify="right" if title == "species" else "left")
    for model in found:
        roles = [
            word
            for word, holds in (
                ("active", model.name == charge.name),
                ("chosen", model.in_charge and model.name != charge.name),
                ("before", model.previous),
                ("pinned", model.pinned),
            )
            if holds
        ]
        species = "-" if model.species is None else str(model.species)
        table.add_row(model.name, species, ", ".join(roles), model.fault or "sound")
    console = Console(highlight=False)
    console.print(table)
    if charge.note:
        console.print(charge.note, markup=False)


@models.command("use")
def use(name: Name, as_json: Json = False) -> None:
    """Activate a model. Its files are checked first."""
    kept = registry()
    before = kept.in_charge().name
    _tell(kept.use(name), before, as_json)


@models.command("undo")
def undo(as_json: Json = False) -> None:
    """Revert to the previous model; run it twice to end where you began."""
    kept = registry()
    before = kept.in_charge().name
    _tell(kept.undo(), before, as_json)


@models.command("pin")
def pin(
    name: Name, off: Annotated[bool, typer.Option("--off", help="Pin no longer.")] = False, as_json: Json = False
) -> None:
    """Keep a model for good; others go when there are more than five newer ones."""
    registry().pin(name, not off)
    if as_json:
        print_json({"model": name, "pinned": not off})
    else:
        sys.stdout.write(f"{name} is {'no longer pinned' if off else 'pinned'}\n")


def _tell(found: InCharge, before: str, as_json: bool) -> None:
    if as_json:
        print_json({"in_charge": found.name, "before": before})
    elif found.name == before:
        sys.stdout.write(f"{found.name} is active already\n")
    else:
        sys.stdout.write(f"{found.name} is active now, instead of {before}; swardkey models undo takes it back\n")


def measure(
    folder: Annotated[
        Path, typer.Argument(metavar="FOLDER", help="Photos in folders named after species, or a manifest.csv.")
    ],
    page: Annotated[
        Path | None, typer.Option("--page", metavar="OUT.html", help="Write a page with figures and the worst errors.")
    ] = None,
    name: Annotated[
        str, typer.Option("--model", metavar="NAME", help="A model from swardkey models list; else the active one.")
    ] = "",
    held_out: Annotated[
        bool, typer.Option("--held-out", help="Only groups that the model's own recipe deals to the held-out part.")
    ] = False,
    as_json: Json = False,
) -> None:
    """Measure a photo model on labelled photos that it has not learned from.

    Species that the model does not know count as other plants and are marked.
    """
    from app.services.collection import open_all
    from training.data.labelled import read_labelled

    if page is not None and (page.is_dir() or not page.absolute().parent.is_dir()):
        raise CollectionError(f"{page}: cannot be written; name a file in a folder that is there")
    collection, names, flora = open_all(None)
    plants: dict[str, Any] = {**collection.own_species(), **flora.species}
    plant_names = {species: plant.common_names[0] for species, plant in plants.items()}
    photos = read_labelled(folder, names, {**plant_names, **{word: word for word in plant_names.values()}})
    found = _measured(photos, folder, name, held_out)
    if page is not None:
        from training.evaluate.report_page import write_page

        try:
            write_page(page, found, plant_names)
        except OSError as error:
            raise CollectionError(f"{page}: cannot be written ({error.strerror}); name another file") from None
        _say(f"the page is {page}")
    if as_json:
        print_json(found.as_json())
    else:
        _print_accuracy(found, plant_names)


def _measured(photos: list[LabelledPhoto], folder: Path, name: str, held_out: bool) -> Measured:
    from model.photo.tuned import extractor_for, read_classifier
    from training.data.features import features_of
    from training.evaluate import measure_model

    kept = registry()
    if name:
        found = kept.named(name)
        classifier = read_classifier(found.folder)
    else:
        classifier, found = kept.load(read_classifier)
    if found.note:
        _say(found.note)
    if held_out:
        photos = _held_out(photos, found.folder)
        if not photos:
            raise CollectionError(f"{folder}: no photo lies in the held-out part; leave --held-out away")
    with bar("looking", len(photos), False) as progress:
        extractor, cache = extractor_for(classifier), home() / "cache" / "features.safetensors"
        x, notes = features_of(photos, cache, lambda done, of: progress(done), extractor)
    for note in filter(None, notes):
        _say(f"left out: {note}")
    readable = [i for i, note in enumerate(notes) if not note]
    if not readable:
        raise CollectionError(f"{folder}: none of its {len(photos)} photos can be read; the first: {notes[0]}")
    return measure_model(found.name, found.folder, classifier, [photos[i] for i in readable], x[readable])


def _held_out(photos: list[LabelledPhoto], folder: Path) -> list[LabelledPhoto]:
    """The photos whose group the recipe saved with a model deals to the held-out part."""
    import json

    from training.data.split import part_of

    path = folder / "recipe.json"
    try:
        recipe = json.loads(path.read_bytes())["recipe"]
        shares, seed = {str(part): float(share) for part, share in recipe["shares"].items()}, int(recipe["seed"])
    except (OSError, ValueError, KeyError, TypeError, AttributeError, RecursionError):
        raise ModelError(f"{path}: does not tell how photos were split; leave --held-out away") from None
    return [photo for photo in photos if part_of(photo.group, shares, seed) == "held_out"]


def _print_accuracy(found: Measured, plant_names: dict[str, str]) -> None:
    from rich.console import Console
    from rich.table import Table

    m, console = found.figures, Console(highlight=False)
    console.print(f"{found.model} on {m.photos} photos in {m.groups} groups", style="bold", markup=False)
    console.print(
        f"first choice right {m.top1:.1%}, class by class {m.balanced_top1:.1%}, in the first three {m.top3:.1%}; "
        f"{m.nll:.3f} nats; calibration error {m.ece:.3f} (a perfect model stays under {m.ece_null:.3f})",
        markup=False,
    )
    if found.sets is not None:
        s = found.sets
        console.print(
            f"sets hold the right name {s.coverage:.1%} of the time (chance explains {s.low:.1%} to {s.high:.1%}), "
            f"{s.mean_size:.2f} names each",
            markup=False,
        )
    table = Table(box=None, pad_edge=False)
    for title in ("species", "photos", "right", "95 % interval"):
        table.add_column(title, justify="left" if title == "species" else "right")
    for row in found.by_species:
        plant = plant_names.get(row.species, "other plants") + ("" if row.known else " (not known to the model)")
        table.add_row(plant, str(row.photos), f"{row.recall:.1%}", f"{row.low:.1%} to {row.high:.1%}")
    console.print(table)


def _say(text: str) -> None:
    sys.stderr.write(f"{text}\n")
