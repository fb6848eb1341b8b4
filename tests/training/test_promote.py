"""The gate on models that were trained: worse ones are turned down, an equal or better one passes."""

from __future__ import annotations

import warnings
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from model.errors import FloraError
from model.flora.load import CONFIGS, load_sources
from model.photo.evidence import Classifier
from model.photo.extract import Extractor
from model.photo.head import Statistics
from tests.claims.regressions import Bench, made_up_bench, planted, redealt
from training.data.features import features_of
from training.data.manifest import LabelledPhoto
from training.gate import HeldOut, Verdict, compare, load_rules
from training.gate.judge import judge, skew_of
from training.gate.paired import paired_difference

RULES = load_rules()
DRAWN = Path(__file__).resolve().parents[2] / "sample_images" / "taraxacum_officinale_flowering_3.jpg"


@pytest.fixture(scope="module")
def bench() -> Bench:
    return made_up_bench(RULES)


def verdict_of(held_out: HeldOut, draws: int = 1000) -> Verdict:
    """By the rules, with fewer draws than in use, which only makes ends of intervals less exact."""
    fewer = RULES.draws.model_copy(update={"value": draws})
    return compare(held_out, RULES.model_copy(update={"draws": fewer}))


def test_every_planted_regression_is_turned_down(bench: Bench) -> None:
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", message="The least populated class")
        found = {name: verdict_of(held_out) for name, held_out in planted(bench)}
    assert len(found) >= 20
    assert [name for name, verdict in found.items() if verdict.decision != "keep" or not verdict.failed] == []


def test_an_identical_model_is_accepted_nineteen_times_in_twenty(bench: Bench) -> None:
    accepted = [verdict_of(redealt(bench, seed)).decision == "promote" for seed in range(24)]
    assert np.mean(accepted) >= 0.95


def test_a_better_model_is_accepted_and_the_worse_one_not_taken_back(bench: Bench) -> None:
    worse = bench.fit(
        lambda labels, parts: [
            "" if part in ("fit", "calibrate") and n % 8 else label
            for n, (label, part) in enumerate(zip(labels, parts, strict=True))
        ]
    )
    forth = bench.against(worse)
    assert verdict_of(forth).decision == "keep"
    back = replace(forth, old=forth.new, new=forth.old, sets=bench.sets(bench.good))
    assert verdict_of(back).decision == "promote", str(verdict_of(back))


def test_the_interval_holds_the_true_difference_as_often_as_it_says() -> None:
    """Groups of four photos that are alike: an interval over photos would be half as wide."""
    random = np.random.default_rng(8)
    held = 0
    for draw in range(200):
        truth, groups = np.repeat([0, 1, 0, 1], 60), [f"g{i // 4}" for i in range(240)]
        luck = np.repeat(random.random(60), 4)
        old, new = luck < 0.70, np.repeat(random.random(60), 4) < 0.75
        found = paired_difference(old, new, truth, groups, 400, 0.95, draw)
        held += found.low <= 0.05 <= found.high
    assert 0.90 <= held / 200 <= 0.99


def test_leaving_a_row_out_is_nearly_what_a_head_without_the_class_says(bench: Bench) -> None:
    """Freedom and priors depend on the number of classes, hence not equal to the last digit."""
    good, data, label = bench.good, bench.held_out, bench.good.species[1]
    s = good.statistics
    rows = [i for i, name in enumerate(s.classes) if name != label]
    less = Statistics(tuple(s.classes[i] for i in rows), s.counts[rows], s.means[rows], s.scatter)
    here = np.array([name == label for name in data.labels])
    judged = judge("x", good, data.x[here], [label] * int(here.sum()))
    without = Classifier(less, good.calibration).probabilities(data.x[here])[:, -1]
    assert judged.other_left_out is not None
    assert np.corrcoef(judged.other_left_out, without)[0, 1] > 0.99


def test_features_in_use_are_those_of_training() -> None:
    photo = LabelledPhoto(DRAWN, "d", "taraxacum_officinale", "g", True, "drawn", "us", "ours")
    extractor = Extractor()
    assert skew_of([photo], features_of([photo], extractor=extractor)[0], extractor) < RULES.skew.value / 1000


def test_the_rules_have_sources_that_exist_and_a_bad_file_is_one_sentence(tmp_path: Path) -> None:
    known = load_sources()
    for name in type(RULES).model_fields:
        assert set(getattr(RULES, name).source) <= set(known), name
    with pytest.raises(FloraError, match=r"gate\.yaml"):
        load_rules(tmp_path)
    text = (CONFIGS / "gate.yaml").read_text(encoding="utf-8")
    (tmp_path / "gate.yaml").write_text(text.replace("level: {value: 0.95", "level: {value: 1.95", 1))
    with pytest.raises(FloraError, match=r"gate\.yaml: level: value"):
        load_rules(tmp_path)
