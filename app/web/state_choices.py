"""The states of a question as they are put before a person: in one tap, ticked, or by groups; never more than eight."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import replace
from typing import Any

from app.figures.line_drawings import line_drawing
from app.web.draft import Choosing, Draft
from model.flora import Character
from model.traits.answers import Answer

MARKS, FEW = (1, 1.2, 1.5, 2, 2.5, 3, 4, 5, 6, 8), 10
SMALL = 5  # drawings beside the name of a group


def states(character: Character, only: Collection[str] | None = None) -> list[dict[str, str]]:
    """The states of a question, or ``only`` some, with their drawings."""
    shown = [state for state in character.states if only is None or state in only]
    arts = {state: line_drawing(character.id, state) for state in shown}
    return [{"id": s, "text": character.states[s], "svg": art.svg, "words": art.words} for s, art in arts.items()]


def groups(character: Character, given: Collection[str]) -> list[dict[str, Any]]:
    """The groups of a question; ``here``: it holds a state that was given; ``only``: its one state, else ""."""
    return [
        {
            "id": name,
            "text": group.text,
            "svgs": [line_drawing(character.id, state).svg for state in group.states[:SMALL]],
            "only": group.states[0] if len(group.states) == 1 else "",
            "here": not set(given).isdisjoint(group.states),
        }
        for name, group in character.groups.items()
    ]


def begun(draft: Draft, character: Character) -> Choosing:
    """How the choosing starts: by ticking where the answer that is changed has several states."""
    given: Answer = draft.answers.get(character.id, ()) if draft.asking == character.id else ()
    if isinstance(given, tuple) and len(given) > 1:
        return Choosing(character.id, several=True, ticked=given)
    return Choosing(character.id)


def choosing(draft: Draft, character: Character) -> Choosing:
    """How far the answer to a question has come."""
    half = draft.choosing if draft.choosing.character == character.id else begun(draft, character)
    return half if half.group in character.groups else replace(half, group="")


def choices(draft: Draft, character: Character) -> dict[str, Any]:
    """What the page puts up for a choice: groups, or the states of one; which are ticked, and which were given."""
    half = choosing(draft, character)
    given: Any = draft.answers.get(character.id, ()) if draft.asking == character.id else ()
    only = character.groups[half.group].states if half.group else None
    by_group = bool(character.groups) and only is None
    return {
        "groups": groups(character, (*given, *half.ticked)) if by_group else [],
        "states": [] if by_group else states(character, only),
        "group": half.group,
        "several": half.several,
        "ticked": half.ticked,
        "ticked_words": [character.states[s] for s in half.ticked if s in character.states],
        "given": given,
        "halfway": half != begun(draft, character),
    }


def readings(character: Character) -> list[str]:
    """Readings to tap, over all that are believed: each number of a few, else ten to a power of ten.

    The nearest is within an eighth of what was measured, and people are farther off than that.
    """
    if character.domain is None:
        return []
    low, high = character.domain
    marks = [m * 10.0**power for power in range(-2, 4) for m in MARKS]
    whole = character.unit == "count"
    found = {round(m) for m in marks if m >= FEW} | {*range(1, FEW)} if whole else {float(f"{m:.2g}") for m in marks}
    return [f"{m:g}" for m in sorted(found) if low <= m <= high]
