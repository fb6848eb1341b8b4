"""The calculation that was done last at the terminal, for the job sheet."""

from __future__ import annotations

import json
from contextlib import suppress
from datetime import date
from pathlib import Path

from app.services.home import home
from model.errors import AnswerError
from model.mix.result import Result
from model.storage import replace_file

Rows = tuple[tuple[str, str], ...]


def last_sum_file() -> Path:
    """Where it is kept; it can be done again, so no backup holds it."""
    return home() / "cache" / "last_sum.json"


def note_sum(title: str, result: Result) -> None:
    """Keep a calculation in place of the one before; where the disk refuses, none is kept."""
    found = {"title": title, "day": date.today().isoformat(), "rows": result.rows, "working": result.working}
    with suppress(OSError):
        last_sum_file().parent.mkdir(parents=True, exist_ok=True)
        replace_file(last_sum_file(), json.dumps(found, ensure_ascii=False).encode())


def last_sum() -> tuple[str, date, Rows, tuple[str, ...]]:
    """Its name, its day, its figures and the working. Raises AnswerError where there is none."""
    try:
        found = json.loads(last_sum_file().read_text(encoding="utf-8"))
        rows = tuple((str(what), str(amount)) for what, amount in found["rows"])
        return str(found["title"]), date.fromisoformat(found["day"]), rows, tuple(map(str, found["working"]))
    except (OSError, ValueError, KeyError, TypeError):
        raise AnswerError("no calculation is there yet; do one with swardkey mix, then print the sheet") from None
