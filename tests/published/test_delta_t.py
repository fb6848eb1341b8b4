"""Delta T against a published table, and against two other ways to reckon it."""

from __future__ import annotations

import math
from pathlib import Path

import pytest
import yaml

from model.spray import delta_t

TABLE = yaml.safe_load(Path(__file__).with_name("delta_t.yaml").read_text(encoding="utf-8"))
ROWS = TABLE["rows"]


def stull(temperature: float, humidity: float) -> float:
    """Stull (2011), https://doi.org/10.1175/JAMC-D-11-0143.1: error of the wet bulb -1.0 to +0.65 C."""
    return temperature - (
        temperature * math.atan(0.151977 * math.sqrt(humidity + 8.313659))
        + math.atan(temperature + humidity)
        - math.atan(humidity - 1.676331)
        + 0.00391838 * humidity**1.5 * math.atan(0.023101 * humidity)
        - 4.686035
    )


@pytest.mark.parametrize("row", ROWS, ids=[f"{row['temperature']} C {row['humidity']} %" for row in ROWS])
def test_published_table(row: dict[str, float]) -> None:
    found = delta_t(row["temperature"], row["humidity"])
    assert found == pytest.approx(row["published"], abs=TABLE["tolerance"])
    # Not published: the formula's own value, so that a slip in the table's copy shows too.
    assert found == pytest.approx(row["computed"], abs=0.01)


def test_the_whole_table_is_there() -> None:
    assert len(ROWS) == 19 and TABLE["source"]


# Not published: the formula alone.
@pytest.mark.parametrize(
    ("temperature", "humidity", "computed"), [(30, 40, 9.8), (25, 40, 8.7), (35, 30, 13.3), (15, 90, 1.0)]
)
def test_formula_beyond_the_table(temperature: float, humidity: float, computed: float) -> None:
    assert delta_t(temperature, humidity) == pytest.approx(computed, abs=0.05)


@pytest.mark.parametrize("temperature", range(12, 46, 3))
@pytest.mark.parametrize("humidity", range(10, 100, 10))
def test_two_other_ways_agree_where_people_spray(temperature: int, humidity: int) -> None:
    """The wet bulb of ASHRAE Fundamentals (2017), as psychrolib has it, and the fit of Stull (2011)."""
    psychrolib = pytest.importorskip(
        "psychrolib", reason="without psychrolib a Delta T that is wrong between the rows of the table goes unseen"
    )
    psychrolib.SetUnitSystem(psychrolib.SI)
    found = delta_t(temperature, humidity)
    ashrae = temperature - psychrolib.GetTWetBulbFromRelHum(temperature, humidity / 100, 101325)
    assert found == pytest.approx(ashrae, abs=0.1 + 0.02 * found)
    assert -1.0 - 0.4 < found - stull(temperature, humidity) < 0.65 + 0.4
