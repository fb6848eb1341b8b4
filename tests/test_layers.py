"""Commands and pages call one layer of services; below it they know types, errors and constants only."""

from __future__ import annotations

import ast
from pathlib import Path

APP = Path(__file__).resolve().parents[1] / "app"
BELOW = ("model", "training")
# Functions of the layers below that a command or a page calls itself: small ones on words and numbers.
SMALL = {"model.errors.nearest", "model.text.counted", "model.validation.first_cause"}
# What a page alone needs of the layers below, and no command: nothing to share, so no service.
OF_PAGES = {
    "model.control.case.check_case",
    "model.control.judge_use",
    "model.control.year.spans",
    "model.control.year_of",
    "model.flora.name.plain",
    "model.flora.source.cite",
    "model.identify.would_show",
    "model.mix.unit.registry",
    "model.photo.sandbox.open_photo",
    "model.photo.stored.stored_jpeg",
    "model.photo.thumbnail.jpeg_of",
    "model.photo.thumbnail.jpeg_thumbnail",
    "model.prior.region_named",
    "model.spray.load_rules",
    "model.storage.replace_file",
    "model.traits.check_visible",
    "model.traits.in_sight",
    "model.traits.out_of_sight",
    "training.data.look.scaled",
    "training.data.look.sharpness",
    "training.audit.quality.find_faults",
    "training.audit.settings.load_settings",
    "training.audit.shortage.find_shortages",
    "training.collection.group.day_of",
    "training.evaluate.learning_curve.learning_curve",
}
SOURCES = sorted([APP / "command_line.py", *(APP / "commands").glob("*.py"), *(APP / "web").glob("*.py")])


def calls_below(file: Path) -> set[str]:
    """Functions and modules of the layers below that a file imports, as ``model.mix.feed``."""
    found = set()
    for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom) and (node.module or "").split(".")[0] in BELOW:
            # What begins with a capital is a type, an error or a constant.
            found |= {f"{node.module}.{alias.name}" for alias in node.names if not alias.name[0].isupper()}
        elif isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names if alias.name.split(".")[0] in BELOW}
    return found - SMALL


def test_commands_and_pages_call_services() -> None:
    allowed = {file: OF_PAGES if file.parent.name == "web" else set() for file in SOURCES}
    wrong = {file.stem: calls_below(file) - allowed[file] for file in SOURCES}
    assert not any(wrong.values()), {module: names for module, names in wrong.items() if names}


def test_services_print_nothing_and_know_no_terminal_and_no_page() -> None:
    for file in (APP / "services").glob("*.py"):
        text = file.read_text(encoding="utf-8")
        for word in ("import typer", "import gradio", "import rich", " print(", "app.commands", "app.web"):
            assert word not in text, f"{file.name}: {word}"
