"""Times of day as hours, 0 to 24, by the local clock; sunrise and sunset; and when and where spraying is planned."""

from __future__ import annotations

import calendar
import dataclasses
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from zoneinfo import ZoneInfo

from astral import Observer
from astral.sun import sunrise, sunset

from model.errors import nearest
from model.spray.reason import SprayError
from model.spray.rules import Place

_HH_MM = re.compile(r"(\d{1,2}):(\d{2})(?::\d{2})?")
_AM_PM = re.compile(r"(\d{1,2})(?:[:.](\d{2}))?\s*([aApP])\.?[mM]\.?")
_HOURS = re.compile(r"\d{1,2}(?:\.\d+)?")


def read_clock(text: str) -> float:
    """Hours from a time of day: ``17:30``, ``5.30 pm`` or a number of hours. Raises SprayError naming the text.

    >>> read_clock("17:30"), read_clock("17.5"), read_clock("6"), read_clock("9am"), read_clock("5:30 pm")
    (17.5, 17.5, 6.0, 9.0, 17.5)
    """
    text = text.strip()
    hours = -1.0
    if _HOURS.fullmatch(text):
        hours = float(text)
    elif (found := _HH_MM.fullmatch(text)) and int(found[2]) < 60:
        hours = int(found[1]) + int(found[2]) / 60
    elif (found := _AM_PM.fullmatch(text)) and 1 <= int(found[1]) <= 12 and int(found[2] or 0) < 60:
        hours = int(found[1]) % 12 + int(found[2] or 0) / 60 + 12 * (found[3] in "pP")
    if not 0 <= hours <= 24:
        raise SprayError(f"{text or 'nothing'} is not a time of day; write 17:30 or 5:30 pm, or hours from 0 to 24")
    return hours


def clock(hours: float) -> str:
    """The time on a clock, to the minute.

    >>> clock(16.879), clock(24)
    ('16:53', '24:00')
    """
    minutes = round(hours * 60)
    return f"{minutes // 60:02d}:{minutes % 60:02d}"


@dataclass(frozen=True)
class Daylight:
    """Sunrise and sunset, in hours of the local clock with daylight saving, and in words where and when that is.

    ``whole_month``: they are the latest sunrise and the earliest sunset of a month.
    """

    where: str
    when: str
    sunrise: float
    sunset: float
    whole_month: bool = False


def daylight_of_day(place: Place, day: date) -> Daylight:
    """Sunrise and sunset at a place on one day, to about two minutes."""
    zone, at = ZoneInfo(place.zone), Observer(place.latitude, place.longitude)
    rise, fall = (_hours(sun(at, day, tzinfo=zone)) for sun in (sunrise, sunset))
    return Daylight(place.capital, f"{day.day} {calendar.month_name[day.month]}", rise, fall)


def daylight_of_month(place: Place, year: int, month: int) -> Daylight:
    """The latest sunrise and the earliest sunset of a month, also where the clock changes within it."""
    days = range(1, calendar.monthrange(year, month)[1] + 1)
    lights = [daylight_of_day(place, date(year, month, day)) for day in days]
    rise, fall = max(light.sunrise for light in lights), min(light.sunset for light in lights)
    return Daylight(place.capital, calendar.month_name[month], rise, fall, whole_month=True)


def _hours(time: datetime) -> float:
    return time.hour + time.minute / 60 + time.second / 3600


@dataclass(frozen=True)
class Occasion:
    """Where and when spraying is planned; None where that was not given.

    ``state``: a key of the places of configs/spray.yaml. ``month`` 1 to 12, or a whole ``day``. ``sunrise`` and
    ``sunset``: hours by the local clock, used in place of those calculated. Raises SprayError for impossible values.
    """

    state: str | None = None
    month: int | None = None
    day: date | None = None
    sunrise: float | None = None
    sunset: float | None = None
    year: int = field(default_factory=lambda: date.today().year)

    def __post_init__(self) -> None:
        if self.month is not None and not 1 <= self.month <= 12:
            raise SprayError(f"there is no month {self.month}; give a number from 1 to 12")
        for name, time in (("sunrise", self.sunrise), ("sunset", self.sunset)):
            if time is not None and not 0 <= time <= 24:
                raise SprayError(f"{name} of {time:g} is impossible; give a time of day, such as 17:30")
        if self.sunrise is not None and self.sunset is not None and self.sunrise >= self.sunset:
            raise SprayError("sunrise is not before sunset; give both on the 24-hour clock, such as 06:30 and 17:45")
        if self.month is not None and self.day is not None and self.day.month != self.month:
            raise SprayError(f"the day {self.day} is not in month {self.month}; omit the month, or correct the day")

    def on_day(self, day: date | None) -> Occasion:
        """The same on a day, unless it has one already."""
        return dataclasses.replace(self, day=day) if self.day is None else self

    def lights(self, places: Mapping[str, Place]) -> tuple[Daylight, ...]:
        """Every daylight that may apply: one, or one for each state and month that it may be.

        Raises SprayError for a state that is not among ``places``.
        """
        if self.sunrise is not None and self.sunset is not None:
            return (Daylight("", "", self.sunrise, self.sunset),)
        if self.state is not None and self.state not in places:
            raise SprayError(f"there is no state {self.state}; {nearest(self.state, places)}")
        where = [places[self.state]] if self.state is not None else list(places.values())
        if self.day is not None:
            lights = [daylight_of_day(place, self.day) for place in where]
        else:
            months = [self.month] if self.month is not None else range(1, 13)
            lights = [daylight_of_month(place, self.year, month) for place in where for month in months]
        return tuple(self._as_given(light) for light in lights)

    def _as_given(self, light: Daylight) -> Daylight:
        rise = light.sunrise if self.sunrise is None else self.sunrise
        fall = light.sunset if self.sunset is None else self.sunset
        if rise >= fall:
            raise SprayError("the sun rises there after the sunset that was given; give 17:45, not 5:45")
        return dataclasses.replace(light, sunrise=rise, sunset=fall)

    @property
    def wanted(self) -> str:
        """What would determine the daylight better, in words; empty where nothing is open."""
        if self.sunrise is not None and self.sunset is not None:
            return ""
        lacking = {"--state": "the state"} if self.state is None else {}
        lacking |= {"--month": "the month"} if self.month is None and self.day is None else {}
        if not lacking:
            return ""
        return f"{' and '.join(lacking.values())} ({', '.join(lacking)}), or sunrise and sunset (--sunrise, --sunset)"
