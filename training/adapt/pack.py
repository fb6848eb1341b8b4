"""Photos, drawings and pictures of no plant in one small file: PACK/pictures.safetensors.

    python -m training.adapt.pack PHOTOS PACK [RECIPE]

also writes ImageNet's weights into PACK, for a machine that lacks their packages. The pack holds other
people's photos, smaller: it is as bound by their licences, and never goes into the repository.
"""

from __future__ import annotations

from training.finetune.torch_install import exit_without_torch

if __name__ == "__main__":  # before the imports below miss it
    exit_without_torch("python -m training.adapt.pack")

import hashlib
import io
import json
import sys
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import asdict, dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image
from safetensors import SafetensorError, safe_open
from safetensors.numpy import save

from model.errors import CollectionError, PhotoError, SwardkeyError
from model.flora.load import load_flora
from model.photo import open_photo
from model.storage import replace_file
from training.adapt.nets import imagenet, save_state, state_of
from training.adapt.things import draw_thing
from training.adapt.trial import Net
from training.data.manifest import LabelledPhoto, read_manifest
from training.data.split import split
from training.drawn.album import plan_album
from training.drawn.picture import draw_scene
from training.recipes.recipe import Packed, StarterRecipe, load_recipe, load_starter_recipe

Pixels = NDArray[np.uint8]
FILE = "pictures.safetensors"
DRAWN, THING = "drawn", "thing"
NETS: tuple[Net, ...] = ("lite0", "lite2")


@dataclass(frozen=True)
class Row:
    """One picture of a pack. ``source`` is DRAWN for a drawing, THING where it shows no plant.

    ``part`` as quick.yaml deals it; `fit` for drawings.
    """

    label: str
    source: str
    group: str
    part: str


@dataclass(frozen=True)
class Pack:
    """Pictures as they lie in the file: ``ends`` int64 (pictures,) in ``data`` uint8 (bytes,)."""

    rows: tuple[Row, ...]
    ends: NDArray[np.int64]
    data: NDArray[np.uint8]

    def pictures(self, workers: int | None = None) -> Iterator[Pixels]:
        """Each picture in order, uint8 (height, width, 3)."""
        starts = np.concatenate([[0], self.ends[:-1]])

        def picture(row: int) -> Pixels:
            with Image.open(io.BytesIO(self.data[starts[row] : self.ends[row]].tobytes())) as image:
                return np.asarray(image.convert("RGB"))

        with ThreadPoolExecutor(workers) as pool:
            yield from pool.map(picture, range(len(self.rows)))

    @property
    def digest(self) -> str:
        """Stands for all pictures and labels."""
        return hashlib.sha256(self.data.tobytes() + repr(self.rows).encode()).hexdigest()[:16]


def pack_pictures(folder: Path, recipe: StarterRecipe, progress: Callable[[int, int], None]) -> tuple[Pack, list[str]]:
    """Pack what the recipe can use, and say which photos could not be read. Raises CollectionError, FloraError."""
    quick = load_recipe("quick")
    photos = read_manifest(folder)
    parts = split(photos, quick.shares, quick.seed)
    chosen = choose(photos, parts, recipe.judged.photos, recipe.seed)
    flora, packed = load_flora().species, recipe.packed
    drawings = plan_album(sorted(flora), packed.drawings)
    total = len(chosen) + len(drawings) + packed.things
    rows: list[Row] = []
    pieces: list[bytes] = []
    notes: list[str] = []

    def put(row: Row, image: Image.Image) -> None:
        rows.append(row)
        pieces.append(_small(image, packed))
        progress(len(rows) + len(notes), total)

    for number in chosen:
        photo = photos[number]
        try:
            put(Row(photo.label, photo.source, photo.group, parts[number]), _opened(photo))
        except (PhotoError, OSError) as error:
            notes.append(str(error))
    for drawing in drawings:
        species = flora.get(drawing.species)
        picture = draw_scene(drawing.scene(species), species, packed.drawn_side)
        put(Row(f"{DRAWN}:{drawing.species}", DRAWN, f"{DRAWN}:{len(rows)}", "fit"), picture)
    for seed in range(packed.things):
        put(Row(THING, THING, f"{THING}:{seed}", "held_out"), Image.fromarray(draw_thing(seed)))
    ends = np.cumsum([len(piece) for piece in pieces])
    return Pack(tuple(rows), ends, np.frombuffer(b"".join(pieces), np.uint8)), notes


def choose(photos: Sequence[LabelledPhoto], parts: Sequence[str], most: int, seed: int) -> list[int]:
    """Rows of all photos of the fit part, and of at most ``most`` others a class, group by group."""
    found = [row for row, part in enumerate(parts) if part == "fit"]
    for label in sorted({photo.label for photo in photos}):
        rest = [row for row, photo in enumerate(photos) if photo.label == label and parts[row] != "fit"]
        found += np.random.default_rng([seed, 3]).permutation(rest)[:most].tolist() if rest else []
    return sorted(int(row) for row in found)


def _opened(photo: LabelledPhoto) -> Image.Image:
    """As in use, but no larger than the file has it."""
    opened = open_photo(photo.file)
    image, short = Image.fromarray(opened.pixels), min(opened.size)
    return _at_most(image, short)


def _at_most(image: Image.Image, short: int) -> Image.Image:
    scale = short / min(image.size)
    if scale >= 1:
        return image
    return image.resize((round(image.width * scale), round(image.height * scale)), Image.Resampling.LANCZOS)


def _small(image: Image.Image, packed: Packed) -> bytes:
    buffer = io.BytesIO()
    _at_most(image, packed.short_side).save(buffer, "WEBP", quality=packed.quality)
    return buffer.getvalue()


def save_pack(folder: Path, pack: Pack) -> None:
    """Write a pack, all or nothing. Raises OSError."""
    folder.mkdir(parents=True, exist_ok=True)
    rows = json.dumps([list(asdict(row).values()) for row in pack.rows])
    replace_file(folder / FILE, save({"ends": pack.ends, "data": pack.data}, {"rows": rows}))


def read_pack(folder: Path) -> Pack:
    """Read a pack. Raises CollectionError where there is none."""
    try:
        with safe_open(folder / FILE, "numpy") as file:
            rows = json.loads(file.metadata()["rows"])
            return Pack(tuple(Row(*row) for row in rows), file.get_tensor("ends"), file.get_tensor("data"))
    except (OSError, SafetensorError, KeyError, TypeError) as error:
        raise CollectionError(f"{folder}: holds no pack that can be read ({error}); make one again") from None


def pack_of(photos: Path, kept: Path, recipe: StarterRecipe) -> tuple[Pack, Path]:
    """The pack that ``photos`` is, or that is made of it and kept, and its folder. Raises as pack_pictures."""
    if (photos / FILE).exists():
        return read_pack(photos), photos
    if not (kept / FILE).exists():
        pack, notes = pack_pictures(photos, recipe, _progress)
        for note in notes:
            sys.stderr.write(f"left out: {note}\n")
        save_pack(kept, pack)
    return read_pack(kept), kept


def _progress(done: int, of: int) -> None:
    if done % 200 == 0 or done == of:
        sys.stderr.write(f"\rpacking {done} of {of}" + ("\n" if done == of else ""))
        sys.stderr.flush()


def main(arguments: list[str]) -> int:
    """PHOTOS PACK [RECIPE]: pack, and say how large it is."""
    if len(arguments) not in (2, 3):
        sys.stderr.write("usage: python -m training.adapt.pack PHOTOS PACK [RECIPE]\n")
        return 2
    folder = Path(arguments[1])
    try:
        recipe = load_starter_recipe(*(Path(name) for name in arguments[2:]))
        pack, _ = pack_of(Path(arguments[0]), folder, recipe)
        for name in NETS:
            save_state(folder / f"{name}.safetensors", state_of(imagenet(name)))
    except SwardkeyError as error:
        sys.stderr.write(f"{error}\n")
        return 2
    print(f"{len(pack.rows)} pictures, {sum(f.stat().st_size for f in folder.glob('*.safetensors')) / 2**20:.1f} MiB")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
