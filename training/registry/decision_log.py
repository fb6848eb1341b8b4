"""promotions.jsonl: what was decided about models, by whom and why; only ever added to."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from model.file import read_file
from model.storage import append_line

FILE = "promotions.jsonl"
LARGEST_LOG = 50_000_000
ACTIVATED = ("promote", "override", "use", "undo")


def append_entry(folder: Path, at: str, action: str, facts: Mapping[str, Any]) -> None:
    """Add one line: when (UTC), what, and ``facts`` that JSON can hold. Raises OSError."""
    append_line(folder / FILE, json.dumps({"at": at, "action": action, **facts}, ensure_ascii=False, allow_nan=False))


def entries_in(folder: Path) -> tuple[dict[str, Any], ...]:
    """All lines, oldest first; one that a crash cut short is left out."""
    try:
        data = read_file(folder / FILE, LARGEST_LOG)
    except OSError:
        return ()
    entries = (_parsed(line) for line in data.decode("utf-8", "replace").splitlines())
    return tuple(entry for entry in entries if isinstance(entry, dict))


def turned_down(entries: Sequence[Mapping[str, Any]]) -> set[str]:
    """Names of models that the gate turned down, and that nobody has activated."""
    kept = {str(entry.get("model")) for entry in entries if entry.get("action") == "keep"}
    return kept - {str(entry.get("model")) for entry in entries if entry.get("action") in ACTIVATED}


def _parsed(line: str) -> Any:
    """A line of the log; None where a crash cut it short."""
    try:
        return json.loads(line)
    except (ValueError, RecursionError):
        return None
