"""The steps of the path are found by their modules: a new one is a module and a template."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from jinja2 import FileSystemLoader

import app.web
from app.web import steps as flow
from app.web.draft import Draft, new_id
from app.web.frame import templates
from model.control import Control
from model.flora.character import PARTS
from model.identify import Key
from tests.app.page_visitor import Person, context_of, typical

MODULE = """
from dataclasses import replace

from app.web.draft import Step

STEP = Step("Toy", 50.5, stops=True)


def show(context, draft):
    return {"gate": draft.lawn.get("gate", "")}


def keep_gate(context, draft, fields, which):
    return replace(draft, lawn={**draft.lawn, "gate": fields["gate"][0]}, step="plan")


ACTIONS = {"keep_gate": keep_gate}
"""
TEMPLATE = '<form id="work"><h1>Getting in</h1><input name="gate" value="{{ gate }}"></form>'


@pytest.fixture
def toy(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """A step between the lawn and the plan, at which a plant stops."""
    (tmp_path / "toy_page.py").write_text(MODULE, encoding="utf-8")
    (tmp_path / "toy.html").write_text(TEMPLATE, encoding="utf-8")
    monkeypatch.setattr(app.web, "__path__", [*app.web.__path__, str(tmp_path)])
    assert isinstance(templates.loader, FileSystemLoader)
    monkeypatch.setattr(templates.loader, "searchpath", [*templates.loader.searchpath, str(tmp_path)])
    found = flow.found_steps()
    monkeypatch.setattr(flow, "MODULES", found)
    monkeypatch.setattr(flow, "STEPS", tuple(found))
    monkeypatch.setattr(flow, "PATH", {name: module.STEP for name, module in found.items()})
    yield
    sys.modules.pop("app.web.toy_page", None)


def test_the_steps_stand_in_their_order_and_no_two_in_one_place() -> None:
    first = ("photos", "candidates", "questions", "finding", "lawn", "plan", "spray", "record")
    assert tuple(step for step in flow.STEPS if step in first) == first
    assert len({step.order for step in flow.PATH.values()}) == len(flow.PATH)


@pytest.mark.usefixtures("toy")
def test_a_new_step_is_a_module_and_a_template(key: Key, control: Control) -> None:
    context = context_of(key, control)
    answers = {name: (state,) for name, state in typical(key, "soliva_sessilis").items() if not state[0].isdigit()}
    draft = Draft(new_id(), "lawn", flow.STEPS.index("lawn"), month=11, visible=PARTS, answers=answers)
    context.drafts.save(draft)
    person = Person(context, {"plant": draft.id})
    lawn, new, plan = (f"Step {flow.STEPS.index(step) + 1} of {len(flow.STEPS)}" for step in ("lawn", "toy", "plan"))
    assert lawn in person.text
    person.press("make_plan", lawn="couch", place="lawn", month="11")
    assert person.title == "Getting in" and new in person.text, person.faults
    person.press("keep_gate", gate="green, on the latch")
    assert plan in person.text and person.faults == []
    person.press("go", which="toy")
    assert 'value="green, on the latch"' in person.text
    person.press("go", which="lawn")
    person.press("make_plan", lawn="couch", place="lawn", month="11")
    assert plan in person.text, "a plant stops once"


def test_a_draft_at_a_step_of_another_version_begins_anew() -> None:
    draft = Draft(new_id(), "lawn")
    assert flow.known(draft) == draft and flow.known(replace(draft, step="dance")) == Draft(draft.id)
