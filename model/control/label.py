"""A product's label that the user has read, and which names a lawn grass that our facts say nothing of."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Any


@dataclass(frozen=True)
class LabelRead:
    """Who read, on which day, that the label of a product with these actives names this lawn.

    ``number``: the product's registration number. It says nothing of a grass that is known to be injured.
    """

    actives: tuple[str, ...]
    lawn: str
    number: str
    by: str
    on: date

    def covers(self, active: str, lawn: str | None) -> bool:
        """Whether it speaks of that active on that lawn."""
        return active in self.actives and lawn == self.lawn

    def __str__(self) -> str:
        return f"by the label, read by {self.by} on {self.on.day} {self.on:%B %Y}, product {self.number}"

    def as_json(self) -> dict[str, Any]:
        """The same as plain data."""
        return {**vars(self), "actives": list(self.actives), "on": self.on.isoformat()}

    @classmethod
    def of_json(cls, told: dict[str, Any]) -> LabelRead:
        """From what as_json gave. Raises KeyError, TypeError or ValueError for anything else."""
        on = date.fromisoformat(told["on"])
        return cls(tuple(told["actives"]), told["lawn"], told["number"], told["by"], on)
