"""The observer model: error rates, states taken for one another, cost by effort, weights of the frequency words."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cached_property
from pathlib import Path
from typing import Annotated, Literal

from pydantic import Field

from model.errors import FloraError, nearest
from model.flora.character import Character, Effort
from model.flora.load import CONFIGS, read_as
from model.flora.species import Entry, Frequency, Stage, Standing

Share = Annotated[float, Field(gt=0, lt=1)]
Positive = Annotated[float, Field(gt=0)]
Age = Literal["leaves", "flowers", "seeds", "unknown"]
MOST_MISTAKEN = 0.5  # share of the plants of one state that may be taken for others


class Mistaken(Entry):
    """States of one character that people take for one another.

    ``share``: of the plants that show one of them, how many are recorded as each other one. ``one_way``: only the
    first is taken for the others.
    """

    states: Annotated[list[str], Field(min_length=2)]
    share: Share
    one_way: bool = False


class Found(Entry):
    """Share of plants on which a part is found, in the months of the species file and in others."""

    in_season: Share
    out_of_season: Share


class AfterUnsure(Entry):
    """Factors on the chance that a similar question can be answered, after one answer of unsure."""

    part: Share
    effort: Share
    gate: Share


class Observer(Entry):
    """configs/observer.yaml: shares are of answers, shoulders in ln(reading), costs in glances."""

    error: dict[Effort, Share]
    elsewhere: Share
    taken_for: dict[str, list[Mistaken]]
    cost: dict[Effort, Positive]
    reading: Positive
    answerable: dict[Effort, Share]
    second_tap: Share
    seldom: dict[str, Share]
    after_unsure: AfterUnsure
    settling: Annotated[float, Field(ge=0)]
    frequency: dict[Frequency, Positive]
    varies: Annotated[float, Field(gt=0, le=1)]
    together: Annotated[float, Field(gt=0, le=1)]
    shoulder: dict[str, Positive]
    month_shoulder: Positive
    age: dict[Age, dict[Stage, Share]]
    found: dict[Literal["flowers", "seeds"], Found]
    background: Share
    source: list[str]
    standing: Standing

    @cached_property
    def mistakes(self) -> dict[str, dict[tuple[str, str], float]]:
        """By character: (state shown, state named) to the share of plants on which that happens."""
        return {
            character: {
                (shown, named): entry.share
                for entry in entries
                for shown in entry.states[: 1 if entry.one_way else None]
                for named in entry.states
                if shown != named
            }
            for character, entries in self.taken_for.items()
        }


def load_observer(configs: Path = CONFIGS) -> Observer:
    """Read configs/observer.yaml. Raises FloraError naming the field that is wrong."""
    return read_as(configs / "observer.yaml", Observer)


def check_mistakes(observer: Observer, characters: Mapping[str, Character]) -> None:
    """Raise FloraError for an unknown character or state, or where ``taken_for`` leaves too few right answers."""
    for field in ("seldom", "taken_for"):
        for name in getattr(observer, field):
            if name not in characters:
                raise FloraError(f"observer.yaml: {field} {name} is not a character; {nearest(name, characters)}")
    for name, entries in observer.taken_for.items():
        for state in (state for entry in entries for state in entry.states):
            if state not in characters[name].states:
                close = nearest(state, characters[name].states)
                raise FloraError(f"observer.yaml: taken_for {name} has no state {state}; {close}")
        for state in characters[name].states:
            lost = sum(share for (shown, _), share in observer.mistakes[name].items() if shown == state)
            if lost > MOST_MISTAKEN:
                raise FloraError(f"observer.yaml: taken_for {name}: {state} is named correctly by fewer than half")
