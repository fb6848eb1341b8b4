"""What the key says of plants outside its flora: short versions of tests.claims.outside."""

from __future__ import annotations

import pytest

from model.identify import Key
from tests.claims.outside import ask, garden, heedless, left_out, listed, shared_with_nearest


def share(found: list, status: str) -> float:
    return sum(one.status == status for one in found) / len(found)


def test_few_garden_plants_are_proven_to_be_weeds(key: Key) -> None:
    """Answers of 37 garden plants: values from memory. Measured: 4 confirmed; 16 before relatives were thought of."""
    assert sum(one.status == "confirmed" for one in ask(garden(key))) <= 5
    assert sum(one.status == "confirmed" for one in ask(garden(heedless(key)))) >= 12


def test_species_that_the_flora_has_lost_are_seldom_proven_to_be_others(key: Key) -> None:
    # Measured 5.8 % of 206 (36 % before); the margin is three standard errors of 103.
    assert share(ask(left_out(key, 103, kin=True)), "confirmed") <= 0.13


def test_a_careful_observer_still_proves_what_is_listed(key: Key) -> None:
    found = ask(listed(key, 103, 0.03))
    # Measured 96.6 % of 206, after 6.8 questions; margins as above.
    assert share(found, "confirmed") >= 0.91
    assert sum(one.questions for one in found) / len(found) <= 9
    proven = [one for one in found if one.status == "confirmed"]
    assert sum(one.named == one.plant for one in proven) / len(proven) >= 0.96


def test_what_a_relative_shares_is_what_the_flora_shares(key: Key) -> None:
    assert key.prior_config.alike == pytest.approx(shared_with_nearest(key))
