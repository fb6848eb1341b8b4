"""Draw the first demo photo, a dandelion in turf: ``python -m training.drawn.dandelion OUT.jpg [SEED]``.

Everything is drawn with Pillow from a seed; no photo is used.
"""

from __future__ import annotations

import math
import random
import sys
from pathlib import Path

from PIL import Image, ImageDraw, ImageFilter

SIZE = (800, 600)
SHARPER = 2  # drawn larger, then scaled down, for soft edges
Point = tuple[float, float]
Colour = tuple[int, int, int]


def draw_dandelion(seed: int) -> Image.Image:
    """One picture, RGB, SIZE px: the same for the same seed."""
    dice = random.Random(seed)
    width, height = SIZE[0] * SHARPER, SIZE[1] * SHARPER
    image = Image.new("RGB", (width, height), (74, 66, 46))
    pen = ImageDraw.Draw(image)
    for _ in range(9000):
        _blade(pen, dice, width, height)
    image = image.filter(ImageFilter.GaussianBlur(1.6 * SHARPER))
    pen = ImageDraw.Draw(image)
    for _ in range(3500):
        _blade(pen, dice, width, height)
    middle = (width * 0.5, height * 0.60)
    turns = [i * 2.399 + dice.uniform(-0.2, 0.2) for i in range(16)]
    for number, turn in enumerate(turns):
        _leaf(pen, dice, middle, turn, (330 - number * 12) * SHARPER * 0.8)
    for tip in ((0.40, 0.36), (0.63, 0.30), (0.53, 0.50)):
        _flower(pen, dice, middle, (width * tip[0], height * tip[1]))
    for _ in range(250):
        _blade(pen, dice, width, height)
    return image.resize(SIZE, Image.Resampling.LANCZOS).filter(ImageFilter.GaussianBlur(0.5))


def _shade(dice: random.Random, colour: Colour, spread: int) -> Colour:
    step = dice.randint(-spread, spread)
    red, green, blue = (max(0, min(255, part + step)) for part in colour)
    return red, green, blue


def _blade(pen: ImageDraw.ImageDraw, dice: random.Random, width: int, height: int) -> None:
    x, y = dice.uniform(0, width), dice.uniform(0, height * 1.05)
    long, lean = dice.uniform(25, 90) * SHARPER, dice.gauss(0, 0.45)
    bend = dice.gauss(0, 0.25)
    points = [(x + long * t * math.sin(lean + bend * t), y - long * t * math.cos(lean + bend * t)) for t in (0, 0.5, 1)]
    base = dice.choice([(86, 118, 44), (104, 132, 52), (66, 98, 40), (140, 138, 78)])
    pen.line(points, fill=_shade(dice, base, 20), width=dice.randint(2, 4) * SHARPER // 2, joint="curve")


def _leaf(pen: ImageDraw.ImageDraw, dice: random.Random, base: Point, turn: float, long: float) -> None:
    """A leaf with teeth that point back to the base, seen from above and a little from the side."""
    lobes = 6
    left: list[Point] = []
    right: list[Point] = []
    for i in range(lobes + 1):
        t = 0.14 + 0.72 * i / lobes
        wide = long * 0.15 * (0.35 + t) * dice.uniform(0.85, 1.1)
        for side in (left, right):
            side.append((t, wide * 0.28))
            side.append((t + 0.02, wide))
    outline = [(0.0, 0.012 * long), *left, (0.93, long * 0.09), (1.0, 0.0)]
    other = [(0.0, -0.012 * long), *[(t, -w) for t, w in right], (0.93, -long * 0.09)]
    bend = dice.gauss(0, 0.25)
    shape = [_placed(base, turn + bend * t, t * long, w) for t, w in outline + other[::-1]]
    pen.polygon(shape, fill=_shade(dice, (72, 122, 46), 14))
    rib = [_placed(base, turn + bend * t, t * long, 0) for t in (0, 0.3, 0.6, 0.95)]
    pen.line(rib, fill=_shade(dice, (150, 172, 104), 8), width=int(3 * SHARPER), joint="curve")


def _placed(base: Point, turn: float, along: float, across: float) -> Point:
    x = along * math.cos(turn) - across * math.sin(turn)
    y = along * math.sin(turn) + across * math.cos(turn)
    return base[0] + x, base[1] + y * 0.72


def _flower(pen: ImageDraw.ImageDraw, dice: random.Random, base: Point, tip: Point) -> None:
    bend = ((base[0] + tip[0]) / 2 + dice.uniform(-20, 20) * SHARPER, (base[1] + tip[1]) / 2)
    pen.line([base, bend, tip], fill=(148, 128, 88), width=int(6 * SHARPER), joint="curve")
    radius = dice.uniform(46, 56) * SHARPER
    for ring in range(7):
        reach = radius * (1 - ring * 0.13)
        for i in range(42 - ring * 4):
            turn = i * 2 * math.pi / (42 - ring * 4) + dice.uniform(-0.06, 0.06)
            end = (tip[0] + reach * math.cos(turn), tip[1] + reach * math.sin(turn) * 0.85)
            colour = _shade(dice, (244 - ring * 4, 196 - ring * 6, 28), 16)
            pen.line([tip, end], fill=colour, width=int(3.4 * SHARPER))


def main(arguments: list[str]) -> int:
    """Write one picture."""
    if len(arguments) not in (1, 2):
        sys.stderr.write("usage: python -m training.drawn.dandelion OUT.jpg [SEED]\n")
        return 2
    seed = int(arguments[1]) if len(arguments) == 2 else 7
    draw_dandelion(seed).save(Path(arguments[0]), quality=85)
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
