"""A reading of the weather at the site to be sprayed, and a day's hourly forecast from a CSV file."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from typing import ClassVar

from model.spray.reason import SprayError
from model.spray.table import Row, read_table
from model.spray.time_of_day import read_clock

NEEDED = ("time", "temperature", "humidity", "wind")
LONGEST = 1.0  # hours that one row of a forecast lasts at most


@dataclass(frozen=True)
class Weather:
    """One reading, in shade at the site; checked when it is made.

    ``temperature`` C, ``humidity`` per cent, ``wind`` km/h. ``rain_in``: hours until rain, None where not given.
    ``dry_for``: hours covered by a forecast without rain. ``hour``: 0 to 24 by the local clock. ``lasts``: hours for
    which the reading holds, 0 for the moment. ``warmest_ahead``: the highest temperature forecast for later, C.
    Raises SprayError naming a reading that is impossible.
    """

    temperature: float
    humidity: float
    wind: float
    rain_in: float | None = None
    hour: float | None = None
    lasts: float = 0.0
    dry_for: float | None = None
    warmest_ahead: float | None = None

    # What an instrument outdoors can show: anything beyond is a slip or another unit.
    SPANS: ClassVar[dict[str, tuple[float, float, str]]] = {
        "temperature": (-20, 55, "°C"),
        "humidity": (1, 100, "per cent"),
        "wind": (0, 150, "km/h"),
        "rain_in": (0, 1000, "hours"),
        "hour": (0, 24, "hours"),
    }

    def __post_init__(self) -> None:
        for name, (low, high, unit) in self.SPANS.items():
            value = getattr(self, name)
            if value is not None and not low <= value <= high:
                what = name.replace("_", " ")
                raise SprayError(f"{what} of {value:g} is impossible; give a number from {low:g} to {high:g} {unit}")


@dataclass(frozen=True)
class Forecast:
    """A forecast for one day, in order of time; ``day`` where the file has dates."""

    hours: tuple[Weather, ...]
    day: date | None = None


def read_forecast(path: Path) -> Forecast:
    """Read columns time, temperature (C), humidity (per cent), wind (km/h) and, if there, rain (mm).

    ``time``: HH:MM, an hour, or an ISO date and time, all by the local clock. A row holds for one hour, or until the
    next row. Hours until rain count from its end to the next row with more than 0 mm; 0 where it rains in the hour
    itself. Raises SprayError naming row and column.
    """
    rows = read_table(path, NEEDED, ("rain",))
    times = [_time(row) for row in rows]
    days = {day for day, _ in times}
    if len(days) > 1:
        late = next(row for row, (day, _) in zip(rows, times, strict=True) if day != times[0][0])
        raise late.wrong("time", "it is on another day than the first row; keep one day in a file")
    starts = [hour for _, hour in times]
    for row, before, hour in zip(rows[1:], starts, starts[1:], strict=False):
        if hour <= before:
            raise row.wrong("time", "it is not later than the row before; put the hours in order, each once")
    rains = [_rain(row) for row in rows] if "rain" in rows[0].cells else None
    ends = [min(start + LONGEST, after) for start, after in zip(starts, [*starts[1:], 24.0], strict=True)]
    hours = [_weather(row, start, end) for row, start, end in zip(rows, starts, ends, strict=True)]
    warmest = [max((later.temperature for later in hours[i + 1 :]), default=None) for i in range(len(hours))]
    found = []
    for i, weather in enumerate(hours):
        rain_in, dry_for = (None, None) if rains is None else _rain_ahead(i, starts, ends, rains)
        found.append(dataclasses.replace(weather, warmest_ahead=warmest[i], rain_in=rain_in, dry_for=dry_for))
    return Forecast(tuple(found), days.pop())


def _time(row: Row) -> tuple[date | None, float]:
    text = row.cells["time"]
    if "-" in text:
        try:
            moment = datetime.fromisoformat(text)
        except ValueError:
            raise row.wrong("time", f"{text} is not a date and time; write 2026-09-14T07:00, 07:00 or 7") from None
        if moment.tzinfo is not None:
            raise row.wrong("time", f"{text} names a time zone; give the time by the local clock, without it")
        return moment.date(), moment.hour + moment.minute / 60
    try:
        hour = read_clock(text)
    except SprayError:
        hour = 24.0
    if hour >= 24:
        raise row.wrong("time", f"{text or 'an empty cell'} is not an hour of the day; write 07:00, or 0 to 23")
    return None, hour


def _rain(row: Row) -> float:
    """Millimetres; an empty cell is no rain."""
    if not row.cells["rain"]:
        return 0.0
    value = row.measured("rain")
    if not 0 <= value <= 500:
        raise row.wrong("rain", f"{value:g} mm in an hour is impossible; give millimetres from 0 to 500")
    return value


def _weather(row: Row, start: float, end: float) -> Weather:
    readings = {column: row.measured(column) for column in NEEDED[1:]}
    for column, value in readings.items():
        low, high, unit = Weather.SPANS[column]
        if not low <= value <= high:
            raise row.wrong(column, f"{value:g} is impossible; give a number from {low:g} to {high:g} {unit}")
    return Weather(**readings, hour=start, lasts=end - start)


def _rain_ahead(
    i: int, starts: Sequence[float], ends: Sequence[float], rains: Sequence[float]
) -> tuple[float | None, float | None]:
    """Hours from the end of row ``i`` to the first rain; or None, and the dry hours that the forecast covers."""
    if rains[i] > 0:
        return 0.0, None
    for start, rain in zip(starts[i + 1 :], rains[i + 1 :], strict=True):
        if rain > 0:
            return start - ends[i], None
    return None, math.fsum((ends[-1], -ends[i]))
