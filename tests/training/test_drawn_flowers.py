"""Every kind of flower, head and fruit can be painted, in each of its views, and shows its colour and its count."""

from __future__ import annotations

import numpy as np
import pytest

from model.flora.load import load_characters
from training.drawn.bloom import PETALS
from training.drawn.flower import FlowerForm
from training.drawn.sprite import _PAINTERS, flower_parts, sprite_of, views_of

KINDS = sorted(_PAINTERS)


@pytest.mark.parametrize(("kind", "view"), KINDS, ids=["-".join(one) for one in KINDS])
def test_a_flower_is_painted_within_its_frame_the_same_each_time(kind: str, view: str) -> None:
    form = FlowerForm(kind, (200, 40, 160), view=view, count=5)
    parts = flower_parts(form)
    assert parts and all(np.isfinite(part.points).all() and part.points.shape[1] == 2 for part in parts)
    assert max(float(np.abs(part.points).max()) for part in parts) < 2.5
    assert all(0 <= c <= 255 for part in parts for c in part.colour)
    again = flower_parts(form)
    assert len(again) == len(parts)
    assert all(np.array_equal(a.points, b.points) for a, b in zip(parts, again, strict=True))
    covered = sprite_of(form, 0).levels[0][..., 3]
    assert covered.max() > 200 and 0.005 < (covered > 30).mean() < 0.99
    assert view in views_of(kind)


@pytest.mark.parametrize("kind", ["daisy", "straps", "petals"])
def test_more_petals_are_more_shapes(kind: str) -> None:
    few, many = (len(flower_parts(FlowerForm(kind, (250, 250, 250), count=count))) for count in (5, 13))
    assert many >= few + 8


@pytest.mark.parametrize(("kind", "view"), [("daisy", "top"), ("petals", "top"), ("pea", "side"), ("lipped", "side")])
def test_the_colour_of_the_petals_is_seen(kind: str, view: str) -> None:
    def mean(colour: tuple[int, int, int]) -> np.ndarray:
        picture = sprite_of(FlowerForm(kind, colour, view=view), 0).levels[0].astype(float)
        return picture[..., :3].sum(axis=(0, 1)) / picture[..., 3].sum()

    red, blue = mean((230, 20, 20)), mean((20, 20, 230))
    assert red[0] > blue[0] + 0.05 and blue[2] > red[2] + 0.05


def test_every_flower_with_petals_that_can_be_counted_is_drawn_with_them() -> None:
    petals = set(load_characters()["flower_build"].groups["petals"].states)
    assert set(PETALS) == petals - {"pea", "two_lipped"}
    assert all(name.startswith(("three", "four", "five", "six")[count - 3]) for name, count in PETALS.items())
