"""The comparison of sources: both ways learn the same photos, and are judged on those of other groups."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from tests.claims import sources
from training.data.dataset import Data
from training.data.manifest import LabelledPhoto
from training.recipes.recipe import load_recipe

RECIPE = load_recipe("quick").model_copy(update={"folds": 2})


def made_up(names: str, each: int, seed: int) -> Data:
    """Features around a centre of each class, two photos of each plant."""
    random, labels = np.random.default_rng(seed), [name for name in names for _ in range(each)]
    centres = {name: np.random.default_rng(ord(name)).normal(0, 0.6, 30) for name in names}
    photos = tuple(
        LabelledPhoto(Path(f"{i}.jpg"), f"{i}.jpg", name, f"{seed} {i // 2}", True, "mine", "", "")
        for i, name in enumerate(labels)
    )
    x = np.stack([centres[name] for name in labels]) + random.normal(0, 1, (len(labels), 30))
    return Data(x, photos, np.full(len(labels), "fit"))


def test_the_bare_head_and_quick_are_judged_on_the_same_photos() -> None:
    starter = sources.starter_of(made_up("xyz", 60, 3), RECIPE)
    assert set(starter.statistics.classes) == {"x", "y", "z"} and starter.held_out.photos
    found = sources.measured(made_up("abcd", 30, 1), starter, RECIPE, 5, draws=2)
    assert len(found) == 6 and {len(shares) for shares in found.values()} == {2}
    own, among_all, with_other = (found[way] for way in list(found)[3:])
    assert min(*found["bare head, shrinkage 0.4"], *own) > 0.4, "chance is a quarter"
    assert all(a >= b for a, b in zip(own, among_all, strict=True)), "further answers can only take photos away"
    assert 0 <= max(with_other) <= 1
    assert sources.measured(made_up("abcd", 30, 1), starter, RECIPE, 1, draws=1), "one photo a class is enough"


def test_other_among_the_classes_to_learn_is_a_name_as_any() -> None:
    photos = made_up("ab", 4, 1)
    named = sources.as_species(Data(photos.x, tuple(_other(p) for p in photos.photos), photos.parts))
    assert set(named.labels) == {"a", "b"}


def _other(photo: LabelledPhoto) -> LabelledPhoto:
    return LabelledPhoto(photo.file, photo.name, f"other:{photo.label}", photo.group, True, "mine", "", "")
