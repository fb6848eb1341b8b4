"""Days that records may have, and days some time later, which stay within the calendar."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

from app.records.errors import RecordsError
from model.text import day_text

BACK, AHEAD, FOLLOW_UP = 10, 1, 10  # years
EAST = timedelta(hours=11)  # summer time of the eastern states: where a day begins first


def check_day(day: date, what: str, ahead: int = AHEAD) -> None:
    """Raises RecordsError for a day over ten years back, or over ``ahead`` years from now."""
    today = latest_today()
    if not in_years(today, -BACK) <= day <= in_years(today, ahead):
        raise RecordsError(
            f"the day of the {what}, {day_text(day)}, is over {BACK} years back or {ahead} ahead; correct it"
        )


def latest_today() -> date:
    """Today, by this machine or already in the east of Australia, whose clock it may not have."""
    return latest_now().date()


def latest_now() -> datetime:
    """The hour by the clock on the wall, by this machine or already in the east of Australia; without a time zone."""
    return max(datetime.now(), (datetime.now(UTC) + EAST).replace(tzinfo=None))


def in_years(day: date, years: int) -> date:
    """The same day some years later, or before; after 29 February it is 1 March. The calendar ends with year 9999.

    >>> in_years(date(2028, 2, 29), 2), in_years(date.max, 1) == date.max
    (datetime.date(2030, 3, 1), True)
    """
    years = min(years, date.max.year - day.year)
    return later(day.replace(year=day.year + years, day=min(day.day, 28)), max(day.day - 28, 0))


def later(day: date, days: int) -> date:
    """The day some days later, the last of the calendar where it ends before.

    >>> later(date(2026, 11, 30), 2), later(date.max, 2) == date.max
    (datetime.date(2026, 12, 2), True)
    """
    return day + timedelta(days=min(days, (date.max - day).days))
