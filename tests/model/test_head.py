"""The closed-form head: the same answers as a library's discriminant analysis."""

from __future__ import annotations

import numpy as np
import pytest
from sklearn.discriminant_analysis import LinearDiscriminantAnalysis

from model.photo.evidence import Calibration, Classifier, fuse
from model.photo.head import Discriminant, fit_statistics, softmax


@pytest.fixture
def data() -> tuple[np.ndarray, list[str]]:
    random = np.random.default_rng(2)
    labels = [name for name in ("a", "b", "other:c") for _ in range(40)]
    centres = {"a": 0.0, "b": 1.2, "other:c": -1.0}
    x = np.stack([random.normal(centres[label], 1.0, 12) for label in labels])
    return x, labels


def test_scores_equal_those_of_a_library_with_the_same_covariance(data: tuple[np.ndarray, list[str]]) -> None:
    x, labels = data
    statistics = fit_statistics(x, labels)
    library = LinearDiscriminantAnalysis(solver="lsqr", shrinkage=1e-9, priors=np.full(3, 1 / 3)).fit(x, labels)
    # The library divides by the number of photos, we by degrees of freedom.
    ours = softmax(Discriminant(statistics, 1e-9).scores(x) * len(x) / (len(x) - 3))
    assert np.allclose(ours, library.predict_proba(x), atol=1e-5)


def test_probabilities_sum_to_one_and_a_far_plant_is_other(data: tuple[np.ndarray, list[str]]) -> None:
    x, labels = data
    classifier = Classifier(fit_statistics(x, labels), Calibration(0.1, 1.0, (-1.0, 0.3, 0.0, 0.5), 0.05, 0.5))
    p = classifier.probabilities(np.vstack([x, np.full((1, 12), 40.0)]))
    assert classifier.species == ("a", "b")
    assert np.allclose(p.sum(axis=1), 1.0)
    assert p[-1, -1] > 0.99
    assert classifier.likelihood(p).min() >= 0.05, "a photo must never rule a species out"


def test_several_photos_count_as_fewer_when_they_depend_on_each_other() -> None:
    rows = np.array([[0.6, 0.4], [0.6, 0.4], [0.6, 0.4]])
    alone, half, all_of_them = (fuse(rows, d)[0] for d in (1.0, 0.5, 0.0))
    assert alone == pytest.approx(0.6)
    assert 0.6 < half < all_of_them == pytest.approx(0.6**3 / (0.6**3 + 0.4**3))


def test_the_stranger_a_photo_the_likelier_it_is_new(data: tuple[np.ndarray, list[str]]) -> None:
    x, labels = data
    classifier = Classifier(fit_statistics(x, labels), Calibration(0.1, 1.0, (0.0, 0.3, 0.2, 0.5), 0.05, 0.5))
    ratios = classifier.ratio(np.linspace(-6, 6, 200))
    assert (np.diff(ratios) >= 0).all() and ratios[0] < 1 < ratios[-1]


def test_a_class_of_few_photos_is_not_strange_and_a_new_one_among_them_is() -> None:
    chance = np.random.default_rng(6)
    middles = chance.normal(0, 0.5, (61, 200))
    counts = [5, *[40] * 59]
    labels = [f"s{i}" for i, count in enumerate(counts) for _ in range(count)]
    x = np.repeat(middles[:60], counts, axis=0) + chance.normal(size=(len(labels), 200))
    classifier = Classifier(fit_statistics(x, labels), Calibration(0.4, 1.0, (0.0, 1.0, 0.0, 1.0), 0.05, 0.5))
    few, many, new = (classifier.novelty(middles[i] + chance.normal(size=(300, 200))) for i in (0, 1, 60))
    assert abs(np.median(few) - np.median(many)) < 0.25 * (np.median(new) - np.median(many))
    assert np.median(new) > np.quantile(many, 0.95)


def test_one_photo_a_class_is_told_by_distance() -> None:
    x = np.eye(3)
    head = Discriminant(fit_statistics(x, ["a", "b", "c"]), 0.4)
    assert (head.scores(x).argmax(axis=1) == [0, 1, 2]).all()


def test_classes_of_few_and_of_many_photos_are_judged_alike() -> None:
    random = np.random.default_rng(4)
    many, few = random.normal(0, 1, (400, 60)), random.normal(0.6, 1, (6, 60))
    head = Discriminant(fit_statistics(np.vstack([many, few]), ["many"] * 400 + ["few"] * 6), 0.2)
    new = {"many": random.normal(0, 1, (500, 60)), "few": random.normal(0.6, 1, (500, 60))}
    right = {name: (head.scores(x).argmax(axis=1) == head.classes.index(name)).mean() for name, x in new.items()}
    assert abs(right["many"] - right["few"]) < 0.15
