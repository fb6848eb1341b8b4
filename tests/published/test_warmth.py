"""Degree-days and soil temperatures against the published figures, with their sources."""

from __future__ import annotations

import pytest

from model.spray.degree_days import DegreeDays, degrees_of_day, to_celsius
from model.spray.warmth import SoilThreshold, load_warmth

# Results agree with what is published to 1 per cent or to the last figure shown, whichever is wider.
VIRGINIA_TECH = "Virginia Tech, reported by Delaware Cooperative Extension (2008)"
PURDUE = "Purdue University Turfgrass Science, When will crabgrass germinate"
UC_TURF = "UC IPM, Turfgrass, special weed problems"
UC_KYLLINGA = "UC IPM Pest Notes, Green Kyllinga"
COLORADO = "Colorado State University Extension Master Gardener column, Annual weeds (2021)"
WISCONSIN = "University of Wisconsin-Madison Turf, crabgrass pre-emergence timer"


def test_a_day_in_fahrenheit_and_in_celsius() -> None:
    """VIRGINIA_TECH: highest 75 F, lowest 27 F, base 50 F is 1 degree-day; the same in C is derived."""
    day = DegreeDays(degrees_of_day(75, 27, 50), 50, "F")
    assert day.total == pytest.approx(1.0, abs=0.01)
    assert day.in_unit("C").total == pytest.approx(0.56, abs=0.005)
    derived = DegreeDays(degrees_of_day(23.9, -2.8, 10), 10, "C")
    assert derived.total == pytest.approx(0.56, abs=0.011)  # from temperatures rounded to 0.1 C
    assert derived.in_unit("F").total == pytest.approx(1.0, abs=0.015)


def test_a_day_below_the_base_counts_nothing() -> None:
    """VIRGINIA_TECH: negatives count 0."""
    assert degrees_of_day(50, 30, 50) == 0


@pytest.mark.parametrize(
    ("f_days", "c_days"), [(70, 39), (140, 78), (200, 111)], ids=[VIRGINIA_TECH, VIRGINIA_TECH + " (2)", PURDUE]
)
def test_totals_of_crabgrass_in_celsius(f_days: float, c_days: float) -> None:
    found = DegreeDays(f_days, 50, "F").in_unit("C")
    assert found.total == pytest.approx(c_days, abs=0.5)
    assert found.base == pytest.approx(10)
    assert any(entry.low == f_days or entry.high == f_days for entry in load_warmth().facts.degree_days)


def soil(weed: str, event: str) -> SoilThreshold:
    (found,) = [entry for entry in load_warmth().soil_of(weed) if entry.event == event]
    return found


@pytest.mark.parametrize(
    ("weed", "event", "low", "high", "source"),
    [
        ("digitaria_sanguinalis", "emergence begins", 57, 64, PURDUE),
        ("digitaria_ciliaris", "main flush", 73, None, PURDUE),
        ("poa_annua", "germination", None, 70, UC_TURF),
        ("kyllinga_brevifolia", "germination begins", 65, None, UC_KYLLINGA),
    ],
)
def test_soil_temperatures_that_are_published_in_fahrenheit(
    weed: str, event: str, low: float | None, high: float | None, source: str
) -> None:
    found = soil(weed, event)
    for ours, theirs in ((found.low, low), (found.high, high)):
        if theirs is None:
            assert ours is None
        else:
            assert ours == pytest.approx(to_celsius(theirs, "F"), rel=0.02), source


@pytest.mark.parametrize(
    ("weed", "event", "low", "high", "source"),
    [
        ("euphorbia_maculata", "germination is best", 24, 29, COLORADO),
        ("eleusine_indica", "summer annuals germinate", 16, 21, WISCONSIN),
        ("digitaria_ciliaris", "pre-emergent goes on", None, 14, PURDUE),
    ],
)
def test_soil_temperatures_that_are_given_in_celsius(
    weed: str, event: str, low: float | None, high: float | None, source: str
) -> None:
    found = soil(weed, event)
    assert (found.low, found.high) == (low, high), source


def test_summer_grass_is_timed_for_the_south() -> None:
    told = str(soil("digitaria_ciliaris", "pre-emergent goes on"))
    assert "August to September" in told and "14 °C" in told and "25 mm" in told
