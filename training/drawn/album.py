"""An album: some drawn pictures of every species, from which the starter's network learned beside photos."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from model.flora.species import Species
from training.drawn.chance import number_of
from training.drawn.ground import Ground
from training.drawn.grow import Stage
from training.drawn.scene import PLAIN_LAWN, Framing, Scene, plan_scene

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


def plan_album(species: Sequence[str], pictures: int) -> list[Drawn]:
    """``pictures`` of every species and of the plain lawn; the first of all species come first."""
    names = [*species, PLAIN_LAWN]
    return [Drawn(name, turn, *TURNS[turn % len(TURNS)]) for turn in range(pictures) for name in names]
