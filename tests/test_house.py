"""The rules of the house that a machine can check: style, types, sizes, direction of imports."""

from __future__ import annotations

import ast
import getpass
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

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
    # What libraries declare is kept for the next run.
    run_tool("mypy", f"--cache-dir={Path(tempfile.gettempdir()) / f'swardkey-mypy-{getpass.getuser()}'}")


def test_modules_are_small_and_import_one_way() -> None:
    faults = [f"{path.relative_to(ROOT)}: {fault}" for path in SOURCES for fault in faults_of(path)]
    assert SOURCES and not faults, "\n".join(faults)


def faults_of(path: Path) -> Iterator[str]:
    """What a module has against the rules."""
    text = path.read_text(encoding="utf-8")
    if len(text.splitlines()) > 320:
        yield "over 320 lines; more than one subject?"
    package = path.relative_to(ROOT).parts[0]
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef) and (node.end_lineno or 0) - node.lineno > 62:
            yield f"{node.name} is too long"
        names = [a.name for a in node.names] if isinstance(node, ast.Import) else []
        names += [node.module or ""] if isinstance(node, ast.ImportFrom) else []
        for name in names:
            ours = name.split(".")[0]
            if ours in ALLOWED and ours not in ALLOWED[package]:
                yield f"{package} imports {name}"
