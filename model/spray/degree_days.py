"""Degree-days from a record of daily temperatures; a total always carries its unit and its base temperature."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path
from typing import Literal

from model.spray.reason import SprayError
from model.spray.table import Row, read_table

Unit = Literal["C", "F"]
F_DEGREES_IN_A_C_DEGREE = 1.8
COLDEST, HOTTEST = -40.0, 60.0  # C: air temperatures that a thermometer outdoors may show


@dataclass(frozen=True)
class DegreeDays:
    """A total of degree-days over a base, from the means of daily maximum and minimum temperature.

    ``total`` in degree-days and ``base`` in degrees of ``unit``. Only totals over the same base can be compared.

    >>> print(DegreeDays(70, 50, "F").in_unit("C"))
    38.9 C-days over 10 C
    """

    total: float
    base: float
    unit: Unit

    def in_unit(self, unit: Unit) -> DegreeDays:
        """The same total in C-days or F-days: 1 F-day is 1/1.8 C-day; the base is converted too."""
        if unit == self.unit:
            return self
        scale = F_DEGREES_IN_A_C_DEGREE
        if unit == "C":
            return DegreeDays(self.total / scale, to_celsius(self.base, "F"), "C")
        return DegreeDays(self.total * scale, self.base * scale + 32, "F")

    def has_base_of(self, other: DegreeDays) -> bool:
        """Whether both are over the same base, in whichever unit."""
        return math.isclose(self.in_unit("C").base, other.in_unit("C").base, abs_tol=0.01)

    def __str__(self) -> str:
        return f"{self.total:.1f} {self.unit}-days over {self.base:g} {self.unit}"


def to_celsius(degrees: float, unit: Unit) -> float:
    """A temperature in C.

    >>> to_celsius(50, "F")
    10.0
    """
    return (degrees - 32) / F_DEGREES_IN_A_C_DEGREE if unit == "F" else degrees


def degrees_of_day(highest: float, lowest: float, base: float) -> float:
    """The degree-days of one day: the mean of maximum and minimum less the base, never below 0; all in one unit.

    Source: Virginia Tech, as reported by Delaware Cooperative Extension (2008).

    >>> degrees_of_day(75, 27, 50)
    1.0
    """
    return max(0.0, (highest + lowest) / 2 - base)


@dataclass(frozen=True)
class Record:
    """The degree-days of a record of ``days``; those ``missing`` between its first and last add nothing."""

    days: tuple[date, ...]
    total: DegreeDays
    missing: tuple[date, ...]


def read_record(path: Path, base: float, unit: Unit) -> Record:
    """Degree-days from a CSV file of daily temperatures: columns date, max and min, or date and mean.

    ``base`` and the file's temperatures in degrees of ``unit``. Raises SprayError naming row and column.
    """
    if not COLDEST <= to_celsius(base, unit) <= HOTTEST:
        raise SprayError(f"a base of {base:g} {unit} is impossible; give one such as 10 C or 50 F, with its unit")
    rows = read_table(path, ("date",), ("max", "min", "mean"))
    if not {"max", "min"} <= set(rows[0].cells) and "mean" not in rows[0].cells:
        raise SprayError(f"{path} row 1: columns max and min are needed, or mean; name the columns so")
    days: list[date] = []
    total = 0.0
    for row in rows:
        day = _date(row)
        if days and day <= days[-1]:
            raise row.wrong("date", f"{day} is not later than the row before; put the days in order, each once")
        days.append(day)
        total += degrees_of_day(*_extremes(row, unit), base)
    span = (days[0] + timedelta(days=n) for n in range((days[-1] - days[0]).days))
    return Record(tuple(days), DegreeDays(total, base, unit), tuple(sorted(set(span) - set(days))))


def _date(row: Row) -> date:
    text = row.cells["date"]
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise row.wrong("date", f"{text or 'an empty cell'} is not a date; write it as 2026-09-14") from None


def _extremes(row: Row, unit: Unit) -> tuple[float, float]:
    columns = ("max", "min") if {"max", "min"} <= set(row.cells) else ("mean", "mean")
    values = []
    for column in columns:
        value = row.measured(column)
        if not COLDEST <= to_celsius(value, unit) <= HOTTEST:
            raise row.wrong(column, f"{value:g} {unit} is impossible; check the number and the unit")
        values.append(value)
    if values[0] < values[1]:
        raise row.wrong("max", f"{values[0]:g} is below the min of {values[1]:g}; the two may be swapped")
    return values[0], values[1]
