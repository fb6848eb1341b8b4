"""Colours of parts, RGB 0..255 in plain daylight; what a species file calls `yellow` as paint."""

from __future__ import annotations

import random
from collections.abc import Mapping

Rgb = tuple[float, float, float]

# From memory, chosen by eye for sunlit parts.
FLOWER: Mapping[str, Rgb] = {
    "yellow": (243, 205, 26),
    "white": (240, 240, 232),
    "pink": (226, 130, 178),
    "purple": (150, 92, 164),
    "blue": (98, 122, 214),
    "orange_red": (226, 92, 52),
    "green": (142, 166, 92),
    "brown": (152, 112, 70),
}
LEAF: Rgb = (104, 144, 72)
GRASS: Rgb = (114, 150, 76)
FLESHY: Rgb = (98, 142, 80)
FELT: Rgb = (138, 156, 118)
STEM: Rgb = (132, 156, 96)
RED_STEM: Rgb = (148, 104, 84)
# Grass heads that a flora calls purple are green or straw with a tinge.
GRASS_HEAD: Mapping[str, Rgb] = {
    "green": (140, 158, 96),
    "purple": (134, 112, 108),
    "brown": (158, 128, 88),
    "white": (196, 196, 168),
    "yellow": (186, 166, 88),
}
DEAD: Rgb = (172, 146, 92)
DISC: Mapping[str, Rgb] = {"yellow": (226, 174, 34), "dark": (58, 42, 46)}


def from_hex(text: str) -> Rgb:
    """'#rrggbb' as numbers.

    >>> from_hex("#ff8000")
    (255.0, 128.0, 0.0)
    """
    return float(int(text[1:3], 16)), float(int(text[3:5], 16)), float(int(text[5:7], 16))


def mixed(one: Rgb, other: Rgb, part: float) -> Rgb:
    """``part`` of the other colour in the one."""
    keep = 1.0 - part
    return (
        one[0] * keep + other[0] * part,
        one[1] * keep + other[1] * part,
        one[2] * keep + other[2] * part,
    )


def lit(colour: Rgb, by: float) -> Rgb:
    """Brighter or darker by a factor, kept within 0..255."""
    red, green, blue = (min(255.0, max(0.0, part * by)) for part in colour)
    return red, green, blue


def varied(colour: Rgb, dice: random.Random, light: float, hue: float) -> Rgb:
    """A neighbour of the colour: ``light`` and ``hue`` are standard deviations as shares."""
    by = max(0.3, dice.gauss(1.0, light))
    red, green, blue = (part * by * dice.gauss(1.0, hue) for part in colour)
    return lit((red, green, blue), 1.0)
