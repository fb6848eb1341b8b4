"""The benchmarks run, and say what no noise can overturn. Figures: ``python -m tests.benchmarks.speed``."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from model.identify import Key, Observation
from model.photo.decode import open_photo
from model.traits import next_question
from tests.benchmarks.growth import draw_growth, growth_figures
from tests.benchmarks.phone import HEIGHT, WIDTH, phone_photo
from tests.benchmarks.stopwatch import medians, table


@pytest.fixture(scope="module")
def photo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A quarter of a phone's pixels, which are soon made."""
    return phone_photo(tmp_path_factory.mktemp("phone") / "phone.jpg", 0, WIDTH // 2, HEIGHT // 2)


def test_a_phone_photo_is_as_large_as_phones_make_them_and_lies_on_its_side(photo: Path) -> None:
    assert 0.5e6 < photo.stat().st_size < 1.5e6
    with Image.open(photo) as image:
        assert image.size == (WIDTH // 2, HEIGHT // 2) and image.getexif()[0x0112] == 6
    opened = open_photo(photo)
    assert opened.pixels.shape[0] > opened.pixels.shape[1] and opened.notes == ()


@pytest.mark.timed
def test_decoding_at_a_reduced_size_is_faster_than_decoding_all(tmp_path: Path) -> None:
    # As large as phones make them: of a quarter the gain is so small that a busy machine hides it.
    photo = phone_photo(tmp_path / "phone.jpg", 0, WIDTH, HEIGHT)

    def whole() -> object:
        with Image.open(photo) as image:
            return np.asarray(image.convert("RGB").resize((549, 412), Image.Resampling.BILINEAR))

    found = medians({"whole": whole, "reduced": lambda: open_photo(photo)}, 5)
    assert found["reduced"] < found["whole"]


@pytest.mark.timed
def test_waiting_grows_no_faster_than_the_flora(tmp_path: Path) -> None:
    figures = growth_figures(5, (60, 600))
    # Ten times as many species; measured: about four times as long.
    assert all(figures.times_as_long(what) < 15 for what in ("question", "identify", "photo"))
    assert figures.by_count[600]["question"] < 20
    draw_growth(figures, tmp_path / "growth.svg")
    assert "600" in (tmp_path / "growth.svg").read_text(encoding="utf-8")


@pytest.mark.timed
def test_choosing_a_question_takes_under_20_ms(key: Key) -> None:
    p = key.posterior(Observation())
    assert medians({"choose": lambda: next_question(key.likelihoods, p, {})}, 20)["choose"] < 20


def test_a_table_reads_as_markdown() -> None:
    assert table(["a", "b"], [["1", "2"]]) == "| a | b |\n| --- | --- |\n| 1 | 2 |"
