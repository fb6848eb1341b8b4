"""Draw a plant from its characters, as far as its file knows them; never evidence of what it looks like."""

from __future__ import annotations

import io
from pathlib import Path
from typing import Any, get_args

from app.papers.paper_file import write_paper
from app.services.choices import one_of
from model.errors import SwardkeyError
from model.flora import Flora
from model.flora.name import PlantNames
from training.drawn import PLAIN_LAWN, draw_portrait, draw_scene, plan_portrait, plan_scene
from training.drawn.drawing import drawing_of
from training.drawn.ground import Ground
from training.drawn.grow import Stage

FORMATS = {".jpg": "JPEG", ".jpeg": "JPEG", ".png": "PNG"}


def draw_species(
    flora: Flora, species: str, seed: int, stage: str | None, ground: str | None, side: int, portrait: bool = False
) -> tuple[str, Any, Any]:  # fmt: skip
    """The id of a species, or of a plain lawn, its scene, and the picture of it, ``side`` px square.

    ``portrait``: one plant on plain paper with a scale. Raises AnswerError for a word that is not known, SwardkeyError
    for a plant whose picture would mislead.
    """
    chosen_stage: Any = stage and one_of("--stage", stage, get_args(Stage))
    chosen_ground: Any = ground and one_of("--ground", ground, get_args(Ground))
    lawn = species.replace(" ", "_").lower() == PLAIN_LAWN
    name = PLAIN_LAWN if lawn else PlantNames(flora).the_usual(species)
    plant = flora.species.get(name)
    if plant is not None and (reason := drawing_of(name).not_drawn):
        raise SwardkeyError(f"{plant.common_name} is not drawn, because {reason}; swardkey key draws its characters")
    if portrait:
        if plant is None or ground is not None:
            raise SwardkeyError("--portrait draws one plant on paper; name a plant, and leave out --ground")
        plan = plan_portrait(plant, seed, chosen_stage)
        return name, plan, draw_portrait(plan, plant, side)
    scene = plan_scene(plant, seed, chosen_stage, chosen_ground)
    return name, scene, draw_scene(scene, plant, side)


def save_picture(picture: Any, file: Path) -> None:
    """Write a picture as a whole or not at all. Raises AnswerError naming the file."""

    def drawn() -> bytes:
        held = io.BytesIO()
        picture.save(held, format=FORMATS[file.suffix.lower()], quality=88)
        return held.getvalue()

    write_paper(file, "--out", tuple(FORMATS), drawn)
