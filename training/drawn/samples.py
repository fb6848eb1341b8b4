"""Draw the demo photos: ``python -m training.drawn.samples FOLDER``. Wholly ours: no texture of any photo."""

from __future__ import annotations

import sys
from dataclasses import dataclass
from pathlib import Path

from model.errors import SwardkeyError
from model.flora import load_flora
from model.flora.species import Score, Species
from training.drawn.ground import Ground
from training.drawn.grow import Stage
from training.drawn.scene import PLAIN_LAWN, draw

SIDE = 480  # px
QUALITY = 82
GARDEN_FLOWER = "garden_flower"  # a plant of nobody's flora: a pink daisy with a dark middle


@dataclass(frozen=True)
class Sample:
    """One demo photo: what it shows and the seed that draws it."""

    species: str
    seed: int
    stage: Stage
    ground: Ground

    @property
    def file(self) -> str:
        """The name of its file."""
        return f"{self.species}_{self.stage}_{self.seed}.jpg"


SAMPLES: tuple[Sample, ...] = (
    Sample("taraxacum_officinale", 3, "flowering", "turf"),
    Sample("taraxacum_officinale", 7, "leaves", "turf"),
    Sample("trifolium_repens", 5, "flowering", "turf"),
    Sample("trifolium_repens", 26, "leaves", "turf"),
    Sample("hypochaeris_radicata", 13, "flowering", "turf"),
    Sample("hypochaeris_radicata", 4, "seeding", "turf"),
    Sample("arctotheca_calendula", 26, "flowering", "turf"),
    Sample("arctotheca_calendula", 30, "leaves", "soil"),
    Sample("soliva_sessilis", 19, "flowering", "turf"),
    Sample("soliva_sessilis", 4, "leaves", "gravel"),
    Sample("poa_annua", 5, "flowering", "turf"),
    Sample("poa_annua", 41, "flowering", "gravel"),
    Sample("cyperus_rotundus", 8, "flowering", "turf"),
    Sample("cyperus_rotundus", 24, "leaves", "soil"),
    Sample("oxalis_corniculata", 2, "flowering", "gravel"),
    Sample("oxalis_corniculata", 15, "flowering", "gravel"),
    Sample("euphorbia_peplus", 33, "flowering", "soil"),
    Sample("euphorbia_peplus", 1, "leaves", "soil"),
    Sample("plantago_lanceolata", 2, "flowering", "turf"),
    Sample("plantago_lanceolata", 27, "leaves", "turf"),
    Sample("stellaria_media", 12, "flowering", "soil"),
    Sample("stellaria_media", 6, "leaves", "turf"),
    Sample("rumex_crispus", 4, "leaves", "turf"),
    Sample("rumex_crispus", 7, "flowering", "gravel"),
    Sample(PLAIN_LAWN, 4, "leaves", "turf"),
    Sample(GARDEN_FLOWER, 5, "flowering", "soil"),
)


def garden_flower(flora: dict[str, Species]) -> Species:
    """A garden plant that is in no flora, made from the characters of a mayweed."""
    shown = {
        "leaf_build": "simple",
        "leaf_outline": "lance",
        "leaf_edge": "toothed",
        "flower_colour": "pink",
        "disc_colour": "dark",
        "growth_habit": "erect",
    }
    model = flora["tripleurospermum_inodorum"]
    changed = {
        name: Score(states={state: "always"}, source=["MEM"], standing="from memory") for name, state in shown.items()
    }
    return model.model_copy(update={"id": GARDEN_FLOWER, "characters": {**model.characters, **changed}})


def write_samples(folder: Path, samples: tuple[Sample, ...] = SAMPLES) -> list[str]:
    """Draw all samples into a folder; returns one row of a table a picture, for its README."""
    if not folder.is_dir():
        raise SwardkeyError(f"{folder}: no such folder; make it first")
    flora = load_flora().species
    plants: dict[str, Species | None] = {**flora, PLAIN_LAWN: None, GARDEN_FLOWER: garden_flower(flora)}
    rows = []
    for sample in samples:
        picture = draw(plants[sample.species], sample.seed, sample.stage, sample.ground, side=SIDE)
        picture.save(folder / sample.file, quality=QUALITY, optimize=True)
        rows.append(f"| {sample.file} | {sample.species} | {sample.seed} | {sample.stage} | {sample.ground} |")
    return rows


def main(arguments: list[str]) -> int:
    """Write the pictures, and the rows for their README to standard output."""
    if len(arguments) != 1:
        sys.stderr.write("usage: python -m training.drawn.samples FOLDER\n")
        return 2
    try:
        rows = write_samples(Path(arguments[0]))
    except SwardkeyError as error:
        sys.stderr.write(f"{error}\n")
        return 2
    sys.stdout.write("\n".join(rows) + "\n")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
