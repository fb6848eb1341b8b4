"""A reading of the weather at the place that is to be sprayed."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

from model.spray.reason import SprayError


@dataclass(frozen=True)
class Weather:
    """One reading, in shade at the site; checked when it is made.

    ``temperature`` C, ``humidity`` per cent, ``wind`` km/h. ``rain_in``: hours until rain, None
    where nobody said. ``dry_for``: hours for which a forecast sees no rain, where it sees none.
    ``hour``: 0 to 24 by the local clock. ``lasts``: hours for which the reading stands, 0 for
    the moment. ``warmest_ahead``: the highest temperature forecast for later, C.
    Raises SprayError naming the reading that cannot be.
    """

    temperature: float
    humidity: float
    wind: float
    rain_in: float | None = None
    hour: float | None = None
    lasts: float = 0.0
    dry_for: float | None = None
    warmest_ahead: float | None = None

    # What can be read off an instrument outdoors: beyond it lies a slip or another unit.
    SPANS: ClassVar[dict[str, tuple[float, float, str]]] = {
        "temperature": (-20, 55, "C"),
        "humidity": (1, 100, "per cent"),
        "wind": (0, 150, "km/h"),
        "rain_in": (0, 1000, "hours"),
        "hour": (0, 24, "hours"),
    }

    def __post_init__(self) -> None:
        for name, (low, high, unit) in self.SPANS.items():
            value = getattr(self, name)
            if value is not None and not low <= value <= high:
                told = name.replace("_", " ")
                raise SprayError(f"{told} of {value:g} cannot be; give a number from {low:g} to {high:g} {unit}")
