"""An album: some drawn pictures of every species, from which the starter's network learned beside photos."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from model.flora.species import Species
from training.drawn.chance import number_of
from training.drawn.ground import Ground
from training.drawn.grow import Stage
from training.drawn.scene import PLAIN_LAWN, Scene, plan_scene

# Stage and ground of the pictures of a species, in turn: mostly grown plants, as people photograph them.
TURNS: tuple[tuple[Stage, Ground | None], ...] = (
    ("flowering", None),
    ("leaves", None),
    ("flowering", None),
    ("seeding", None),
    ("leaves", None),
    ("seedling", "gravel"),
)


@dataclass(frozen=True)
class Drawn:
    """One picture of an album before it is drawn."""

    species: str
    turn: int

    def scene(self, species: Species | None) -> Scene:
        """The plan of it."""
        stage, ground = TURNS[self.turn % len(TURNS)]
        return plan_scene(species, number_of(self.turn, "album", self.species) % 2**32, stage, ground)


def plan_album(species: Sequence[str], pictures: int) -> list[Drawn]:
    """``pictures`` of every species and of the plain lawn; the first of all species come first."""
    return [Drawn(name, turn) for turn in range(pictures) for name in [*species, PLAIN_LAWN]]
