"""Photos as a phone takes them, made from our own drawings: twelve megapixels, held upright, with grain."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from PIL import Image

from model.flora.load import load_flora
from training.drawn import draw

WIDTH, HEIGHT = 4032, 3024  # px as the sensor lies: 12 megapixels
HELD_UPRIGHT = 6  # EXIF orientation: turn by a quarter to the right
DRAWN = 1344  # px, a third of the width
QUALITY = 88
SPECIES = ("taraxacum_officinale", "trifolium_repens", "hypochaeris_radicata", "stellaria_media", "poa_annua")


def phone_photo(file: Path, seed: int = 0, width: int = WIDTH, height: int = HEIGHT) -> Path:
    """Write one JPEG of a drawn weed; another for every seed. Grain makes it as large as a phone's own files."""
    flora = load_flora()
    drawn = draw(flora.species[SPECIES[seed % len(SPECIES)]], seed, side=DRAWN).crop((0, 0, DRAWN, DRAWN * 3 // 4))
    picture = np.asarray(drawn.resize((width, height), Image.Resampling.BICUBIC), dtype=np.float32)
    chance = np.random.default_rng(seed)
    # Detail that a drawing lacks: blades and grains of two and four px, and the noise of the sensor.
    for size, strength in ((4, 14.0), (2, 8.0), (1, 4.0)):
        grain = chance.standard_normal((height // size, width // size, 1), dtype=np.float32) * strength
        picture[: height // size * size, : width // size * size] += grain.repeat(size, axis=0).repeat(size, axis=1)
    exif = Image.Exif()
    exif[0x0112] = HELD_UPRIGHT
    Image.fromarray(np.clip(picture, 0, 255).astype(np.uint8)).save(file, quality=QUALITY, exif=exif)
    return file


def phone_photos(folder: Path, count: int, drawn: int = 5) -> list[Path]:
    """A folder of ``count`` photos, of which ``drawn`` are different; the rest are copies of their bytes."""
    folder.mkdir(parents=True, exist_ok=True)
    first = [phone_photo(folder / f"{number:04}.jpg", number) for number in range(min(count, drawn))]
    for number in range(len(first), count):
        (folder / f"{number:04}.jpg").write_bytes(first[number % len(first)].read_bytes())
    return sorted(folder.glob("*.jpg"))
