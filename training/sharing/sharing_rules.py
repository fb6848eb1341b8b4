"""configs/sharing.yaml: from how many photos a species is shared, and what of a shared file is taken."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from model.flora.load import CONFIGS, read_as
from model.flora.species import Entry

Positive = Annotated[float, Field(gt=0, le=1e6)]
Count = Annotated[int, Field(ge=1)]


class SharingRules(Entry):
    """See the comments in configs/sharing.yaml for each value."""

    least_photos: Annotated[int, Field(ge=2)]
    least_groups: Count
    weight: Annotated[float, Field(gt=0, le=1)]
    most_photos: Count
    most_far: Positive
    least_apart: Positive
    most_strange: Positive
    widest: Annotated[float, Field(ge=1, le=1e6)]


def load_sharing_rules() -> SharingRules:
    """Read configs/sharing.yaml. Raises FloraError naming the field that is wrong."""
    return read_as(CONFIGS / "sharing.yaml", SharingRules)
