"""What a typical plant shows: the usual states and middling numbers of its species file."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from model.flora.species import Frequency, Score, Species
from training.drawn import colour
from training.drawn.colour import Rgb
from training.drawn.drawing import Drawing, drawing_of

# Ordinary numbers where a file gives none, in the character's unit, from memory.
_GUESS: dict[str, float] = {
    "leaf_length": 60.0,
    "leaf_width": 20.0,
    "leaflet_length": 12.0,
    "blade_width": 4.0,
    "leaflet_pairs": 4.0,
    "petiole_length": 8.0,
    "plant_height": 15.0,
    "stem_length": 20.0,
    "stalk_height": 15.0,
    "flower_width": 5.0,
    "flowers_per_cluster": 6.0,
    "racemes": 5.0,
    "spikelet_length": 4.0,
    "fruit_length": 5.0,
    "pedicel_length": 5.0,
}


RANK: Mapping[Frequency, int] = {"always": 3, "usually": 2, "sometimes": 1, "rarely": 0}


@dataclass(frozen=True)
class Shown:
    """One plant of a species: ``states`` and ``numbers`` by character, in the character's unit.

    ``drawing`` holds what characters do not say.
    """

    species: str
    seed: int
    states: dict[str, str]
    numbers: dict[str, float]
    drawing: Drawing = field(repr=False)

    def state(self, character: str, otherwise: str) -> str:
        """The state shown, or ``otherwise`` where the file does not say."""
        return self.states.get(character, otherwise)

    def number(self, character: str) -> float:
        """The number shown, or an ordinary one where the file does not say."""
        return self.numbers.get(character, _GUESS.get(character, 1.0))

    @property
    def leaf_build(self) -> str:
        """How one leaf is built."""
        return self.state("leaf_build", "simple")

    @property
    def flower_build(self) -> str:
        """How one flower is built."""
        return self.state("flower_build", "tiny_green")

    @property
    def grassy(self) -> bool:
        """Whether leaves are blades or straps."""
        return self.leaf_build in ("grassy", "strap")

    @property
    def leaf_colour(self) -> Rgb:
        """Upper side of a full-grown leaf, before light and age."""
        if self.drawing.leaf_colour:
            return colour.from_hex(self.drawing.leaf_colour)
        if self.grassy:
            return colour.GRASS
        if self.state("leaf_hairs", "none") == "woolly":
            return colour.mixed(colour.LEAF, colour.FELT, 0.55)
        if self.state("leaf_texture", "thin") == "fleshy":
            return colour.FLESHY
        return colour.LEAF

    @property
    def flower_colour(self) -> Rgb:
        """Petals, rays, or the whole seed head of a grass."""
        state = self.state("flower_colour", "green")
        given = self.drawing.petal_colours.get(state)
        if given is None and self.state("flower_build", "") in ("grass_spikelets", "sedge_spikelets", "spike"):
            return colour.GRASS_HEAD.get(state, colour.FLOWER[state])
        return colour.from_hex(given) if given else colour.FLOWER[state]

    @property
    def disc_colour(self) -> Rgb:
        """The middle of a daisy head."""
        if self.drawing.disc_colour:
            return colour.from_hex(self.drawing.disc_colour)
        return colour.DISC[self.state("disc_colour", "yellow")]

    @property
    def stem_colour(self) -> Rgb:
        """Stems, runners and leaf stalks."""
        if self.drawing.stem_colour:
            return colour.from_hex(self.drawing.stem_colour)
        return colour.RED_STEM if self.state("stem_colour", "green") == "reddish" else colour.STEM


def show(species: Species, seed: int, stage: str = "flowering") -> Shown:
    """The typical plant of a species at a stage: of each character the commonest state and the middle of its range.

    A plant in leaf shows what its file says of younger plants.
    """
    states, numbers = {}, {}
    for name, score in species.characters.items():
        if not isinstance(score, Score):
            continue
        young = score.when is not None and stage in ("seedling", "leaves")
        value = score.before if young else score.states or score.range
        if isinstance(value, dict):
            states[name] = max(value, key=lambda state: (RANK[value[state]], state == "erect"))
        elif value:
            low, high = value
            numbers[name] = low * (high / low) ** 0.5
    return Shown(species.id, seed, states, numbers, drawing_of(species.id))


def tilt_of(shown: Shown, bearing: bool) -> float:
    """From where the plant is best seen: 0 from above, pi/2 from the side (rad); ``bearing`` flowers or seeds."""
    habit = shown.state("growth_habit", "rosette")
    if shown.grassy and habit not in ("tuft", "creeping"):
        return 0.9
    if habit in ("erect", "tuft") or (shown.grassy and habit == "creeping"):
        return 1.25
    stalked = bearing and shown.state("flower_stalk", "leafy").startswith("leafless")
    return 1.0 if stalked and habit == "rosette" else 0.45
