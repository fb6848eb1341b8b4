"""What can be seen or reached of the plant: asked first, changed at any time. A photo does not answer it by itself."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from app.figures.line_drawings import line_drawing
from app.web.context import Context
from app.web.draft import Draft
from app.web.frame import Fields, FormError, several
from model.flora.character import PARTS, VISIBLE, Part
from model.traits import check_visible, out_of_sight

WORDS: dict[Part, tuple[str, str]] = {
    "leaves": ("Leaves", "and stem, habit, smell, sap"),
    "flowers": ("Flowers", "or the head of a grass"),
    "seeds": ("Seeds or fruit", "ripe, or nearly"),
    "roots": ("Roots", "dug up"),
}

# What is there most often, in one tap; anything else is ticked.
USUAL: tuple[tuple[str, str, tuple[Part, ...]], ...] = (
    ("Leaves only", "no flower, no seed", ("leaves",)),
    ("Leaves and flowers", "or the head of a grass", ("leaves", "flowers")),
    ("Leaves and seed", "or fruit, ripe or nearly", ("leaves", "seeds")),
    ("All of it", "and I can dig one up", PARTS),
)


def is_asked(draft: Draft) -> bool:
    """Whether this is what the page asks: nothing was given yet, or it is to be changed."""
    return draft.asking == VISIBLE or (draft.visible is None and not draft.answers)


def usual() -> list[dict[str, Any]]:
    """One button for each usual choice: its parts by name, and their drawings."""
    return [
        {"parts": " ".join(parts), "text": text, "more": more, "svgs": [line_drawing(VISIBLE, p).svg for p in parts]}
        for text, more, parts in USUAL
    ]


def cards(draft: Draft) -> list[dict[str, Any]]:
    """One card a part, with its drawing."""
    drawn = {part: line_drawing(VISIBLE, part).svg for part in WORDS}
    seen = draft.visible or ()
    return [{"id": p, "text": t, "more": m, "svg": drawn[p], "on": p in seen} for p, (t, m) in WORDS.items()]


def in_words(draft: Draft) -> str:
    """What can be seen, as a list; "anything" where that was not given, for then all is asked about."""
    if draft.visible is None:
        return "anything"
    return ", ".join(WORDS[part][0].lower() for part in draft.visible)


def is_all(draft: Draft) -> bool:
    """Whether every part can be seen."""
    return draft.visible in (None, PARTS)


def see(context: Context, draft: Draft, fields: Fields, which: str) -> Draft:
    """Take what is ticked; then the questions. Raises FormError where nothing is, AnswerError for an unknown part."""
    parts = several(fields, "visible")
    if not parts:
        raise FormError("Tick at least one: what can you see or reach?")
    return replace(draft.at("questions"), visible=check_visible(list(parts)))


def see_usual(context: Context, draft: Draft, fields: Fields, which: str) -> Draft:
    """Take the parts that a button names, as if they were ticked."""
    return see(context, draft, {"visible": which.split()}, "")


def look_again(context: Context, draft: Draft, fields: Fields, which: str) -> Draft:
    """Ask again what can be seen."""
    return replace(draft.at("questions"), asking=VISIBLE)


def change(context: Context, draft: Draft, fields: Fields, which: str) -> Draft:
    """Ask one question again; not of a part that is not there."""
    if which not in draft.answers or which in out_of_sight(context.key.flora.characters, draft.visible):
        return draft
    return replace(draft.at("questions"), asking=which)


ACTIONS = {"see": see, "see_usual": see_usual, "look_again": look_again, "change": change}
