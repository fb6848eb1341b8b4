"""One reason for a verdict: the factor, how grave it is, why, and where that was read."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

from model.errors import SwardkeyError

Level = Literal["go", "not judged", "caution", "stop"]
Word = Literal["go", "caution", "stop"]
# How grave a level is. What was not judged speaks neither for nor against.
GRAVITY: dict[Level, int] = {"go": 0, "not judged": 1, "caution": 2, "stop": 3}


class SprayError(SwardkeyError):
    """A reading, a forecast or a record of temperatures cannot be. The message says which, and what to give."""


@dataclass(frozen=True)
class Reason:
    """Why spraying may, may not, or may only with care go on; ``cited``: standing and source in words."""

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


def gravest_first(reasons: Iterable[Reason]) -> tuple[Reason, ...]:
    """The same reasons, the gravest first; equals keep their order."""
    return tuple(sorted(reasons, key=lambda reason: -GRAVITY[reason.level]))
