"""Imports go one way: no circles, and what pages, papers and records need does not live with the command line."""

from __future__ import annotations

import ast
from functools import cache
from graphlib import TopologicalSorter

from tests.test_house import ROOT, SOURCES, tree

MODULES = {".".join(path.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__"): path for path in SOURCES}
BELOW_COMMANDS = ("app.web.", "app.papers.", "app.figures.", "app.records.")


@cache
def imported(module: str) -> frozenset[str]:
    """Our modules that a module imports, at its top or within a function."""
    found: set[str] = set()
    for node in ast.walk(tree(MODULES[module])):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            names = {f"{node.module}.{alias.name}" for alias in node.names}
            found |= {name if name in MODULES else str(node.module) for name in names}
    return frozenset(found & MODULES.keys()) - {module}


def test_there_are_no_circles() -> None:
    TopologicalSorter({module: imported(module) for module in MODULES}).prepare()


def test_helpers_do_not_live_in_modules_of_the_command_line() -> None:
    commands = {m for m in MODULES if m.startswith("app.") and "import typer" in MODULES[m].read_text(encoding="utf-8")}
    wrong = {m: imported(m) & commands for m in MODULES if m.startswith(BELOW_COMMANDS)}
    assert not any(wrong.values()), {module: names for module, names in wrong.items() if names}
