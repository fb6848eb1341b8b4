"""What every sum hands back: figures with their units, the working, and the doubts."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from model.mix.doubt import Doubt
from model.mix.number import tidy

LABEL_FIRST = (
    "The label in your hand comes first: check the rate, the water and every figure here against it before you mix."
)
Figures = dict[str, float | int | None]


@dataclass(frozen=True, kw_only=True)
class Result:
    """A sum that was done. ``working``: each formula with its numbers put in, one a line."""

    working: tuple[str, ...]
    doubts: tuple[Doubt, ...] = ()

    @property
    def figures(self) -> Figures:
        """Figures under names that carry their unit; None where what was given does not tell."""
        raise NotImplementedError

    @property
    def told(self) -> list[tuple[str, str]]:
        """What a person wants to read: name and amount, one a row."""
        raise NotImplementedError

    def as_json(self) -> dict[str, Any]:
        """The figures, not rounded, with the working, the doubts and the sentence on the label."""
        figures = {name: tidy(value) if isinstance(value, float) else value for name, value in self.figures.items()}
        return {
            **figures,
            "working": list(self.working),
            "doubts": [doubt.text for doubt in self.doubts],
            "label_first": LABEL_FIRST,
        }
