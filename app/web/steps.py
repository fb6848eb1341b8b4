"""The path from photos to record: which step shows what, and what each button does. No browser is needed to try it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from types import ModuleType
from typing import Any

from app.web import candidates_page as candidates
from app.web import finding_page as finding
from app.web import lawn_page as lawn
from app.web import photos_page as photos
from app.web import plan_page as plan
from app.web import questions_page as questions
from app.web import record_page as record
from app.web import spray_page as spray
from app.web import visit_page as visit
from app.web.context import Context
from app.web.draft import STEPS, Choosing, Draft
from app.web.frame import Fields, FormError, render

Changed = tuple[Draft, list[str]]
Action = Callable[[Context, Draft, Fields, str], Draft | Changed]
MODULES: dict[str, ModuleType] = {
    "photos": photos,
    "candidates": candidates,
    "questions": questions,
    "finding": finding,
    "lawn": lawn,
    "plan": plan,
    "spray": spray,
    "record": record,
}


def go(context: Context, draft: Draft, fields: Fields, which: str) -> Draft:
    """To a step that was reached before."""
    if which not in STEPS or STEPS.index(which) > draft.furthest:
        raise FormError("That step comes later; go on from here.")
    return replace(draft, step=which, asking="", choosing=Choosing())


def act(context: Context, draft: Draft, do: str, fields: Fields, which: str) -> Changed:
    """What a button of the step does. Raises SwardkeyError in one sentence; the draft is then as it was."""
    action: Action | None = go if do == "go" else MODULES[draft.step].ACTIONS.get(do)
    if draft.record.get("visit") and do != "go" and do not in visit.ACTIONS:
        raise FormError("This plant is kept as a visit already; start with the next plant to change anything.")
    if action is None:
        raise FormError("The page is older than the plant's papers; it is up to date now.")
    done = action(context, draft, fields, which)
    after, notices = done if isinstance(done, tuple) else (done, [])
    return reached(after), notices


def reached(draft: Draft) -> Draft:
    """The draft, with its step counted as reached."""
    return replace(draft, furthest=max(draft.furthest, STEPS.index(draft.step)))


def body(context: Context, draft: Draft) -> str:
    """A step below the head line."""
    shown: dict[str, Any] = MODULES[draft.step].show(context, draft)
    shown |= {"context": context, "plant": draft.id, "count": len(context.key.flora.ids)}
    if draft.step == "spray":
        forecast = render("upload.html", do="add_forecast", text="Choose a forecast file", accept=".csv", many=False)
        return render("spray_head.html", **shown) + forecast + render("spray.html", **shown)
    return render(f"{draft.step}.html", **shown)
