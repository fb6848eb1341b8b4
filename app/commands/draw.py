"""The command `draw`: what a species looks like, as far as its file knows."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from app.commands.json_output import Json, answer
from app.commands.options import option, word
from app.services.drawing import draw_species, save_picture
from app.services.knowledge import load_key


def draw(
    species: Annotated[str, typer.Argument(metavar="SPECIES", help="Id, scientific or common name; or plain_lawn.")],
    seed: Annotated[int, typer.Option(min=0, help="The same seed draws the same picture.")] = 1,
    stage: Annotated[str | None, word("--stage", "STAGE", "seedling, leaves, flowering or seeding.")] = None,
    ground: Annotated[str | None, word("--ground", "GROUND", "turf, soil or gravel.")] = None,
    side: Annotated[int, typer.Option(min=64, max=2000, help="Width and height in px.")] = 900,
    portrait: Annotated[
        bool, typer.Option("--portrait", help="The plant, its head and a leaf on plain paper, each with a scale.")
    ] = False,
    out: Annotated[Path | None, option("FILE", "Where to: FILE.jpg or FILE.png.")] = None,
    as_json: Json = False,
) -> None:
    """Draw a picture of a species from its characters; it is drawn, never a photo of the plant."""
    name, scene, picture = draw_species(load_key().flora, species, seed, stage, ground, side, portrait)
    file = out or Path(f"{name}_drawn_{seed}.jpg")
    save_picture(picture, file)
    what = {"file": str(file), "species": name, "seed": seed, "stage": scene.stage, "drawn": True}
    answer(as_json, {**what, "ground": getattr(scene, "ground", None)}, f"{scene}\n{file} (drawn, not a photo)")
