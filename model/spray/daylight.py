"""Sunrise and sunset by the local clock, daylight saving included."""

from __future__ import annotations

import calendar
from dataclasses import dataclass
from datetime import date, datetime
from zoneinfo import ZoneInfo

from astral import Observer
from astral.sun import sunrise, sunset

from model.spray.rules import Place


@dataclass(frozen=True)
class Daylight:
    """Sunrise and sunset, in hours of the local clock, and in words where and when that is.

    ``whole_month``: they are the latest sunrise and the earliest sunset of a month.
    """

    where: str
    when: str
    sunrise: float
    sunset: float
    whole_month: bool = False


def daylight_of_day(place: Place, day: date) -> Daylight:
    """Sunrise and sunset at a place on one day, to about two minutes."""
    zone = ZoneInfo(place.zone)
    at = Observer(place.latitude, place.longitude)
    rise, fall = (_hours(sun(at, day, tzinfo=zone)) for sun in (sunrise, sunset))
    return Daylight(place.capital, f"{day.day} {calendar.month_name[day.month]}", rise, fall)


def daylight_of_month(place: Place, year: int, month: int) -> Daylight:
    """The latest sunrise and the earliest sunset of a month: what holds on all its days.

    The clock may change within the month; then the days on both sides count.
    """
    days = range(1, calendar.monthrange(year, month)[1] + 1)
    lights = [daylight_of_day(place, date(year, month, day)) for day in days]
    rise, fall = max(light.sunrise for light in lights), min(light.sunset for light in lights)
    return Daylight(place.capital, calendar.month_name[month], rise, fall, whole_month=True)


def _hours(time: datetime) -> float:
    return time.hour + time.minute / 60 + time.second / 3600
