"""What the key says of plants outside its flora: short versions of tests.claims.outside."""

from __future__ import annotations

import pytest

from model.identify import Key
from tests.claims.outside import ask, garden, heedless, left_out, listed, shared_with_nearest


def share(found: list, status: str) -> float:
    return sum(one.status == status for one in found) / len(found)


def test_few_garden_plants_are_proven_to_be_weeds(key: Key) -> None:
    """Answers of 44 garden plants: values from memory. Of 40 at most 1 may be confirmed, and 8 likely."""
    found = ask(garden(key))
    confirmed, likely = (sum(one.status == status for one in found) for status in ("confirmed", "likely"))
    assert len(found) >= 44 and confirmed <= len(found) / 40 and likely <= len(found) / 5
    # Without the thought of a relative it would be several times as many.
    assert sum(one.status == "confirmed" for one in ask(garden(heedless(key)))) >= 3 * max(confirmed, 1)


def test_species_that_the_flora_has_lost_are_seldom_proven_to_be_others(key: Key) -> None:
    # Measured 3 % of 139; the margin is three standard errors of 25.
    assert share(ask(left_out(key, 25, kin=True)), "confirmed") <= 0.10


def test_a_careful_observer_still_proves_what_is_listed(key: Key) -> None:
    found = ask(listed(key, 60, 0.03))
    # Measured 78 % of 139, after 8.7 questions; margins of three standard errors.
    assert share(found, "confirmed") >= 0.60
    assert sum(one.questions for one in found) / len(found) <= 10
    proven = [one for one in found if one.status == "confirmed"]
    assert sum(one.named == one.plant for one in proven) / len(proven) >= 0.96


def test_what_a_relative_shares_is_what_the_flora_shares(key: Key) -> None:
    assert key.prior_config.alike == pytest.approx(shared_with_nearest(key))
