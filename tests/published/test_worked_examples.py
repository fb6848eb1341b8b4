"""The sums against worked examples of named sources, each run as a person would type it."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
import yaml
from typer.testing import CliRunner

from app.commands.mix import mix
from model.mix.doubt import doubt_about_output, load_mix_facts
from model.mix.result import LABEL_FIRST

EXAMPLES = yaml.safe_load((Path(__file__).parent / "worked_examples.yaml").read_text(encoding="utf-8"))
SUMS = [(name, row, one) for name, row in EXAMPLES.items() for one in row.get("sums", [])]
# How much one of the example's units is in the unit of our key: the conversions that the examples themselves use,
# not those of the library that we compute with.
ACRE, GALLON, OUNCE, POUND, FOOT = 0.4047, 3.785, 29.57, 453.6, 0.3048
UNITS = {
    "": 1.0,
    "kg": 1000.0,  # in g
    "ft": FOOT,  # in m
    "ft2": FOOT**2,  # in m2
    "gal/acre": GALLON / ACRE,  # in L/ha
    "floz": OUNCE,  # in mL
    "floz/gal": OUNCE / GALLON,  # in mL/L
    "lb": POUND,  # in g
    "lb/1000ft2": POUND / (1000 * FOOT**2) * 100,  # in g/100 m2
}


def difference(expected: str, found: float, tolerance: float) -> float:
    """By how much a result misses an example, in tolerances: 1 or less agrees."""
    figure, _, unit = expected.partition(" ")
    last = 10.0 ** -len(figure.partition(".")[2])
    allowed = max(tolerance * float(figure), last)
    return abs(found / UNITS[unit] - float(figure)) / allowed


@pytest.mark.parametrize(("name", "row", "one"), SUMS, ids=[f"{name}: {one['what']}" for name, _, one in SUMS])
def test_a_worked_example_comes_out(name: str, row: dict[str, Any], one: dict[str, Any]) -> None:
    done = CliRunner().invoke(mix, [*one["command"], "--json"], catch_exceptions=False)
    assert done.exit_code == 0
    found = json.loads(done.stdout)
    assert found["label_first"] == LABEL_FIRST
    for key, expected in one["expect"].items():
        assert difference(expected, found[key], row.get("tolerance", 0.01)) <= 1, (name, key, expected, found[key])


def test_every_example_that_is_about_mixing_is_here_with_its_source() -> None:
    assert list(EXAMPLES) == [f"M{n}" for n in range(1, 25) if n not in (22, 23)]
    for row in EXAMPLES.values():
        assert row["source"] and row["standing"] in ("published", "common practice")
        assert ("no source" in row["source"]) == (row["standing"] == "common practice")
        assert row.get("sums") or row.get("outputs")


def test_the_yardstick_knows_a_wrong_result() -> None:
    assert difference("250", 250.0, 0.01) == 0
    assert difference("250", 10_000 / 41, 0.01) > 1, "1:40 as one part in 40 of the whole would pass"
    assert difference("3.2 floz", 3.2 * OUNCE * 1.05, 0.015) > 1
    assert difference("57 ft", 57 * FOOT + 2 * FOOT, 0.01) > 1
    assert difference("25 gal/acre", 25 * GALLON / ACRE * 340.3 / (8.5 * 18.5), 0.01) > 1, "the misprint would pass"


def test_published_outputs_of_boom_and_knapsack_are_those_that_we_compare_with() -> None:
    for name, (low, high) in EXAMPLES["M21"]["outputs"].items():
        span = load_mix_facts().spans[name]
        assert (span.low, span.high, span.standing) == (low, high, EXAMPLES["M21"]["standing"])
    said = {litres: [d.text for d in doubt_about_output(litres)] for litres in (29, 30, 100, 1000, 1500, 1501)}
    assert "published" in said[29][0] and "published" in said[1501][0]
    assert said[30] == said[100] == said[1000] == said[1500] == []


@pytest.mark.parametrize("output", EXAMPLES["M21"]["outputs"]["boom_output"])
def test_a_boom_rate_is_never_carried_into_a_spot_mix(output: int) -> None:
    done = CliRunner().invoke(mix, ["spot", "--volume", "10", "--rate", f"{output} L/ha", "--json"])
    assert done.exit_code != 0 and done.stdout == ""
    assert "never carry a boom rate into a spot mix" in str(done.exception)
