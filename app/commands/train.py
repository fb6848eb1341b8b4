"""The command `train`: a better photo model from one's own labelled photos, put in charge only if it is better."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from app.commands.json_output import print_json
from app.services.home import home
from model.errors import CollectionError

if TYPE_CHECKING:
    from training.recipes.train import Outcome

Json = Annotated[bool, typer.Option("--json", help="Print one JSON object and nothing else.")]


def train(
    recipe: Annotated[
        str, typer.Option(help="quick: features once, then a closed-form head. full: a network is fine-tuned as well.")
    ] = "quick",
    collection: Annotated[
        Path | None, typer.Option(metavar="DIR", help="A collection; else the one in the user's folder.")
    ] = None,
    by: Annotated[
        str, typer.Option("--by", metavar="NAME", help="Who activates it where the photos cannot tell.")
    ] = "",
    because: Annotated[str, typer.Option("--because", metavar="REASON", help="Why; it is logged.")] = "",
    as_json: Json = False,
) -> None:
    """Learn from the collection. The new model takes over only if it is no worse on photos that neither has seen."""
    from training.recipes.recipe import recipe_module

    if bool(by) != bool(because):
        raise CollectionError("an override needs both --by and --because; give the two or neither")
    if recipe == "full":
        from training.finetune.torch_install import need_torch

        need_torch("train --recipe full")
    recipe_module(recipe)
    from app.services.collection import open_all
    from app.services.home import registry
    from app.services.progress import stages
    from training.gate import Override
    from training.recipes.train import train as train_by

    store, _, _ = open_all(collection)
    photos = store.photos()
    if not photos:
        raise CollectionError(f"{store.folder}: holds no photos; add some with swardkey collect add FOLDER")
    override = Override(by, because) if by else None
    with stages(as_json) as progress:
        done = train_by(recipe, photos, registry(), home() / "cache" / "features.safetensors", override, progress)
    if as_json:
        print_json(done.as_json())
    else:
        _print(done)


def _print(done: Outcome) -> None:
    from rich.console import Console

    console = Console(highlight=False)
    for name, why in done.left_out.items():
        console.print(f"left out: {name}: {why}", markup=False)
    for label, missing in done.not_yet.items():
        console.print(f"not learned yet: {label} needs {missing}", markup=False)
    parts = ", ".join(f"{count} {part.replace('_', ' ')}" for part, count in done.parts.items())
    console.print(f"{done.photos} photos: {parts}", markup=False)
    m = done.work.measured
    if m is not None:
        console.print(
            f"On {m.photos} photos held out: first choice right {m.top1:.1%}, within three {m.top3:.1%}", markup=False
        )
    console.print(str(done.promotion.verdict), markup=False)
    console.print(done.promotion.says, style="bold", markup=False)
