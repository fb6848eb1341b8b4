"""An album: some drawn pictures of every species, and their features, kept in a cache as those of photos are."""

from __future__ import annotations

import hashlib
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image
from safetensors.numpy import load_file, save_file

from model.flora.load import CONFIGS
from model.flora.species import Species
from model.photo import Extractor, Photo
from model.photo.decode import WORKING_SIDE
from model.photo.extract import RECIPE
from model.photo.weights import FEATURES
from training.drawn.chance import number_of
from training.drawn.ground import Ground
from training.drawn.grow import Stage
from training.drawn.picture import draw_scene
from training.drawn.scene import PLAIN_LAWN, Framing, Scene, plan_scene

Array = NDArray[np.float64]
SAVE_EVERY = 200  # pictures: what an interruption may cost
# Stage, ground and framing (None: the seed's), and side in px of the pictures of a species, in turn: mostly grown
# plants and their flowers, as people photograph them; smaller sides are blurred when scaled up, as far plants are.
TURNS: tuple[tuple[Stage, Ground | None, Framing | None, int], ...] = (
    ("flowering", None, None, 412),
    ("leaves", None, None, 320),
    ("flowering", None, None, 320),
    ("seeding", None, None, 412),
    ("leaves", None, None, 412),
    ("seedling", "gravel", None, 150),
    ("flowering", None, None, 240),
    ("leaves", None, None, 240),
    ("flowering", None, None, 412),
    ("seedling", None, None, 240),
    ("seeding", None, None, 320),
    ("leaves", None, None, 412),
    ("flowering", None, "flower", 412),
    ("seeding", None, "flower", 412),
    ("flowering", None, "flower", 320),
    ("seeding", None, "flower", 320),
    ("flowering", None, "flower", 240),
    ("leaves", None, "leaf", 320),
    ("flowering", None, "flower", 412),
    ("seeding", None, "flower", 412),
    ("flowering", None, "standing", 412),
    ("seedling", "gravel", "plant", 150),
    ("seeding", None, "flower", 320),
    ("leaves", None, "patch", 412),
    ("leaves", "turf", "patch", 320),
    ("leaves", "turf", "leaf", 412),
    ("leaves", "turf", "plant", 412),
    ("leaves", "turf", "standing", 320),
    ("leaves", None, "leaf", 412),
    ("flowering", "turf", "patch", 320),
)
NOT_THE_RENDERER = ("album.py", "prototypes.py", "left_out.py", "hint.py", "samples.py", "sheet.py")
TRIES = 200  # seeds looked at for a framing


@dataclass(frozen=True)
class Drawn:
    """One picture of an album before it is drawn."""

    species: str
    turn: int
    stage: Stage
    ground: Ground | None
    framing: Framing | None
    side: int

    def scene(self, species: Species | None) -> Scene:
        """The plan of it: of the first seed that has the framing, or of the first where none has."""
        first = number_of(self.turn, "album", self.species) % 2**32
        plans = (plan_scene(species, first + k, self.stage, self.ground) for k in range(TRIES))
        fitting = (plan for plan in plans if self.framing in (None, plan.framing))
        return next(fitting, plan_scene(species, first, self.stage, self.ground))


@dataclass(frozen=True)
class Album:
    """Pictures, how each is framed, and their features, float (pictures, features); rows in step."""

    pictures: tuple[Drawn, ...]
    framings: NDArray[np.str_]
    x: Array

    @property
    def labels(self) -> NDArray[np.str_]:
        """Species of each picture, or PLAIN_LAWN."""
        return np.array([p.species for p in self.pictures])

    @property
    def seedlings(self) -> NDArray[np.bool_]:
        """Which pictures show seedlings."""
        return np.array([p.stage == "seedling" for p in self.pictures])

    def where(self, keep: NDArray[np.bool_]) -> Album:
        """The pictures where ``keep`` holds."""
        return Album(tuple(p for p, k in zip(self.pictures, keep, strict=True) if k), self.framings[keep], self.x[keep])


def plan_album(species: Sequence[str], pictures: int) -> list[Drawn]:
    """``pictures`` of every species and of the plain lawn; the first of all species come first."""
    names = [*species, PLAIN_LAWN]
    return [Drawn(name, turn, *TURNS[turn % len(TURNS)]) for turn in range(pictures) for name in names]


def features_of_album(
    flora: Mapping[str, Species],
    pictures: Sequence[Drawn],
    cache: Path,
    progress: Callable[[int, int], None] = lambda done, of: None,
) -> Album:
    """Draw the pictures and look at them as at photos.

    ``cache`` is a safetensors file, read and added to; a picture is known in it by the renderer,
    the files of its species and its plan.
    """
    known = load_file(cache) if cache.exists() else {}
    extractor: Extractor | None = None
    code = _code()
    x, framings, fresh = np.zeros((len(pictures), FEATURES)), [], 0
    for i, one in enumerate(pictures):
        species = flora.get(one.species)
        scene = one.scene(species)
        framings.append(scene.framing)
        name = f"{RECIPE}-{hashlib.sha256(f'{code} {_files(one.species)} {scene!r} {one.side}'.encode()).hexdigest()}"
        if name not in known:
            extractor = extractor or Extractor(threads=1)
            known[name] = extractor.features(Photo("", _pixels(scene, species, one.side))).astype(np.float32)
            fresh += 1
        x[i] = known[name]
        if fresh and fresh % SAVE_EVERY == 0:
            _save(cache, known)
            fresh = 0
        progress(i + 1, len(pictures))
    if fresh:
        _save(cache, known)
    return Album(tuple(pictures), np.array(framings), x)


def _pixels(scene: Scene, species: Species | None, side: int) -> NDArray[np.uint8]:
    """The picture as an opened photo has it, uint8 (WORKING_SIDE, WORKING_SIDE, 3)."""
    image = draw_scene(scene, species, side)
    return np.asarray(image.resize((WORKING_SIDE, WORKING_SIDE), Image.Resampling.BILINEAR))


def _code() -> str:
    """Digest of the renderer: all modules beside this one, but those that only use pictures."""
    sources = sorted(p for p in Path(__file__).parent.glob("*.py") if p.name not in NOT_THE_RENDERER)
    return hashlib.sha256(b"".join(path.read_bytes() for path in sources)).hexdigest()


def _files(species: str) -> str:
    """Digest of what is known of a species."""
    paths = [CONFIGS / folder / f"{species}.yaml" for folder in ("species", "drawing")]
    return hashlib.sha256(b"".join(path.read_bytes() for path in paths if path.exists())).hexdigest()


def _save(cache: Path, known: dict[str, NDArray[np.float32]]) -> None:
    temporary = cache.with_name(f"{cache.name}.{time.time_ns()}.new")
    save_file(known, temporary)
    temporary.replace(cache)
