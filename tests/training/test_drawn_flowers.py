"""Every kind of flower, head and fruit can be painted, in each of its views, and shows its colour and its count."""

from __future__ import annotations

import numpy as np
import pytest

from model.flora.load import load_characters
from training.drawn.bloom import PETALS
from training.drawn.flower import FlowerForm
from training.drawn.kinds import _PAINTERS, flower_parts, views_of
from training.drawn.organ import Blossom, Plant
from training.drawn.paint import Easel
from training.drawn.view import Light, View

KINDS = sorted(_PAINTERS)


PAPER = 10


def painted(form: FlowerForm) -> np.ndarray:
    """One flower on dark paper, from the side that the camera has when it faces up or away from it."""
    facing = (0.0, 0.0, 1.0) if form.view == "top" else (0.0, 1.0, 0.0)
    plant = Plant(blossoms=(Blossom(form, (0.0, 0.0, 0.0), facing, 10.0, 0),))
    view = View(4.0, 0.0, (-60.0, -60.0))
    easel = Easel(np.full((120, 120, 3), PAPER, np.uint8), view, Light((0.0, 0.0, 1.0), 0.3, 0.8))
    easel.put(plant)
    return easel.finish()


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
    covered = (painted(form) > PAPER + 20).any(axis=2)
    assert 0.005 < covered.mean() < 0.99
    assert view in views_of(kind)


@pytest.mark.parametrize("kind", ["daisy", "straps", "petals"])
def test_more_petals_are_more_shapes(kind: str) -> None:
    few, many = (len(flower_parts(FlowerForm(kind, (250, 250, 250), count=count))) for count in (5, 13))
    assert many >= few + 8


@pytest.mark.parametrize(("kind", "view"), [("daisy", "top"), ("petals", "top"), ("pea", "side"), ("lipped", "side")])
def test_the_colour_of_the_petals_is_seen(kind: str, view: str) -> None:
    def mean(colour: tuple[int, int, int]) -> np.ndarray:
        return painted(FlowerForm(kind, colour, view=view, disc=0.9 if kind == "petals" else 0.3)).mean(axis=(0, 1))

    red, blue = mean((230, 20, 20)), mean((20, 20, 230))
    assert red[0] > blue[0] + 10 and blue[2] > red[2] + 10


def test_every_flower_with_petals_that_can_be_counted_is_drawn_with_them() -> None:
    petals = set(load_characters()["flower_build"].groups["petals"].states)
    assert set(PETALS) == petals - {"pea", "two_lipped"}
    assert all(name.startswith(("three", "four", "five", "six")[count - 3]) for name, count in PETALS.items())
