"""Small words around what is printed."""

from __future__ import annotations

import unicodedata
from collections.abc import Sequence
from datetime import date


def shown(text: str, longest: int = 200) -> str:
    """Text from outside as it may be printed: no control or direction characters, not too long."""
    kept = "".join("�" if unicodedata.category(c) in ("Cc", "Cf", "Cs") else c for c in text)
    return kept if len(kept) <= longest else kept[: longest - 1] + "…"


def counted(number: int, noun: str) -> str:
    """A number with its noun.

    >>> counted(1, "photo"), counted(2, "photo")
    ('1 photo', '2 photos')
    """
    return f"{number} {noun}{'' if number == 1 else 's'}"


def day_text(day: date) -> str:
    """A day as people write it.

    >>> day_text(date(2026, 6, 9))
    '9 June 2026'
    """
    return f"{day.day} {day:%B %Y}"


def listed(names: Sequence[str], together: bool = False) -> str:
    """Names as they stand in a sentence.

    >>> listed(("bindii", "catsear", "dandelion")), listed(("bindii", "catsear"), together=True)
    ('bindii, catsear or dandelion', 'bindii and catsear')
    """
    *first, last = names
    return f"{', '.join(first)}{' and ' if together else ' or '}{last}" if first else last
