"""The path from photos to record: which step shows what, and what each button does. No browser is needed to try it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from types import ModuleType
from typing import Any

from app.web import candidates, finding, lawn, photos, plan, questions, record, spray, visit
from app.web.draft import STEPS, Choosing, Draft
from app.web.frame import Fields, FormError, render
from app.web.shed import Shed

Changed = tuple[Draft, list[str]]
Action = Callable[[Shed, Draft, Fields, str], Draft | Changed]
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


def go(shed: Shed, draft: Draft, fields: Fields, which: str) -> Draft:
    """To a step that was reached before."""
    if which not in STEPS or STEPS.index(which) > draft.furthest:
        raise FormError("That step comes later; go on from here.")
    return replace(draft, step=which, asking="", choosing=Choosing())


def act(shed: Shed, draft: Draft, do: str, fields: Fields, which: str) -> Changed:
    """What a button of the step does. Raises SwardkeyError in one sentence; the draft is then as it was."""
    action: Action | None = go if do == "go" else MODULES[draft.step].ACTIONS.get(do)
    if draft.record.get("visit") and do != "go" and do not in visit.ACTIONS:
        raise FormError("This plant is kept as a visit already; start with the next plant to change anything.")
    if action is None:
        raise FormError("The page is older than the plant's papers; it is up to date now.")
    done = action(shed, draft, fields, which)
    after, told = done if isinstance(done, tuple) else (done, [])
    return reached(after), told


def reached(draft: Draft) -> Draft:
    """The draft, with its step counted as reached."""
    return replace(draft, furthest=max(draft.furthest, STEPS.index(draft.step)))


def body(shed: Shed, draft: Draft) -> tuple[str, str]:
    """A step in two parts, between which there may be a field for files."""
    shown: dict[str, Any] = MODULES[draft.step].show(shed, draft)
    shown |= {"shed": shed, "plant": draft.id, "count": len(shed.key.flora.ids)}
    if draft.step == "photos":
        return render("photos_head.html", overdue=record.overdue(shed)), render("photos.html", **shown)
    if draft.step == "spray":
        return render("spray_head.html", **shown), render("spray.html", **shown)
    return "", render(f"{draft.step}.html", **shown)
