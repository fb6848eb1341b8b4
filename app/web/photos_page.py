"""Step 1: photos of one plant, and when they were taken."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from app.web.context import Context
from app.web.draft import Draft, Step
from app.web.frame import Fields, month_of
from app.web.record_page import overdue
from app.web.shots import take_in, without

STEP = Step("Photos", 10)

HELP = (
    ("Whole plant", "from above, filling the picture"),
    ("One leaf", "flat on your hand, with its stalk"),
    ("Flower or seed", "from the side, as near as stays sharp"),
)


def show(context: Context, draft: Draft) -> dict[str, Any]:
    """What the step shows."""
    usable = sum(shot.usable for shot in draft.shots)
    shown = {"shots": draft.shots, "usable": usable, "help": HELP, "month": draft.month}
    return {**shown, "overdue": overdue(context)}


def add(context: Context, draft: Draft, files: list[str]) -> tuple[Draft, list[str]]:
    """More photos; a sentence on each file that cannot be used."""
    return take_in(draft, context.drafts.photos(draft.id), files)


def remove(context: Context, draft: Draft, fields: Fields, which: str) -> Draft:
    """Without one photo."""
    return without(draft, context.drafts.photos(draft.id), which)


def look(context: Context, draft: Draft, fields: Fields, which: str) -> Draft:
    """On to the candidates, or to the questions where there is nothing to see."""
    step = "candidates" if any(shot.usable for shot in draft.shots) else "questions"
    return replace(draft, step=step, month=month_of(fields) if "month" in fields else draft.month)


ACTIONS = {"remove": remove, "look": look}
