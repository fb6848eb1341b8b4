"""One reason for a verdict: the factor, how serious it is, why, and the source."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

from model.errors import SwardkeyError

Level = Literal["go", "not judged", "caution", "stop"]
Word = Literal["go", "caution", "stop"]
# What was not judged is neither for nor against spraying.
GRAVITY: dict[Level, int] = {"go": 0, "not judged": 1, "caution": 2, "stop": 3}


class SprayError(SwardkeyError):
    """A reading, a forecast or a record of temperatures is impossible. The message says which, and what to give."""


@dataclass(frozen=True)
class Reason:
    """Why to spray, to take care or not to spray; ``cited``: standing and source in words."""

    factor: str
    level: Level
    text: str
    cited: str

    def __str__(self) -> str:
        return f"{self.factor}: {self.level}: {self.text} [{self.cited}]"


def worst(reasons: Iterable[Reason]) -> Word:
    """The verdict that the reasons add up to.

    >>> worst([Reason("wind", "go", "", ""), Reason("rain", "not judged", "", "")])
    'go'
    >>> worst([Reason("wind", "caution", "", ""), Reason("heat", "stop", "", ""), Reason("cold", "go", "", "")])
    'stop'
    """
    levels = {reason.level for reason in reasons}
    if "stop" in levels:
        return "stop"
    return "caution" if "caution" in levels else "go"


def most_serious_first(reasons: Iterable[Reason]) -> tuple[Reason, ...]:
    """The same reasons, the most serious first; equals keep their order."""
    return tuple(sorted(reasons, key=lambda reason: -GRAVITY[reason.level]))
