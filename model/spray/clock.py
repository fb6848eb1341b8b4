"""Times of the day as hours, 0 to 24, by the local clock."""

from __future__ import annotations

import re

from model.spray.reason import SprayError

_HH_MM = re.compile(r"(\d{1,2}):(\d{2})(?::\d{2})?")
_HOURS = re.compile(r"\d{1,2}(?:\.\d+)?")


def read_clock(text: str) -> float:
    """Hours from a time of the day: ``17:30`` or a number of hours. Raises SprayError naming the text.

    >>> read_clock("17:30"), read_clock("17.5"), read_clock("6")
    (17.5, 17.5, 6.0)
    """
    text = text.strip()
    hours = -1.0
    if _HOURS.fullmatch(text):
        hours = float(text)
    elif (found := _HH_MM.fullmatch(text)) and int(found[2]) < 60:
        hours = int(found[1]) + int(found[2]) / 60
    if not 0 <= hours <= 24:
        raise SprayError(f"{text or 'nothing'} is not a time of day; write 17:30, or hours from 0 to 24")
    return hours


def clock(hours: float) -> str:
    """The time on a clock, to the minute.

    >>> clock(16.879), clock(24)
    ('16:53', '24:00')
    """
    minutes = round(hours * 60)
    return f"{minutes // 60:02d}:{minutes % 60:02d}"
