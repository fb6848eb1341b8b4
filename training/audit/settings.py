"""The numbers of the check, from configs/audit.yaml, checked."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

from pydantic import Field

from model.flora.load import CONFIGS, read_facts
from model.flora.species import Entry, Fact

Share = Annotated[float, Field(gt=0, lt=1)]
Count = Annotated[int, Field(ge=1)]


class Quality(Fact):
    """What spoils a photo: px, variance of the Laplacian, and brightness 0-255."""

    tiny_side: Count
    blur_side: Annotated[int, Field(ge=16)]
    blurred_below: Annotated[float, Field(gt=0)]
    dark_below: Annotated[float, Field(ge=0, le=255)]
    bright_above: Annotated[float, Field(ge=0, le=255)]


class Duplicates(Fact):
    """When two photos are the same picture; see the comments in the file."""

    hash_bits: Annotated[int, Field(ge=0, le=31)]
    hash_cosine: Share
    neighbours: Count
    part_cosine: Share
    part_alike: Share
    least_part: Share
    most_pairs: Annotated[int, Field(ge=0)]


class Labels(Fact):
    """Which labels are doubted; see the comments in the file."""

    folds: Annotated[int, Field(ge=2, le=20)]
    shrinkage: Annotated[list[Share], Field(min_length=1)]
    odds: Annotated[float, Field(ge=1)]
    seed: int


class Enough(Fact):
    """Least photos, and least plants or visits, from which a species is learned."""

    photos: Count
    groups: Count


class Next(Fact):
    """How the gain from more photos is calculated; see the comments in the file."""

    take: Count
    slope: Share
    alike_within_group: Annotated[float, Field(ge=0, le=1)]
    steady: Count
    difference: Annotated[float, Field(ge=0, le=1)]
    slope_needs: Annotated[int, Field(ge=20)]
    shown: Count
    show_to_label: Count


class Settings(Entry):
    """All of configs/audit.yaml."""

    quality: Quality
    duplicates: Duplicates
    labels: Labels
    enough: Enough
    next: Next


def load_settings(configs: Path = CONFIGS) -> Settings:
    """Read configs/audit.yaml. Raises FloraError naming the field that is wrong."""
    return read_facts(configs / "audit.yaml", Settings)
