"""Where and when spraying is meant to happen, as far as it was told."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date

from model.errors import nearest
from model.spray.daylight import Daylight, daylight_of_day, daylight_of_month
from model.spray.reason import SprayError
from model.spray.rules import Place


@dataclass(frozen=True)
class Occasion:
    """What is known of place and day; None where nobody said.

    ``state``: a key of the places of configs/spray.yaml. ``month`` 1 to 12, or a whole ``day``.
    ``sunrise`` and ``sunset``: hours by the local clock, which win over what is reckoned.
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
                raise SprayError(f"{name} of {time:g} cannot be; give a time of the day, such as 17:30")
        if self.sunrise is not None and self.sunset is not None and self.sunrise >= self.sunset:
            raise SprayError(
                "sunrise is not before sunset; give both by the clock of 24 hours, such as 06:30 and 17:45"
            )
        if self.month is not None and self.day is not None and self.day.month != self.month:
            raise SprayError(f"the day {self.day} is not in month {self.month}; omit the month, or correct the day")

    def lights(self, places: Mapping[str, Place]) -> tuple[Daylight, ...]:
        """Every daylight that may hold: one, or one for each state and month that it may be.

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
            raise SprayError("the sun rises at that place after the sunset that was given; give 17:45, not 5:45")
        return dataclasses.replace(light, sunrise=rise, sunset=fall)

    @property
    def wanted(self) -> str:
        """What would tell the daylight better, in words; empty where nothing is open."""
        if self.sunrise is not None and self.sunset is not None:
            return ""
        lacking = {"--state": "the state"} if self.state is None else {}
        lacking |= {"--month": "the month"} if self.month is None and self.day is None else {}
        if not lacking:
            return ""
        return f"{' and '.join(lacking.values())} ({', '.join(lacking)}), or sunrise and sunset (--sunrise, --sunset)"
