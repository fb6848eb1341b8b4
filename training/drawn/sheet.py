"""Contact sheets: ``python -m training.drawn.sheet OUT.png [SPECIES...]``, ten seeds a species."""

from __future__ import annotations

import sys
import time
from collections.abc import Sequence
from pathlib import Path

from PIL import Image, ImageDraw

from model.errors import SwardkeyError, nearest
from model.flora import load_flora
from model.flora.species import Species
from training.drawn.picture import draw
from training.drawn.scene import PLAIN_LAWN

SEEDS = 10
TILE = 160  # px


def contact_sheet(species: Sequence[Species | None], seeds: int = SEEDS, tile: int = TILE) -> tuple[Image.Image, float]:
    """One row a species, one column a seed, and the mean time of a picture in seconds of one core."""
    sheet = Image.new("RGB", (seeds * tile, len(species) * tile))
    pen, spent = ImageDraw.Draw(sheet), 0.0
    for row, one in enumerate(species):
        for column in range(seeds):
            start = time.process_time()
            picture = draw(one, column + 1)
            spent += time.process_time() - start
            sheet.paste(picture.resize((tile, tile), Image.Resampling.LANCZOS), (column * tile, row * tile))
        name = one.id if one is not None else PLAIN_LAWN
        pen.text((4, row * tile + 2), name, fill=(255, 255, 255), stroke_width=2, stroke_fill=(0, 0, 0))
    return sheet, spent / max(1, seeds * len(species))


def main(arguments: list[str]) -> int:
    """Write a sheet of the named species, or of all; exit status 2 for a wrong name."""
    if not arguments:
        sys.stderr.write("usage: python -m training.drawn.sheet OUT.png [SPECIES...]\n")
        return 2
    flora = load_flora().species
    names = arguments[1:] or [*flora, PLAIN_LAWN]
    try:
        for name in names:
            if name not in flora and name != PLAIN_LAWN:
                raise SwardkeyError(f"no species {name}; {nearest(name, flora)}")
    except SwardkeyError as error:
        sys.stderr.write(f"{error}\n")
        return 2
    sheet, each = contact_sheet([flora.get(name) for name in names])
    sheet.save(Path(arguments[0]))
    sys.stdout.write(f"{len(names)} rows, {1000 * each:.0f} ms a picture on one core\n")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
