"""What a user saves once: the state, and the details of person and business that every spray record asks for."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from app.records import Profile, open_records
from app.services.home import home


def own_details() -> Profile:
    """The details in the record book; all empty where there is no book yet. Raises RecordsError."""
    if not (home() / "records").exists():  # asking makes none
        return Profile()
    with open_records() as records:
        return records.profile()


def own_state() -> str | None:
    """The state that was saved; None where none was."""
    return own_details().state or None


def save_details(**changed: Any) -> Profile:
    """Save details in place of those before; the others stay, and an empty text takes one back."""
    with open_records() as records:
        return records.keep_profile(replace(records.profile(), **changed))
