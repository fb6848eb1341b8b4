"""The gate: worse models are turned down, an equal one passes, and too few photos cannot tell."""

from __future__ import annotations

import warnings
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from model.errors import FloraError, ModelError, PhotoError
from model.flora.load import CONFIGS, load_sources
from model.storage import Step, go_on
from tests.claims.regressions import Bench, made_up_bench, planted, redealt
from tests.training.test_registry import model
from training.gate import HeldOut, Judged, Origin, Override, Part, Verdict, compare, load_rules, promote
from training.gate.judge import classes_of, judge, judge_classifier, skew_of, views_of, views_served
from training.gate.leak import near_duplicates, outline, outlines
from training.gate.paired import paired_difference
from training.head.conformal import conformalize
from training.registry.models import STARTER, STARTER_FOLDER, Registry

RULES = load_rules()
DRAWN = Path(__file__).resolve().parents[2] / "sample_images" / "taraxacum_officinale_flowering_3.jpg"


@pytest.fixture(scope="module")
def bench() -> Bench:
    return made_up_bench(RULES)


def verdict_of(held_out: HeldOut) -> Verdict:
    return compare(held_out, RULES)


def test_every_planted_regression_is_turned_down(bench: Bench) -> None:
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", message="The least populated class")
        found = {name: verdict_of(held_out) for name, held_out in planted(bench)}
    assert len(found) >= 20
    assert [name for name, verdict in found.items() if verdict.decision != "keep"] == []
    assert all(verdict.failed for verdict in found.values())


def test_an_identical_model_is_accepted_nineteen_times_in_twenty(bench: Bench) -> None:
    accepted = [verdict_of(redealt(bench, seed)).decision == "promote" for seed in range(24)]
    assert np.mean(accepted) >= 0.95


def test_a_better_model_is_accepted_and_the_worse_one_not_taken_back(bench: Bench) -> None:
    worse = bench.fit(
        lambda labels, parts: [
            "" if part == "fit" and n % 8 else label for n, (label, part) in enumerate(zip(labels, parts, strict=True))
        ]
    )
    forth = bench.against(worse)
    assert verdict_of(forth).decision == "keep"
    back = replace(forth, old=forth.new, new=forth.old, sets=bench.sets(bench.good))
    assert verdict_of(back).decision == "promote", str(verdict_of(back))


def test_too_few_photos_cannot_tell_but_a_broken_comparison_is_turned_down(bench: Bench) -> None:
    whole = bench.against(bench.good)
    few = np.arange(RULES.least_photos.value - 1)

    def cut(judged: Judged) -> Judged:
        assert judged.other_left_out is not None
        return replace(judged, probabilities=judged.probabilities[few], other_left_out=judged.other_left_out[few])

    small = replace(
        whole, labels=whole.labels[: len(few)], groups=whole.groups[: len(few)], old=cut(whole.old), new=cut(whole.new)
    )
    found = verdict_of(small)
    assert found.decision == "cannot_tell" and "cannot tell" in str(found) and found.photos == len(few)
    leaky = replace(small, origin=replace(small.origin, learned=small.origin.held_out))
    assert verdict_of(leaky).decision == "keep"


def test_species_that_only_the_new_model_knows_are_reported_on_their_own(bench: Bench) -> None:
    old = bench.fit(lambda labels, parts: ["" if label == "d" else label for label in labels])
    whole = bench.against(bench.good)
    data = bench.held_out
    before = judge_classifier("old", old, data.x, data.labels, bench.golden)
    found = verdict_of(replace(whole, old=before))
    assert found.photos == sum(label != "d" for label in data.labels)
    (new,) = found.new_species
    assert new.species == "d" and new.photos == data.labels.count("d")
    assert new.low < new.recall < new.high and 0 <= new.other_before <= 1
    assert "d:" in str(found)


def test_the_paired_difference_is_what_counting_gives() -> None:
    truth = np.array([0, 0, 0, 0, 1, 1])
    old = np.array([True, True, False, False, True, False])
    new = np.array([True, True, True, False, True, True])
    found = paired_difference(old, new, truth, ["a", "b", "c", "d", "e", "f"], 2000, 0.95)
    assert found.value == pytest.approx((0.25 + 0.5) / 2)
    assert found.low <= found.value <= found.high
    same = paired_difference(old, old, truth, list("abcdef"), 500, 0.95)
    assert (same.value, same.low, same.high) == (0.0, 0.0, 0.0)


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


def test_a_hundred_groups_in_the_same_deal_give_the_same_verdict(bench: Bench) -> None:
    whole = bench.against(bench.good)
    assert verdict_of(whole) == verdict_of(whole)


@pytest.mark.parametrize(("loss", "decision"), [(0.14, "promote"), (0.16, "keep")])
def test_one_species_may_not_pay_for_the_others(loss: float, decision: str) -> None:
    """Three species gain, one loses: balanced accuracy is fine, the species rule decides."""
    n, species = 400, ("a", "b", "c", "d")
    labels = tuple(species[i % 4] for i in range(n))
    truth = np.arange(n) % 4

    def judged(name: str, wrong: dict[int, float]) -> Judged:
        p = np.full((n, 5), 0.025)
        p[np.arange(n), truth] = 0.9
        for column, share in wrong.items():
            rows = np.flatnonzero(truth == column)[: round(share * n / 4)]
            p[rows] = 0.025
            p[rows, (column + 1) % 4] = 0.48
            p[rows, column] = 0.445
        return Judged(name, species, p)

    old, new = judged("old", {0: 0.3, 1: 0.3, 2: 0.3}), judged("new", {3: loss})
    origin = Origin(Part(), Part(labels, labels), 0, species, species, "v", "v", 0.0)
    sets = conformalize(new.probabilities, truth, 0.9, (*species, "other"))
    held_out = HeldOut(labels, tuple(map(str, range(n))), old, new, sets, origin)
    found = verdict_of(held_out)
    assert {rule.name for rule in found.failed} == ({"single species"} if decision == "keep" else set())


def test_the_verdict_as_json_holds_every_rule_and_nothing_that_json_cannot(bench: Bench) -> None:
    import json

    found = verdict_of(bench.against(bench.good)).as_json()
    again = json.loads(json.dumps(found, allow_nan=False))
    assert again["decision"] == "promote" and len(again["rules"]) == 15
    assert all(rule["says"] for rule in again["rules"])


def test_models_are_only_compared_on_the_same_photos(bench: Bench) -> None:
    whole = bench.against(bench.good)
    with pytest.raises(ValueError, match="compared on the same photos"):
        replace(whole, labels=whole.labels[1:])


def verdict(decision: str) -> Verdict:
    from training.gate import Rule

    rules = (Rule("leak", decision != "keep", 1.0, "one"),)
    return Verdict(decision, STARTER, "new", 50, 20, rules)  # type: ignore[arg-type]


@pytest.fixture
def registry(tmp_path: Path) -> Registry:
    return Registry(tmp_path / "models")


def test_only_a_promoted_model_is_installed(registry: Registry, tmp_path: Path) -> None:
    source = model(tmp_path / "new", "new")
    for decision in ("keep", "cannot_tell"):
        done = promote(registry, source, verdict(decision))
        assert not done.changed and done.in_charge == STARTER and registry.names() == []
    done = promote(registry, source, verdict("promote"))
    assert done.changed and registry.in_charge().name == done.in_charge == registry.names()[0]
    assert [entry["action"] for entry in registry.history()] == ["keep", "keep", "promote"]
    assert registry.history()[-1]["verdict"]["photos"] == 50


def test_a_person_may_decide_where_the_gate_cannot_tell_and_is_written_down(registry: Registry, tmp_path: Path) -> None:
    source = model(tmp_path / "new", "new")
    word = Override("Kim", "tried it on my lawns for a week")
    with pytest.raises(ModelError, match="no one can override: leak"):
        promote(registry, source, verdict("keep"), word)
    assert registry.in_charge().name == STARTER
    done = promote(registry, source, verdict("cannot_tell"), word)
    assert done.changed and "Kim" in done.says
    entry = registry.history()[-1]
    assert entry["action"] == "override" and entry["override"] == {"by": "Kim", "reason": word.reason}
    for by, reason in (("", "x"), ("Kim", " ")):
        with pytest.raises(ModelError, match="a reason; give both"):
            Override(by, reason)


def test_a_model_that_cannot_be_read_back_is_not_put_in_charge(registry: Registry, tmp_path: Path) -> None:
    def check(folder: Path) -> None:
        raise ModelError(f"{folder}: does not describe a model")

    with pytest.raises(ModelError, match="does not describe"):
        promote(registry, model(tmp_path / "new", "new"), verdict("promote"), check=check)
    assert registry.in_charge().name == STARTER


def test_a_comparison_with_a_model_no_longer_in_charge_counts_for_nothing(registry: Registry, tmp_path: Path) -> None:
    registry.use(registry.install(model(tmp_path / "other", "other")))
    with pytest.raises(ModelError, match="measure the new one again"):
        promote(registry, model(tmp_path / "new", "new"), verdict("promote"))


def test_the_override_is_on_the_disk_before_it_takes_effect(registry: Registry, tmp_path: Path) -> None:
    steps: list[str] = []
    note: Step = steps.append
    assert registry.step is go_on
    promote(replace(registry, step=note), model(tmp_path / "n", "n"), verdict("cannot_tell"), Override("Kim", "why"))
    assert steps.index("promotions.jsonl on the disk") < steps.index("current.json replaced")


def test_copies_saved_anew_are_near_duplicates_and_other_photos_are_not(tmp_path: Path) -> None:
    with Image.open(DRAWN) as image:
        image.save(tmp_path / "again.jpg", quality=60)
        image.resize((500, 375)).save(tmp_path / "smaller.png")
        image.transpose(Image.Transpose.FLIP_LEFT_RIGHT).save(tmp_path / "mirrored.jpg")
    first = outline(DRAWN)
    differ = {p.name: int((outline(p) != first).sum()) for p in sorted(tmp_path.iterdir()) if p.is_file()}
    assert differ["again.jpg"] <= RULES.duplicate_bits.value
    assert differ["smaller.png"] <= RULES.duplicate_bits.value
    assert differ["mirrored.jpg"] > RULES.duplicate_bits.value
    (tmp_path / "words.jpg").write_text("words")
    with pytest.raises(PhotoError, match=r"words\.jpg: is not a photo"):
        outlines([tmp_path / "words.jpg"])


def test_near_duplicates_need_both_the_outline_and_the_features() -> None:
    random = np.random.default_rng(2)
    bits = random.integers(0, 2, (3, 64)).astype(np.uint8)
    x = random.normal(0, 1, (3, 50))
    close, far = bits[:1].copy(), bits[:1].copy()
    close[0, :6] ^= 1
    far[0, :7] ^= 1
    assert near_duplicates((bits, x), (close, x[:1]), 6, 0.90).all()
    assert not near_duplicates((bits, x), (far, x[:1]), 6, 0.90).any()
    assert not near_duplicates((bits, x), (close, -x[:1]), 6, 0.90).any()
    assert not near_duplicates((bits[:0], x[:0]), (close, x[:1]), 6, 0.90).any()


def test_what_a_saved_model_says_is_read_from_its_folder() -> None:
    classes = classes_of(STARTER_FOLDER)
    assert views_of(STARTER_FOLDER) == views_served()
    x = np.abs(np.random.default_rng(3).normal(0.5, 0.2, (4, 1280)))
    judged = judge(STARTER, STARTER_FOLDER, x, ["trifolium_repens", "other:sunflower", "poa_annua", classes[0]])
    assert judged.probabilities.shape == (4, len(judged.species) + 1)
    assert judged.other_left_out is not None
    assert np.isnan(judged.other_left_out).tolist() == [False, False, True, False]
    assert np.nanmin(judged.other_left_out) >= 0 and np.nanmax(judged.other_left_out) <= 1


def test_leaving_a_class_out_is_the_same_as_a_head_without_its_row(bench: Bench) -> None:
    """The row of the class is taken away; its share of the pooled spread stays, as the docstring says."""
    from model.photo import Classifier, Statistics

    good, data = bench.good, bench.held_out
    label = good.species[1]
    rows = [i for i, name in enumerate(good.statistics.classes) if name != label]
    s, c = good.statistics, good.calibration
    less = Statistics(tuple(s.classes[i] for i in rows), s.counts[rows], s.means[rows], s.scatter)
    without = Classifier(less, c)
    here = np.array([name == label for name in data.labels])
    judged = judge_classifier("x", good, data.x[here], [label] * int(here.sum()))
    assert judged.other_left_out is not None
    # Freedom and priors depend on the number of classes, hence not equal to the last digit.
    assert np.corrcoef(judged.other_left_out, without.probabilities(data.x[here])[:, -1])[0, 1] > 0.99


def test_features_that_training_made_otherwise_show_as_skew() -> None:
    from model.photo import Extractor, open_photo
    from training.data.manifest import LabelledPhoto

    extractor = Extractor()
    photo = LabelledPhoto(DRAWN, "d", "taraxacum_officinale", "g", True, "drawn", "us", "ours")
    x = extractor.features(open_photo(DRAWN))[None]
    assert skew_of([photo], x, extractor) == 0.0
    assert skew_of([photo], x**2, extractor) > RULES.skew.value


def test_skew_beyond_the_limit_is_turned_down(bench: Bench) -> None:
    whole = bench.against(bench.good)
    found = verdict_of(replace(whole, origin=replace(whole.origin, skew=0.02)))
    assert found.decision == "keep" and [rule.name for rule in found.failed] == ["features"]


def test_the_rules_have_sources_that_exist_and_a_bad_file_is_one_sentence(tmp_path: Path) -> None:
    known = load_sources()
    for name in type(RULES).model_fields:
        assert set(getattr(RULES, name).source) <= set(known), name
    text = (CONFIGS / "gate.yaml").read_text(encoding="utf-8")
    (tmp_path / "gate.yaml").write_text(text.replace("level: {value: 0.95", "level: {value: 1.95", 1))
    with pytest.raises(FloraError, match=r"gate\.yaml: level\.value"):
        load_rules(tmp_path)
