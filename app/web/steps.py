"""The path from photos to record: which step shows what, and what each button does. No browser is needed to try it."""

from __future__ import annotations

import importlib
import pkgutil
from collections.abc import Callable
from dataclasses import replace
from types import ModuleType
from typing import Any

import app.web
from app.web import visit_page as visit
from app.web.context import Context
from app.web.draft import Draft, Step
from app.web.frame import Fields, FormError, render
from app.web.new_draft import FIRST

Changed = tuple[Draft, list[str]]
Action = Callable[[Context, Draft, Fields, str], Draft | Changed]


def found_steps() -> dict[str, ModuleType]:
    """The modules of the steps by name, in their order: those called NAME_page that have a ``STEP``."""
    names = [module.name for module in pkgutil.iter_modules(app.web.__path__) if module.name.endswith("_page")]
    modules = {name.removesuffix("_page"): importlib.import_module(f"app.web.{name}") for name in names}
    steps = {name: module for name, module in modules.items() if hasattr(module, "STEP")}
    return dict(sorted(steps.items(), key=lambda named: named[1].STEP.order))


MODULES = found_steps()
STEPS = tuple(MODULES)
PATH: dict[str, Step] = {name: module.STEP for name, module in MODULES.items()}


def path_of(draft: Draft) -> dict[str, Step]:
    """The steps of a draft's way, in their order: a known weed begins at the lawn, a tool alone is one step."""
    if draft.way == "name":
        return PATH
    first = FIRST["known" if draft.of_visit else draft.way]
    last = "record" if draft.way == "known" or draft.of_visit else first
    return {name: PATH[name] for name in STEPS[STEPS.index(first) : STEPS.index(last) + 1]}


def shown_steps(draft: Draft) -> list[dict[str, Any]]:
    """The steps as the head of a page shows them: name, title, number, whether it is here and whether it is open."""
    return [
        {
            "name": name,
            "title": step.title,
            "number": number,
            "here": name == draft.step,
            "open": STEPS.index(name) <= draft.furthest,
        }
        for number, (name, step) in enumerate(path_of(draft).items(), 1)
    ]


def at_step(draft: Draft, step: str) -> Draft:
    """The draft at a step that it has reached, as the address of a page says it; else as it is."""
    known = step in path_of(draft) and STEPS.index(step) <= draft.furthest
    return draft.at(step) if known and step != draft.step else draft


def go(context: Context, draft: Draft, fields: Fields, which: str) -> Draft:
    """To a step that was reached before."""
    if which not in path_of(draft) or STEPS.index(which) > draft.furthest:
        raise FormError("That step comes later; continue from here.")
    return draft.at(which)


def act(context: Context, draft: Draft, do: str, fields: Fields, which: str) -> Changed:
    """What a button of the step does. Raises SwardkeyError in one sentence; the draft is then as it was."""
    action: Action | None = go if do == "go" else MODULES[draft.step].ACTIONS.get(do)
    if draft.record.get("visit") and do != "go" and do not in visit.ACTIONS:
        raise FormError("This plant is already saved as a visit; start a new plant to change anything.")
    if action is None:
        raise FormError("This plant had changed since the page was loaded; it is up to date now.")
    done = action(context, draft, fields, which)
    after, notices = done if isinstance(done, tuple) else (done, [])
    return reached(after if do == "go" else stopped(draft.step, after)), notices


def stopped(before: str, draft: Draft) -> Draft:
    """The draft, held at the first step that it would skip though that step has ``stops``."""
    new = STEPS[max(STEPS.index(before), draft.furthest) + 1 : STEPS.index(draft.step)]
    passed = [step for step in new if step in path_of(draft)]
    return replace(draft, step=next((step for step in passed if PATH[step].stops), draft.step))


def known(draft: Draft) -> Draft:
    """The draft; a new one under its id where its step no longer exists in this version."""
    return draft if draft.step in MODULES else Draft(draft.id)


def reached(draft: Draft) -> Draft:
    """The draft with ``furthest`` at its step or later."""
    return replace(draft, furthest=max(draft.furthest, STEPS.index(draft.step)))


def body(context: Context, draft: Draft) -> str:
    """A step below the head line; above an empty first one, the other ways to begin, and what to go on with."""
    shown: dict[str, Any] = MODULES[draft.step].show(context, draft)
    shown |= {"context": context, "plant": draft.id, "count": len(context.key.flora.ids)}
    first = draft.step == STEPS[0] and not draft.shots and not draft.of_visit
    return (render("start.html") if first else "") + render(f"{draft.step}.html", **shown)
