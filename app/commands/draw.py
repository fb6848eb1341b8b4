"""Draw plants from the command line: what a species looks like, as far as its file knows."""

from __future__ import annotations

import io
import sys
from pathlib import Path
from typing import Annotated, Any, get_args

import typer

from app.commands.json_output import print_json
from model.errors import SwardkeyError, nearest
from model.storage import replace_file

SpeciesName = Annotated[str, typer.Argument(metavar="SPECIES", help="Id, scientific or common name; or plain_lawn.")]
Seed = Annotated[int, typer.Option("--seed", min=0, help="The same seed draws the same picture.")]
Stage = Annotated[str | None, typer.Option("--stage", help="seedling, leaves, flowering or seeding.")]
GroundName = Annotated[str | None, typer.Option("--ground", help="turf, soil, mulch, gravel or paving.")]
Mown = Annotated[bool | None, typer.Option("--mown/--unmown", help="In mown or unmown grass.")]
Side = Annotated[int, typer.Option("--side", min=64, max=2000, help="Width and height in px.")]
Out = Annotated[Path | None, typer.Option("--out", metavar="FILE", help="Where to: FILE.jpg or FILE.png.")]
Json = Annotated[bool, typer.Option("--json", help="Print one JSON object and nothing else.")]


def draw(
    species: SpeciesName,
    seed: Seed = 1,
    stage: Stage = None,
    ground: GroundName = None,
    mown: Mown = None,
    side: Side = 412,
    out: Out = None,
    as_json: Json = False,
) -> None:
    """Draw a photo of a species from its characters; the picture is drawn, never a real photo."""
    from app.services.knowledge import load_key
    from model.flora.name import PlantNames
    from training.drawn import PLAIN_LAWN, draw_scene, plan_scene
    from training.drawn.ground import Ground
    from training.drawn.grow import Stage as Stages

    chosen_stage: Any = _one_of(stage, get_args(Stages), "--stage")
    chosen_ground: Any = _one_of(ground, get_args(Ground), "--ground")
    flora = load_key().flora
    lawn = species.replace(" ", "_").lower() == PLAIN_LAWN
    name = PLAIN_LAWN if lawn else PlantNames(flora).the_species(species)
    plant = flora.species.get(name)
    scene = plan_scene(plant, seed, chosen_stage, chosen_ground, mown)
    file = out or Path(f"{name}_drawn_{seed}.jpg")
    save_picture(draw_scene(scene, plant, side), file)
    if as_json:
        told = {"file": str(file), "species": name, "seed": seed, "stage": scene.stage, "ground": scene.ground}
        print_json({**told, "mown": scene.mown, "drawn": True})
    else:
        sys.stdout.write(f"{scene}\n{file} (drawn, not a photo)\n")


def _one_of(given: str | None, known: tuple[str, ...], option: str) -> str | None:
    if given is not None and given not in known:
        raise SwardkeyError(f"{option} {given}: not known; {nearest(given, known)}")
    return given


def save_picture(picture: Any, file: Path) -> None:
    """Write a picture as a whole or not at all. Raises SwardkeyError naming the file."""
    kinds = {".jpg": "JPEG", ".jpeg": "JPEG", ".png": "PNG"}
    if file.suffix.lower() not in kinds:
        raise SwardkeyError(f"--out {file}: not a .jpg or .png; give the file one of these endings")
    if not file.parent.is_dir():
        raise SwardkeyError(f"--out {file}: there is no folder {file.parent}; make it first")
    drawn = io.BytesIO()
    picture.save(drawn, format=kinds[file.suffix.lower()], quality=88)
    try:
        replace_file(file, drawn.getvalue())
    except OSError as error:
        raise SwardkeyError(f"--out {file}: cannot be written ({error.strerror}); choose another place") from None
