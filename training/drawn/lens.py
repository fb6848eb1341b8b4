"""What light, lens and camera do to a picture: shade, white balance, contrast, blur, noise, JPEG."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import cv2
import numpy as np

from training.drawn import brush
from training.drawn.brush import Picture
from training.drawn.chance import noise_dice


@dataclass(frozen=True)
class Lens:
    """``exposure``: the mean grey that the camera aims at; ``warmth`` -0.2 cool to 0.2 warm;
    ``contrast`` 0 flat to 1 hard; ``colour`` saturation factor; ``vignette`` 0..0.4; ``dapple`` 0..1 shade of trees;
    ``blur`` px; ``shake`` px of motion; ``sharpen`` 0..1; ``noise`` grey levels; ``quality`` of the JPEG.
    """

    exposure: float
    warmth: float
    contrast: float
    colour: float
    vignette: float
    dapple: float
    blur: float
    shake: float
    sharpen: float
    noise: float
    quality: int


@lru_cache(maxsize=4)
def _grain(side: int) -> Any:
    """Sensor noise around 128, deviation 16; smeared a little, as a camera's denoising leaves it."""
    chance = noise_dice(1, "grain")
    field = chance.normal(0, 1, (side + 64, side + 64, 3)).astype(np.float32)
    shared = chance.normal(0, 1, (side + 64, side + 64, 1)).astype(np.float32)
    grain = brush.soften(field * 0.6 + shared, 0.55)
    return np.clip(128 + 16 * grain, 0, 255).astype(np.uint8)


def through_lens(taken: Picture, lens: Lens, seed: int) -> Picture:
    """The picture as the camera would keep it."""
    picture: Any = taken
    side = picture.shape[0]
    chance = noise_dice(seed, "lens")
    light = _shade(lens, chance, side)
    if light is not None:
        picture = cv2.multiply(picture, cv2.merge([light, light, light]), dtype=cv2.CV_8U)
    if lens.shake > 0.8:
        picture = _shaken(picture, lens.shake, chance)
    picture = brush.soften(picture, lens.blur)
    metered = float(picture[::6, ::6].mean())
    brightest = float(np.percentile(picture[::8, ::8], 97))
    gain = float(np.clip(lens.exposure / max(metered, 1.0), 0.55, max(0.9, min(2.2, 228 / max(brightest, 1.0)))))
    picture = cv2.LUT(picture, _curve(lens, gain)[None])
    if abs(lens.colour - 1) > 0.03:
        picture = cv2.transform(picture, np.eye(3) * lens.colour + (1 - lens.colour) / 3)
    if lens.sharpen > 0.05:
        picture = cv2.addWeighted(picture, 1 + lens.sharpen, brush.soften(picture, 1.3), -lens.sharpen, 0)
    if lens.noise > 0.3:
        top, left = (int(chance.integers(64)) for _ in range(2))
        grain = _grain(side)[top : top + side, left : left + side]
        part = lens.noise / 16
        picture = cv2.addWeighted(picture, 1.0, grain, part, -128 * part)
    _, data = cv2.imencode(".jpg", picture[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, lens.quality])
    return np.ascontiguousarray(np.asarray(cv2.imdecode(data, cv2.IMREAD_COLOR))[..., ::-1])


def _curve(lens: Lens, gain: float) -> Any:
    """Exposure, white balance and contrast as a table, uint8 (256, 3)."""
    x = np.arange(256, dtype=np.float64)[:, None] / 255
    x = x * gain * np.array([1 + lens.warmth, 1.0, 1 - lens.warmth])
    x = np.where(x > 0.72, 0.72 + 0.28 * np.tanh((x - 0.72) / 0.28 * 0.72), x)  # highlights roll off
    s = 3 * np.clip(x, 0, 1) ** 2 - 2 * np.clip(x, 0, 1) ** 3
    return np.clip((x * (1 - lens.contrast) + s * lens.contrast) * 255, 0, 255).astype(np.uint8)


def _shade(lens: Lens, chance: np.random.Generator, side: int) -> Any:
    """Vignette and the shade of trees as a factor a pixel, or None."""
    if lens.vignette < 0.03 and lens.dapple < 0.05:
        return None
    small = 64
    x = np.linspace(-1, 1, small, dtype=np.float32)
    light = 1 - lens.vignette * (x[None] ** 2 + x[:, None] ** 2) / 2
    if lens.dapple >= 0.05:
        spots = brush.cloud(chance, small, small, chance.uniform(9, 40), 2)
        light = light * (1 - 0.62 * lens.dapple * np.clip(spots * 2.5 + 0.5, 0, 1))
    return brush.scaled(light.astype(np.float32), side, side)


def _shaken(picture: Picture, shake: float, chance: np.random.Generator) -> Picture:
    turn = chance.uniform(0, np.pi)
    total = picture.astype(np.float32)
    for k in range(1, 4):
        dx, dy = round(shake * k / 3 * np.cos(turn)), round(shake * k / 3 * np.sin(turn))
        total += np.roll(picture, (dy, dx), axis=(0, 1))
    return (total / 4).astype(np.uint8)
