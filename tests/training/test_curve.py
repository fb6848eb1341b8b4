"""The learning curve: it rises where photos help, and always asks the same held-out photos."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np

from model.photo import Calibration, Classifier, fit_statistics
from tests.claims import sources
from training.data.dataset import Data
from training.data.manifest import LabelledPhoto
from training.evaluate.learning_curve import learning_curve
from training.head.fit import Learned
from training.head.scatter import ScatterChoice
from training.recipes.recipe import load_recipe

CALIBRATION = Calibration(0.2, 1.0, (0.0, 1.0, 1.0, 1.0), 0.02, 0.5)


def cloud(labels: list[str], seed: int) -> np.ndarray:
    """Features in which the classes lie near one another, so that few photos do not tell them apart."""
    random = np.random.default_rng(seed)
    centres = {label: np.random.default_rng(ord(label)).normal(0, 0.45, 30) for label in "abcdxy"}
    return np.stack([centres[label] for label in labels]) + random.normal(0, 1, (len(labels), 30))


def data_of(per_class: int) -> Data:
    labels = [label for label in "abcd" for _ in range(per_class)]
    photos = tuple(
        LabelledPhoto(Path(f"{i}.jpg"), f"{i}.jpg", label, f"plant {i // 2}", True, "mine", "", "")
        for i, label in enumerate(labels)
    )
    parts = np.array(["held_out" if i % 4 == 0 else "fit" for i in range(len(labels))])
    return Data(cloud(labels, 1), photos, parts)


def learned() -> Learned:
    labels = ["x", "y"] * 40
    base = fit_statistics(cloud(labels, 2), labels)
    return Learned(Classifier(base, CALIBRATION), base, ScatterChoice(0.1, 0.3, {}), 0)


def test_more_photos_of_new_species_bring_more() -> None:
    points = learning_curve(data_of(120), learned())
    assert [p.photos for p in points] == sorted({p.photos for p in points}) and points[-1].photos == 4 * 90
    assert points[-1].right > points[0].right + 0.05
    assert all(p.low <= p.right <= p.high for p in points) and points[-1].low == points[-1].high


def test_few_photos_give_few_points_and_none_held_out_none() -> None:
    assert len(learning_curve(data_of(4), learned())) <= 3
    whole = data_of(8)
    assert learning_curve(Data(whole.x, whole.photos, np.full(32, "fit")), learned()) == ()


def test_sources_apart_are_judged_on_the_same_photos_by_the_bare_head_and_by_quick() -> None:
    recipe = load_recipe("quick").model_copy(update={"base_weights": [0.3], "shrinkage": [0.2], "folds": 2})
    data, old = data_of(30), ["x", "y"] * 60
    photos = tuple(replace(data.photos[i], label=label, group=f"old {i}") for i, label in enumerate(old))
    starter = sources.starter_of(Data(cloud(old, 3), photos, np.full(len(old), "fit")), recipe)
    assert set(starter.statistics.classes) == {"x", "y"} and starter.held_out.photos
    found = sources.measured(data, starter, recipe, 5, draws=2)
    assert [len(shares) for shares in found.values()] == [2] * 6 and len(set(found["quick, with other"])) > 1
    bare, quick = (np.mean(found[way]) for way in ("bare head, shrinkage 0.4", "quick, among the classes to learn"))
    assert bare > 0.5 and quick > 0.5, "chance is a quarter"
    # The starter's classes among the answers, and other, can only take photos away.
    first, second, third = (found[way] for way in list(found)[3:])
    assert all(a >= b - 1e-9 for a, b in zip(first, second, strict=True)) and max(third) <= 1
    few = sources.measured(data, starter, recipe, 1, draws=1)
    assert min(min(shares) for shares in few.values()) >= 0, "one photo a class can be learned too"
