"""The card of a model says what was measured, of what it was learned, and where its calibration is off."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from tests.training.test_promote_read import classifier
from training.data.manifest import LabelledPhoto
from training.evaluate.card import card
from training.evaluate.measure import Measurement

ACCOUNT = {
    "photos_by_part": {"fit": 6, "held_out": 2},
    "groups_by_part": {"fit": 3, "held_out": 1},
    "balanced_accuracy_by_shrinkage": {"0.5": 0.9},
}
MEASURED = Measurement(100, 40, 0.8125, 0.95, 0.79, 0.654, 0.031, 0.05, {"a": 0.75, "other": 0.5})


def photo(name: str, known: bool, licence: str = "CC0") -> LabelledPhoto:
    return LabelledPhoto(Path(name), name, "a", f"g{name}", known, "field", "us", licence)


def lines(measured: dict[str, Measurement]) -> list[str]:
    photos = [photo("1", True), photo("2", True), photo("3", False), photo("4", True, "CC BY")]
    return card(
        classifier(), ACCOUNT, measured, {"a": 0.875, "b": 0.5}, photos, "# Adapted\n\n| a trial |\n"
    ).splitlines()


def test_the_card_counts_photos_by_source_and_licence() -> None:
    told = lines({"all": MEASURED})
    assert "| field | CC BY | 1 | known |" in told and "| field | CC0 | 2 | known |" in told
    assert "| field | CC0 | 1 | not known: split by photo |" in told
    assert "Parts, split by group: fit 6 (3 groups), held_out 2 (1 groups)." in told


def test_the_card_gives_the_figures_and_each_class() -> None:
    told = lines({"all": MEASURED})
    assert "| all | 100 | 40 | 0.812 | 0.790 | 0.950 | 0.654 | 0.031 | 0.050 |" in told
    assert "| a | 3 | 0.750 | 0.875 |" in told and "| b | 3 | - | 0.500 |" in told
    assert "| c | 3 | - | nan |" in told and "| other:x | 3 | 0.500 (all of `other`) | nan |" in told
    fitted = next(line for line in told if line.startswith("shrinkage"))
    assert "temperature 2.00" in fitted and "of classes left out 1.500 +- 0.600" in fitted


def test_the_card_ends_with_how_the_network_was_adapted() -> None:
    told = lines({"all": MEASURED})
    assert told.index("## Adapted") > told.index("## What to know before trusting it") and told[-1] == "| a trial |"


def test_calibration_that_is_off_is_said(capsys: pytest.CaptureFixture[str]) -> None:
    assert "Calibration is within chance." in lines({"all": MEASURED})
    off = replace(MEASURED, ece=0.06)
    assert "Calibration is off, by more than chance, on: field." in lines({"all": MEASURED, "field": off})
