"""Sets hold the right class as often as promised, and say so with the spread that theory gives."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import stats

from model.errors import ModelError
from model.photo.head import softmax
from training.evaluate.measure import wilson
from training.head.conformal import (
    FILE,
    conformalize,
    coverage_span,
    effective_sample_size,
    measure_sets,
    predict_set,
    read_sets,
    save_sets,
)

CLASSES = 5


def photos(n: int, random: np.random.Generator) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    """Probabilities and the class that each photo shows, drawn from them."""
    p = softmax(random.normal(0, 1.5, (n, CLASSES)))
    return p, np.asarray((np.log(p) + random.gumbel(size=p.shape)).argmax(axis=1))


def test_thresholds_by_hand() -> None:
    own = np.array([0.9, 0.8, 0.7, 0.6, 0.5, 0.4, 0.3, 0.2, 0.15])
    p = np.column_stack([own, 1 - own])
    sets = conformalize(p, np.zeros(9, dtype=int), 0.8, least=5)
    # Ten times 0.2 is 2: the second lowest of nine.
    assert sets.cells[0].threshold == 0.2 and sets.cells[0].rank == 2
    assert predict_set(sets, np.array([[0.2, 0.8], [0.19, 0.81]]))[:, 0].tolist() == [True, False]


def test_coverage_over_many_deals_follows_the_beta_law() -> None:
    """Marginal sets: coverage is Beta(n + 1 - k, k), k = floor((n + 1) 0.1) (Vovk 2012)."""
    random = np.random.default_rng(1)
    n, found = 39, []
    for _ in range(400):
        sets = conformalize(*photos(n, random), 0.9, least=1000)
        p, truth = photos(1500, random)
        found.append(predict_set(sets, p)[np.arange(1500), truth].mean())
    law = stats.beta(n + 1 - 4, 4)
    assert np.mean(found) == pytest.approx(law.mean(), abs=0.01)
    # The binomial noise of 1500 photos is small beside the law's own spread of 0.047.
    assert stats.kstest(found, law.cdf).pvalue > 0.01


def test_the_span_of_one_threshold_is_the_beta_binomial() -> None:
    random = np.random.default_rng(2)
    sets = conformalize(*photos(99, random), 0.9, least=1000)
    truth = photos(200, random)[1]
    low, high = coverage_span(sets, truth, [str(i) for i in range(200)], 0.95)
    law = stats.betabinom(200, 90, 10)
    assert low == pytest.approx(law.ppf(0.025) / 200, abs=0.01)
    assert high == pytest.approx(law.ppf(0.975) / 200, abs=0.01)


def test_the_span_holds_coverage_with_thresholds_of_single_classes_too(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("training.head.conformal.DRAWS", 4000)
    random = np.random.default_rng(3)
    inside, covered = 0, []
    for draw in range(40):
        p, truth = photos(400, random)
        sets = conformalize(p, truth, 0.9)
        assert len(sets.cells) >= 4
        q, right = photos(300, random)
        found = measure_sets(sets, q, right, [str(i) for i in range(300)], seed=draw)
        inside += found.low <= found.coverage <= found.high
        covered.append(found.coverage)
    assert inside / 40 >= 0.90
    assert 0.90 <= np.mean(covered) <= 0.93


def test_classes_with_enough_photos_have_a_threshold_of_their_own_and_rare_ones_share() -> None:
    random = np.random.default_rng(4)
    truth = np.repeat(np.arange(5), [40, 39, 60, 20, 3])
    p = softmax(random.normal(0, 1, (len(truth), 5)))
    sets = conformalize(p, truth, 0.9)
    assert [cell.columns for cell in sets.cells] == [(0,), (2,), (1, 3, 4)]
    assert [cell.photos for cell in sets.cells] == [40, 60, 62]
    fewer = conformalize(p[truth != 1], truth[truth != 1], 0.9)
    assert fewer.cells[-1].photos == (truth != 1).sum(), "too few rare ones: all photos"


def test_few_photos_promise_nothing_and_every_class_is_in_the_set() -> None:
    sets = conformalize(np.array([[0.9, 0.1]] * 5), np.zeros(5, dtype=int), 0.9)
    assert predict_set(sets, np.array([[1.0, 0.0]])).all()


def test_photos_of_one_group_count_as_fewer_and_widen_the_span() -> None:
    random = np.random.default_rng(5)
    p, truth = photos(200, random)
    alone, together = [str(i) for i in range(200)], [str(i // 4) for i in range(200)]
    assert effective_sample_size(together) == 50.0
    spans = [coverage_span(conformalize(p, truth, 0.9, groups=g, least=999), truth, g, 0.95) for g in (alone, together)]
    assert spans[1][1] - spans[1][0] > 1.5 * (spans[0][1] - spans[0][0])


def test_photos_that_lie_on_the_threshold_do_not_count_as_too_many() -> None:
    p = np.column_stack([np.full(300, 0.99), np.full(300, 0.01)])
    p[:9] = 0.5
    truth = np.zeros(300, dtype=int)
    found = measure_sets(conformalize(p, truth, 0.9), p[9:], truth[9:], [str(i) for i in range(291)])
    assert (found.coverage, found.clear) == (1.0, 0.0)


def test_sets_of_another_model_are_one_sentence() -> None:
    p, truth = photos(50, np.random.default_rng(6))
    with pytest.raises(ModelError, match="conformalize this model again"):
        predict_set(conformalize(p, truth, 0.9), p[:, :3])
    with pytest.raises(ValueError, match="not between"):
        conformalize(p, truth, 1.0)
    with pytest.raises(ValueError, match="right columns"):
        conformalize(p, truth[1:], 0.9)


def test_sets_are_saved_and_read_back_exactly(tmp_path: Path) -> None:
    assert read_sets(tmp_path) is None
    p, truth = photos(300, np.random.default_rng(7))
    sets = conformalize(p, truth, 0.9, list("abcde"))
    save_sets(tmp_path, sets)
    assert read_sets(tmp_path) == sets


BAD = {
    "no json": "words",
    "a field too many": {"more": 1},
    "no coverage": {"coverage": 1.5},
    "a class without a threshold": {"classes": ["a", "b", "c"]},
    "not a number": {"cells": [{"columns": [0, 1], "threshold": "NaN", "photos": 3, "effective": 3.0, "rank": 0}]},
}


@pytest.mark.parametrize("kind", BAD)
def test_a_bad_file_of_sets_is_one_sentence(tmp_path: Path, kind: str) -> None:
    p = np.array([[0.9, 0.1]] * 5)
    good = conformalize(p, np.zeros(5, dtype=int), 0.9, ["a", "b"]).model_dump(mode="json")
    spoilt = BAD[kind]
    (tmp_path / FILE).write_text(spoilt if isinstance(spoilt, str) else json.dumps({**good, **spoilt}))
    with pytest.raises(ModelError) as error:
        read_sets(tmp_path)
    assert FILE in str(error.value) and "\n" not in str(error.value)


def test_wilson_is_what_published_tables_say() -> None:
    """Newcombe (1998), Statistics in Medicine 17, table I: 81 of 263, 15 of 148, 0 of 20, 1 of 29."""
    for right, of, low, high in ((81, 263, 0.2553, 0.3662), (15, 148, 0.0624, 0.1605), (1, 29, 0.0061, 0.1718)):
        assert wilson(right, of) == pytest.approx((low, high), abs=5e-5)
    assert wilson(0, 20) == (0.0, pytest.approx(0.1611, abs=5e-5)) and wilson(5, 5)[1] == 1.0
    assert wilson(0, 0) == (0.0, 1.0)
