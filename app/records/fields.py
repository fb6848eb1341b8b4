"""What the fields of an entry may hold."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import ConfigDict, Field, StringConstraints

State = Literal["", "NSW", "VIC", "QLD", "WA", "SA", "TAS", "ACT", "NT"]
Kind = Literal["visit", "treatment"]
# hand_spray: held in the hand and pumped by it; wiper: a brush, sponge or wick.
Gear = Literal["", "hand_spray", "powered_spray", "spreader", "wiper"]
# Whether a person holds a licence for the work; "" where nobody said.
Licensed = Literal["", "yes", "no"]
Group = Annotated[int, Field(ge=0, le=40)]
Text = Annotated[str, StringConstraints(max_length=20_000)]
Needed = Annotated[str, StringConstraints(min_length=1, max_length=400)]
Sha256 = Annotated[str, StringConstraints(pattern=r"^[0-9a-f]{64}$")]


def has_content(text: str) -> bool:
    """Whether a text has a letter or a digit: a dash or a character that nobody sees says nothing.

    >>> [has_content(text) for text in ("Kim", "\u738b", " ", "-", "\u200b")]
    [True, True, False, False, False]
    """
    return any(map(str.isalnum, text))


class Strict:
    """An entry without fields of other names, and without numbers that JSON cannot hold."""

    __pydantic_config__ = ConfigDict(extra="forbid", allow_inf_nan=False)
