"""Step 1: photos of one plant, and when they were taken; photos without fault lead on to what it could be."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

from app.web import visible_parts
from app.web.context import Context
from app.web.draft import Draft, Step
from app.web.draft_photos import add_photos, remove_photo
from app.web.frame import Fields, month_of
from app.web.record_page import overdue

STEP = Step("Photos", 10)

HELP = (
    ("Whole plant", "from above, filling the picture"),
    ("One leaf", "flat on your hand, with its stalk"),
    ("Flower or seed", "from the side, as near as stays sharp"),
)


def show(context: Context, draft: Draft) -> dict[str, Any]:
    """What the step shows."""
    return {**given(draft), "help": HELP, "usual": visible_parts.usual(), "overdue": overdue(context)}


def given(draft: Draft) -> dict[str, Any]:
    """The photos and the month, as this step and the next show them."""
    usable = sum(shot.usable for shot in draft.shots)
    taken = date.fromisoformat(draft.taken) if draft.taken else None
    return {"shots": draft.shots, "usable": usable, "month": draft.month, "taken": taken}


def add(context: Context, draft: Draft, files: Sequence[Path]) -> tuple[Draft, list[str]]:
    """More photos; a sentence on each file that cannot be used. On to the candidates where there is nothing to say."""
    after, notices = add_photos(draft, context.drafts.photos(draft.id), files)
    added = after.shots[len(draft.shots) :]
    if draft.step == "photos" and added and not notices and all(s.usable and not s.faults for s in added):
        after = replace(after, step="candidates")
    return after, notices


def remove(context: Context, draft: Draft, fields: Fields, which: str) -> Draft:
    """Without one photo; without any, back to the start."""
    after = remove_photo(draft, context.drafts.photos(draft.id), which)
    return after if any(shot.usable for shot in after.shots) else replace(after, step="photos")


def look(context: Context, draft: Draft, fields: Fields, which: str) -> Draft:
    """On to the candidates, or to the questions where there is nothing to see."""
    step = "candidates" if any(shot.usable for shot in draft.shots) else "questions"
    return replace(draft, step=step, month=month_of(fields) if "month" in fields else draft.month)


def see_usual(context: Context, draft: Draft, fields: Fields, which: str) -> Draft:
    """On to the questions about what can be seen, without a photo."""
    return visible_parts.see_usual(context, look(context, draft, fields, ""), fields, which)


ACTIONS = {"remove": remove, "look": look, "see_usual": see_usual}
