"""Learning shared without photos, on a few dozen open photos; tests/claims/sharing.py measures it on more."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from tests.claims.sharing import data_of, name_all, screened, some
from tests.conftest import ROOT
from training.data.dataset import Data
from training.sharing.sharing_rules import load_sharing_rules

CACHE = ROOT / "cache" / "tests" / "sharing.safetensors"


@pytest.fixture(scope="session")
def few(photos: Path) -> Data:
    """Fifteen photos of each of four species."""
    return data_of(some(photos, 4, 15), CACHE)


def test_two_who_share_name_as_well_as_one_with_all_photos(few: Data) -> None:
    found = [name_all(few, 7, seed, load_sharing_rules()) for seed in range(2)]
    margin = 2 / len(few.photos)  # two photos
    for one in found:
        assert min(one.both_joined, one.one_joined) >= one.with_photos - margin


def test_what_bears_the_names_of_others_is_left_out(few: Data) -> None:
    found = screened(few, 6, 1, load_sharing_rules())
    assert found["names of species exchanged"].all() and found["a copy under a new name"].all()
    assert np.mean(found["as they are"]) < 0.5
