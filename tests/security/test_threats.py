"""The table of threats names proofs that are there: test files, tests in them, and commands."""

from __future__ import annotations

import ast
import re
from importlib.util import find_spec
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
TABLE = (ROOT / "tests" / "security" / "THREATS.md").read_text(encoding="utf-8")
MEASURED = (ROOT / "tests" / "claims" / "MEASURED.md").read_text(encoding="utf-8")


def test_every_proof_of_a_threat_is_there() -> None:
    found = re.findall(r"(tests/[\w/]+\.py)(?:::(\w+))?", TABLE)
    missing = []
    for file, test in found:
        path = ROOT / file
        names = (
            {n.name for n in ast.walk(ast.parse(path.read_text())) if isinstance(n, ast.FunctionDef)}
            if path.exists()
            else set()
        )
        if not path.exists() or (test and test not in names):
            missing.append(f"{file}::{test}")
    assert len(found) > 20 and not missing, missing


def test_every_command_that_is_named_is_there() -> None:
    commands = set(re.findall(r"-m (tests\.[\w.]+|training\.[\w.]+)", TABLE + MEASURED))
    commands |= {f"tests.{name}" for name in re.findall(r"`((?:claims|security|benchmarks)\.\w+)", MEASURED)}
    commands = {name for name in commands if not name.endswith((".", ".NAME"))}
    assert len(commands) > 10 and not [name for name in commands if find_spec(name) is None]
