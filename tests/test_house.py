"""The rules of the house that a machine can check: style, types, sizes, direction of imports."""

from __future__ import annotations

import ast
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
SOURCES = sorted(p for folder in ("model", "training", "app") for p in (ROOT / folder).rglob("*.py"))
# What each package may import of ours.
ALLOWED = {"model": {"model"}, "training": {"training", "model"}, "app": {"app", "training", "model"}}


def run_tool(*command: str) -> None:
    done = subprocess.run([sys.executable, "-m", *command], cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr


def test_ruff_finds_nothing() -> None:
    run_tool("ruff", "check", "--no-cache", ".")


def test_ruff_would_format_nothing() -> None:
    run_tool("ruff", "format", "--no-cache", "--check", ".")


def test_mypy_strict_finds_nothing() -> None:
    run_tool("mypy", "--cache-dir=/dev/null")


@pytest.mark.parametrize("path", SOURCES, ids=[str(p.relative_to(ROOT)) for p in SOURCES])
def test_module_is_small_and_imports_one_way(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    assert len(text.splitlines()) <= 320, "more than one subject?"
    package = path.relative_to(ROOT).parts[0]
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.FunctionDef):
            assert (node.end_lineno or 0) - node.lineno <= 62, f"{node.name} is too long"
        names = [a.name for a in node.names] if isinstance(node, ast.Import) else []
        names += [node.module or ""] if isinstance(node, ast.ImportFrom) else []
        for name in names:
            ours = name.split(".")[0]
            if ours in ALLOWED:
                assert ours in ALLOWED[package], f"{package} imports {name}"
