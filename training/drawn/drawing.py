"""What characters do not say of a plant's looks: configs/drawing/<species>.yaml, most species need none."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path
from typing import Annotated, Literal

from pydantic import Field

from model.flora.load import CONFIGS, read_as
from model.flora.species import Fact

Hex = Annotated[str, Field(pattern=r"^#[0-9a-f]{6}$")]
Lobes = Literal["blunt", "back", "forward", "spreading"]
Cotyledon = Literal["oval", "round", "linear", "spoon", "heart"]


class Drawing(Fact):
    """Colours as #rrggbb of a fresh part in plain daylight, and proportions.

    ``lobes``: which way the lobes of a blade point. ``lobe_count``: lobes on one side. ``arrow_base``: the blade has
    two lobes at its base. ``rays``: rays or strap florets of one head. ``petal_ratio``: width of a petal over length.
    ``flat_heads``: heads without rays are flat buttons, not cylinders. ``spike``: length of a dense spike over its
    stalk's. ``cotyledon``: outline of the seed leaves. ``nodding``: flowers or heads hang. ``dense``: 1 is an ordinary
    number of leaves or stems. ``not_drawn``: why no picture of it is offered to people, as what comes after "because".
    """

    leaf_colour: Hex | None = None
    petal_colours: dict[str, Hex] = Field(default_factory=dict)
    throat_colour: Hex | None = None
    disc_colour: Hex | None = None
    stem_colour: Hex | None = None
    fruit_colour: Hex | None = None
    lobes: Lobes | None = None
    lobe_count: Annotated[int, Field(ge=1, le=20)] | None = None
    lobe_depth: Annotated[float, Field(gt=0, le=1)] | None = None
    teeth: Annotated[int, Field(ge=2, le=40)] | None = None
    rays: Annotated[int, Field(ge=3, le=250)] | None = None
    petal_ratio: Annotated[float, Field(gt=0, le=2)] | None = None
    disc_size: Annotated[float, Field(gt=0, lt=1)] | None = None
    spike: Annotated[float, Field(gt=0, le=1)] | None = None
    cotyledon: Cotyledon | None = None
    nodding: bool = False
    flat_heads: bool = False
    arrow_base: bool = False
    dense: Annotated[float, Field(gt=0, le=4)] = 1.0
    not_drawn: Annotated[str, Field(min_length=5)] | None = None


PLAIN = Drawing(source=["MEM"], standing="from memory")


@lru_cache(maxsize=512)
def drawing_of(species: str, configs: Path = CONFIGS) -> Drawing:
    """The drawing file of a species, or a plain one where there is none.

    Raises FloraError naming file and field.
    """
    path = configs / "drawing" / f"{species}.yaml"
    return read_as(path, Drawing) if path.exists() else PLAIN
