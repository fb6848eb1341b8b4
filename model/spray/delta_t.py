"""Delta T: the wet-bulb depression, which says how fast droplets evaporate."""

from __future__ import annotations

from math import exp

PRESSURE = 1013.25  # hPa, the standard atmosphere at sea level
DEEPEST = 60.0  # C: more than any depression in air of -20 to 55 C


def delta_t(temperature: float, humidity: float) -> float:
    """Delta T in C: air temperature less wet-bulb temperature, at sea level.

    ``temperature`` in C, -20 to 55; ``humidity`` is relative, 1 to 100 per cent. 0 in saturated air, and higher the
    drier it is. The bulb is taken as wet below freezing too, so that there is no step where it would ice. Source: the
    psychrometric equation, with the vapour pressure of Bolton (1980); within 0.3 C of the relative humidity table of
    FOSS Weather and Water.

    >>> round(delta_t(30, 50), 1), delta_t(20, 100)
    (7.9, 0.0)
    """
    # scipy takes half a second to import, and most commands find no root.
    from scipy.optimize import brentq

    vapour = humidity / 100 * saturation(temperature)

    def excess(depression: float) -> float:
        bulb = temperature - depression
        return saturation(bulb) - 0.00066 * (1 + 0.00115 * bulb) * PRESSURE * depression - vapour

    found: float = brentq(excess, 0.0, DEEPEST, xtol=1e-9)
    return found


def saturation(temperature: float) -> float:
    """Vapour pressure over water, hPa, in saturated air at a temperature in C (Bolton 1980).

    >>> round(saturation(20), 1)
    23.4
    """
    return 6.112 * exp(17.67 * temperature / (temperature + 243.5))
