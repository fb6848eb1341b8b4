"""Delta T: the wet-bulb depression, which says how fast droplets evaporate."""

from __future__ import annotations

from bisect import bisect_left
from math import exp

PRESSURE = 1013.25  # hPa, the standard atmosphere at sea level
DEEPEST = 60.0  # C: more than any depression in air of -20 to 55 C
STEP = 1e-6  # C, to which the depression is worked out


def delta_t(temperature: float, humidity: float) -> float:
    """Delta T in C: air temperature less wet-bulb temperature, at sea level.

    ``temperature`` in C, -20 to 55; ``humidity`` is relative, 1 to 100 per cent. 0 in saturated air, and higher the
    drier it is. The bulb is taken as wet below freezing too, so that there is no step where it would ice. Source: the
    psychrometric equation, with the vapour pressure of Bolton (1980); within 0.3 C of the relative humidity table of
    FOSS Weather and Water.

    >>> round(delta_t(30, 50), 1), delta_t(20, 100)
    (7.9, 0.0)
    """
    vapour = humidity / 100 * saturation(temperature)

    def lacking(steps: int) -> float:
        """Vapour of the air less that of a bulb this far below it, hPa: rises with the depression, 0 at the answer."""
        depression = steps * STEP
        bulb = temperature - depression
        return vapour + 0.00066 * (1 + 0.00115 * bulb) * PRESSURE * depression - saturation(bulb)

    # An import of scipy for a root finder would take longer than all else that `window` does.
    return bisect_left(range(round(DEEPEST / STEP)), 0.0, key=lacking) * STEP


def saturation(temperature: float) -> float:
    """Vapour pressure over water, hPa, in saturated air at a temperature in C (Bolton 1980).

    >>> round(saturation(20), 1)
    23.4
    """
    return 6.112 * exp(17.67 * temperature / (temperature + 243.5))
