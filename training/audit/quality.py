"""Photos that are hard or impossible to use, each with the reason in words."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from training.audit.settings import Quality
from training.data.look import Look
from training.data.manifest import LabelledPhoto

Kind = Literal["unreadable", "empty", "tiny", "blurred", "dark", "bright"]


@dataclass(frozen=True)
class Fault:
    """One thing that is wrong with one photo. ``photo`` is its name; ``words`` say what to do."""

    photo: str
    label: str
    kind: Kind
    words: str


def find_faults(photos: Sequence[LabelledPhoto], looks: Sequence[Look], limits: Quality) -> tuple[Fault, ...]:
    """Faults in the order of the photos; a photo may have several. Nothing is decided here."""
    found = []
    for photo, look in zip(photos, looks, strict=True):
        for kind, words in _faults(look, limits):
            found.append(Fault(photo.name, photo.label, kind, words))
    return tuple(found)


def _faults(look: Look, limits: Quality) -> list[tuple[Kind, str]]:
    if look.cause:
        return [("unreadable", look.cause)]
    if look.plain:
        return [("empty", "nothing can be made out: almost one colour; take it again")]
    found: list[tuple[Kind, str]] = []
    if look.side < limits.tiny_side:
        found.append(("tiny", f"its shorter side has {look.side} px, under {limits.tiny_side}; use the original"))
    if look.sharpness < limits.blurred_below:
        found.append(
            ("blurred", f"sharpness {look.sharpness:.0f}, under {limits.blurred_below:.0f}; hold still and take again")
        )
    if look.brightness < limits.dark_below:
        found.append(("dark", "very dark; take it again in daylight"))
    if look.brightness > limits.bright_above:
        found.append(("bright", "very bright; take it again out of direct sun"))
    return found
