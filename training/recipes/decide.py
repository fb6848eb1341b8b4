"""Settle whether what was learned takes over: measured in order, judged beside the model in charge."""

from __future__ import annotations

import json
import tempfile
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from model.errors import CollectionError, ModelError
from model.photo import Classifier
from model.photo.saved import STARTER, read_model, save_model
from model.photo.tuned import TunedClassifier, extractor_for, read_classifier, save_tuned
from model.photo.weights import FEATURES
from training.data.dataset import Data
from training.data.features import features_of
from training.data.manifest import LabelledPhoto
from training.evaluate.front_matter import front_matter
from training.gate import GateRules, Override, Part, Promotion, near_duplicates, outlines
from training.gate.judge import judge_classifier, skew_of
from training.head.fit import Learned
from training.head.scatter import take_out
from training.recipes.pipeline import Pipeline
from training.recipes.recipe import Recipe
from training.registry.models import Registry

Array = NDArray[np.float64]
LEARNED, NETWORK_LEARNED = "learned", "network_learned"  # in recipe.json: sha256 to label; list of sha256


@dataclass(frozen=True)
class Outcome:
    """What a training came to: photos used and left out (file to reason), species not yet learned, the verdict.

    ``data``: what was learned from and tried on, with the parts; for figures.
    """

    photos: int
    left_out: Mapping[str, str]
    not_yet: Mapping[str, str]
    parts: Mapping[str, int]
    work: Pipeline
    learned: Learned
    promotion: Promotion
    data: Data | None = None

    def as_json(self) -> dict[str, Any]:
        """The same as plain data."""
        assert self.work.measured is not None
        m = self.work.measured
        return {
            "photos": self.photos,
            "parts": dict(self.parts),
            "left_out": dict(self.left_out),
            "not_yet": dict(self.not_yet),
            "species": list(self.work.species),
            "held_out": {"photos": m.photos, "top1": m.top1, "top3": m.top3, "nll": m.nll, "ece": m.ece},
            "changed": self.promotion.changed,
            "in_charge": self.promotion.in_charge,
            "verdict": self.promotion.verdict.as_json(),
            "says": self.promotion.says,
        }


@dataclass(frozen=True)
class Candidate:
    """A model that was learned: as it was calibrated, as it is judged, and as it would be put in charge.

    ``judged`` has learned from all photos but those held out, ``whole`` from these too, by an
    exact update of its closed-form heads. ``account`` goes into recipe.json; ``name`` is that of its recipe.
    ``calibrated_x``: features of the photos as ``calibrated`` goes by them, where they are others.
    """

    name: str
    calibrated: Classifier
    judged: Classifier
    whole: Classifier
    account: Mapping[str, Any]
    calibrated_x: Array | None = None


def settle(
    data: Data,
    candidate: Candidate,
    registry: Registry,
    rules: GateRules,
    recipe: Recipe,
    cache: Path,
    override: Override | None,
) -> tuple[Pipeline, Promotion]:
    """Measure the candidate and put it in charge if the gate lets it.

    ``data.x`` float (photos, features) as the candidate goes by them. Held-out photos from which
    the network in charge was fine-tuned cannot be taken out of it, and are left away. Raises
    CollectionError where nothing can be measured, ModelError as promote does.
    """
    found = registry.in_charge()
    old = read_classifier(found.folder)
    story = _story(found.folder)
    every, data = data, _unseen(data, set(story.get(NETWORK_LEARNED, ())))
    seen = every if candidate.calibrated_x is None else replace(every, x=candidate.calibrated_x)
    work = measured(data, seen.part("conformal"), candidate, rules, recipe)
    held = data.part("held_out")
    with tempfile.TemporaryDirectory(prefix="swardkey-") as scratch:
        folder = Path(scratch) / "candidate"
        _write(folder, candidate, work, every, recipe)
        x = _features_for(old, held, cache)
        was = judge_classifier(found.name, without(old, story, x, held.photos), x, held.labels)
        new = judge_classifier("new", candidate.judged, held.x, held.labels)
        skew = skew_of(held.photos, held.x, extractor_for(candidate.whole))
        evidence = work.evidence(folder, was, new, held.labels, _copies(data, rules), skew)
        promotion = work.promote(registry, folder, evidence, rules, override, check=read_classifier)
    return work, promotion


def _write(folder: Path, candidate: Candidate, work: Pipeline, data: Data, recipe: Recipe) -> None:
    """The folder of the model as it would be put in charge, with card and account."""
    whole = candidate.whole
    account = {"recipe": recipe.model_dump(), LEARNED: _labels(data), **candidate.account}
    head = front_matter(work, data.photos, {"recipe": candidate.name})
    save_model(folder, whole.statistics, whole.calibration, account, head + _card(candidate, work, data))
    if isinstance(whole, TunedClassifier):
        save_tuned(folder, whole.tuned)
    work.save_sets(folder)


def measured(data: Data, conformal: Data, candidate: Candidate, rules: GateRules, recipe: Recipe) -> Pipeline:
    """Every verb in its order, each on its own part; ``conformal`` with the features for ``candidate.calibrated``."""
    fit, check, held = (data.part(part) for part in ("fit", "calibrate", "held_out"))
    if not held.photos or not conformal.photos:
        raise CollectionError("too few groups of photos to measure honestly; add photos of other plants or visits")
    calibrated = candidate.calibrated
    work = Pipeline().fit(calibrated.statistics.classes, Part.of(fit.photos)).calibrate(Part.of(check.photos))
    said = calibrated.probabilities(conformal.x)
    work = work.conformalize(said, conformal.truth(calibrated.species), Part.of(conformal.photos), rules)
    said = candidate.judged.probabilities(held.x)
    truth = held.truth(calibrated.species)
    return work.measure(said, truth, Part.of(held.photos), recipe.null_draws, recipe.seed)


def without(
    classifier: Classifier, story: Mapping[str, Any], x: Array, photos: tuple[LabelledPhoto, ...]
) -> Classifier:
    """The classifier once photos that it has learned are taken out of its heads.

    Taking a photo out is exact, so that a model that was put in charge with all its photos is
    judged as fairly as the new one. ``x`` float (photos, features) as this classifier goes by them;
    ``story`` is its recipe.json.
    """
    learned = _labels_in(story)
    own = [(row, learned[p.sha256]) for row, p in enumerate(photos) if p.sha256 in learned]
    statistics = classifier.statistics
    known = [(row, label) for row, label in own if label in statistics.classes]
    if known:
        rows, labels = [row for row, _ in known], [label for _, label in known]
        every = [label for label in learned.values() if label in statistics.classes]
        base = read_model(STARTER)[0]
        statistics = take_out(statistics, base, _weight_in(story), every, x[rows, :FEATURES], labels)
    if not isinstance(classifier, TunedClassifier):
        return Classifier(statistics, classifier.calibration)
    tuned = classifier.tuned.statistics
    for row, label in own:
        if label in tuned.classes and tuned.counts[tuned.classes.index(label)] > 1:
            tuned = tuned.take_back(label, x[row, FEATURES:])
    return TunedClassifier(statistics, classifier.calibration, replace(classifier.tuned, statistics=tuned))


def _labels_in(story: Mapping[str, Any]) -> dict[str, str]:
    """Of the photos that a model has learned, by their sha256."""
    learned = story.get(LEARNED)
    return {str(k): str(v) for k, v in learned.items()} if isinstance(learned, dict) else {}


def _weight_in(story: Mapping[str, Any]) -> float:
    """How much the starter's spread counts in a model; 1 where its story does not say."""
    weight = story.get("base_weight")
    return float(weight) if isinstance(weight, int | float) and 0 < weight <= 1 else 1.0


def _unseen(data: Data, seen: set[str]) -> Data:
    if not seen:
        return data
    gone = np.array([p == "held_out" and f.sha256 in seen for p, f in zip(data.parts, data.photos, strict=True)])
    if gone[data.parts == "held_out"].all():
        raise ModelError("the active network has seen all held-out photos; train with --recipe full, or add photos")
    return data.where(~gone)


def _features_for(old: Classifier, held: Data, cache: Path) -> Array:
    if isinstance(old, TunedClassifier):
        return features_of(held.photos, cache, extractor=extractor_for(old))[0]
    return held.x


def _story(folder: Path) -> dict[str, Any]:
    """recipe.json of a model, as far as it can be read."""
    try:
        story = json.loads((folder / "recipe.json").read_bytes())
    except (OSError, ValueError, RecursionError):
        return {}
    return story if isinstance(story, dict) else {}


def _copies(data: Data, rules: GateRules) -> int:
    held, rest = data.part("held_out"), data.part("fit", "calibrate", "conformal")
    both = [(outlines([photo.file for photo in part.photos]), part.x[:, :FEATURES]) for part in (rest, held)]
    return int(near_duplicates(both[0], both[1], rules.duplicate_bits.value, rules.duplicate_cosine.value).sum())


def _labels(data: Data) -> dict[str, str]:
    return {photo.sha256: photo.label for photo in data.photos}


def spread_account(learned: Learned) -> dict[str, Any]:
    """How much the starter counts beside one's own photos, and what else was tried."""
    tried = learned.spread.tried
    return {
        "base": "starter",
        "base_weight": learned.spread.weight,
        "shrinkage": learned.spread.shrinkage,
        "calibrated_on": learned.calibrated_on,
        "tried": {f"{weight:g} {shrinkage:g}": round(value, 4) for (weight, shrinkage), value in tried.items()},
    }


MADE_OF = {
    "quick": "the shipped starter's features and statistics",
    "full": "the shipped starter, beside it a network that was fine-tuned on the photos that are not held out",
}


def _card(candidate: Candidate, work: Pipeline, data: Data) -> str:
    assert work.measured is not None
    m, account = work.measured, candidate.account
    return f"""# Card of a photo model of this user

Made by the {candidate.name} recipe: {MADE_OF[candidate.name]}, and {len(data.photos)} labelled photos of
{len(set(data.labels))} classes. The figures below are those of the model before the held-out photos were added to
it; adding them is an exact update of the closed-form head.

- held-out photos: {m.photos} in {m.groups} groups
- first choice right {m.top1:.1%}, within three {m.top3:.1%}, class by class {m.balanced_top1:.1%}
- calibration error {m.ece:.3f}, of a perfectly calibrated model up to {m.ece_null:.3f}

Weight of the starter's spread {account["base_weight"]:g}, shrinkage {account["shrinkage"]:g}; calibrated on
{account["calibrated_on"]} photos. Never enough to name a plant: the questions confirm.
"""
