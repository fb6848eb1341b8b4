"""What a user saves once: the state, and the details of person and business that every spray record asks for."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

from app.services.home import home

if TYPE_CHECKING:
    from app.records import Profile


def own_details() -> Profile:
    """The details in the record book; all empty where there is no book yet. Raises RecordsError."""
    from app.records import Profile, open_records  # here and below, since advice asks for the state of every user

    if not _has_book():
        return Profile()
    with open_records() as records:
        return records.profile()


def own_state() -> str | None:
    """The state that was saved; None where none was."""
    return own_details().state or None if _has_book() else None


def save_details(**changed: Any) -> Profile:
    """Save details in place of those before; the others stay, and an empty text takes one back."""
    from app.records import open_records

    with open_records() as records:
        return records.keep_profile(replace(records.profile(), **changed))


def _has_book() -> bool:
    """Whether there is a book to ask; asking makes none."""
    return (home() / "records").exists()
