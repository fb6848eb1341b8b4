"""The quick recipe, from collection to verdict: features once, then a closed-form head, measured and compared."""

from __future__ import annotations

import hashlib
import json
import tempfile
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from model.errors import CollectionError
from model.photo import Classifier, Extractor
from model.photo.saved import STARTER, read_model, save_model
from training.audit.duplicates import find_duplicates, merged_groups
from training.audit.look import look_at
from training.audit.settings import load_settings
from training.audit.shortage import find_shortages
from training.data import Data
from training.features import features_of
from training.front_matter import front_matter
from training.learn import Learned, deal, learn
from training.manifest import LabelledPhoto
from training.pipeline import Pipeline
from training.promote import GateRules, Judged, Override, Part, Promotion, near_duplicates, outlines
from training.promote.judge import judge_classifier, skew_of
from training.recipe import Recipe
from training.registry import Registry
from training.split import split

Array = NDArray[np.float64]
Progress = Callable[[int], None]


@dataclass(frozen=True)
class Outcome:
    """What a training came to: photos used and left out (file to reason), species not yet learned, the verdict."""

    photos: int
    left_out: Mapping[str, str]
    not_yet: Mapping[str, str]
    parts: Mapping[str, int]
    work: Pipeline
    learned: Learned
    promotion: Promotion

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


def gather(
    photos: Sequence[LabelledPhoto], recipe: Recipe, cache: Path, progress: Progress
) -> tuple[Data, dict[str, str], dict[str, str]]:
    """Features and parts of the photos that can be used; files left out, and species with too few, each with why.

    Copies of one picture are made one group first, so that no split parts them. Raises
    CollectionError where nothing is left.
    """
    x, notes = features_of(photos, cache, lambda done, of: progress(done))
    left_out = {photo.name: note for photo, note in zip(photos, notes, strict=True) if note}
    rows = [i for i, note in enumerate(notes) if not note]
    kept = [photos[i] for i in rows]
    settings = load_settings()
    looks = look_at(kept, settings.quality.blur_side)
    groups = merged_groups(kept, find_duplicates(kept, looks, x[rows], settings.duplicates).clusters) if kept else []
    kept = [replace(photo, group=group) for photo, group in zip(kept, groups, strict=True)]
    short = find_shortages([photo.label for photo in kept], [photo.group for photo in kept], settings.enough)
    not_yet = {shortage.species: shortage.missing for shortage in short}
    use = [i for i, photo in enumerate(kept) if photo.label not in not_yet]
    if not use:
        told = "; ".join(f"{label}: {missing}" for label, missing in not_yet.items())
        raise CollectionError(
            f"nothing can be learned yet: {told or 'the collection is empty'}; add photos and try again"
        )
    chosen = [kept[i] for i in use]
    parts = deal(chosen, split(chosen, recipe.shares, recipe.seed))
    return Data(x[rows][use], tuple(chosen), np.array(parts)), left_out, not_yet


def train_quick(
    photos: Sequence[LabelledPhoto],
    registry: Registry,
    recipe: Recipe,
    rules: GateRules,
    cache: Path,
    override: Override | None = None,
    progress: Progress = lambda done: None,
) -> Outcome:
    """Learn from all photos, starting from the shipped model, and put the result in charge if the gate lets it.

    Raises CollectionError where there is too little to learn from, ModelError as promote does.
    """
    data, left_out, not_yet = gather(photos, recipe, cache, progress)
    base, calibration = read_model(STARTER)
    learned = learn(data, base, calibration, recipe)
    held = data.part("held_out")
    # Judged with all photos but those held out, as the model in charge is once they are taken out of it.
    judged = learned.grown(data.part("fit", "calibrate", "conformal"))
    work = _measured(data, learned, judged, rules, recipe)
    with tempfile.TemporaryDirectory(prefix="swardkey-") as scratch:
        candidate = Path(scratch) / "candidate"
        grown = learned.grown(data)
        account = {"recipe": recipe.model_dump(), "learned": _learned(data), **_account(learned)}
        head = front_matter(work, data.photos, {"recipe": "quick"})
        save_model(candidate, grown.statistics, grown.calibration, account, head + _card(work, learned, data))
        work.save_sets(candidate)
        found = registry.in_charge()
        old = _judged_without(found.name, found.folder, held)
        new = judge_classifier("new", judged, held.x, held.labels)
        evidence = work.evidence(
            candidate, old, new, held.labels, _copies(data, rules), skew_of(held.photos, held.x, Extractor())
        )
        promotion = work.promote(registry, candidate, evidence, rules, override, check=read_model)
    counts = {part: int((data.parts == part).sum()) for part in recipe.shares}
    return Outcome(len(data.photos), left_out, not_yet, counts, work, learned, promotion)


def _measured(data: Data, learned: Learned, judged: Classifier, rules: GateRules, recipe: Recipe) -> Pipeline:
    """Every verb in its order, each on its own part."""
    fit, check, conformal, held = (data.part(part) for part in ("fit", "calibrate", "conformal", "held_out"))
    if not held.photos or not conformal.photos:
        raise CollectionError("too few groups of photos to measure honestly; add photos of other plants or visits")
    classifier = learned.classifier
    work = Pipeline().fit(classifier.statistics.classes, Part.of(fit.photos)).calibrate(Part.of(check.photos))
    said = classifier.probabilities(conformal.x)
    work = work.conformalize(said, conformal.truth(classifier.species), Part.of(conformal.photos), rules)
    said = judged.probabilities(held.x)
    truth = held.truth(classifier.species)
    return work.measure(said, truth, Part.of(held.photos), recipe.null_draws, recipe.seed)


def _judged_without(name: str, folder: Path, held: Data) -> Judged:
    """What the model in charge says of held-out photos once those that it has learned are taken out of it.

    Taking a photo out is exact, so that a model that was put in charge with all its photos is
    judged as fairly as the new one.
    """
    statistics, calibration = read_model(folder)
    try:
        learned = json.loads((folder / "recipe.json").read_bytes()).get("learned", {})
    except (OSError, ValueError):
        learned = {}
    for x, photo in zip(held.x, held.photos, strict=True):
        label = learned.get(_sha256(photo))
        if label in statistics.classes and statistics.counts[statistics.classes.index(label)] > 1:
            statistics = statistics.take_back(label, x)
    return judge_classifier(name, Classifier(statistics, calibration), held.x, held.labels)


def _copies(data: Data, rules: GateRules) -> int:
    held, rest = data.part("held_out"), data.part("fit", "calibrate", "conformal")
    both = [(outlines([photo.file for photo in part.photos]), part.x) for part in (rest, held)]
    return int(near_duplicates(both[0], both[1], rules.duplicate_bits.value, rules.duplicate_cosine.value).sum())


def _learned(data: Data) -> dict[str, str]:
    return {_sha256(photo): photo.label for photo in data.photos}


def _sha256(photo: LabelledPhoto) -> str:
    return hashlib.sha256(photo.file.read_bytes()).hexdigest()


def _account(learned: Learned) -> dict[str, Any]:
    tried = learned.spread.tried
    return {
        "base": "starter",
        "base_weight": learned.spread.weight,
        "shrinkage": learned.spread.shrinkage,
        "tried": {f"{weight:g} {shrinkage:g}": round(value, 4) for (weight, shrinkage), value in tried.items()},
    }


def _card(work: Pipeline, learned: Learned, data: Data) -> str:
    assert work.measured is not None
    m = work.measured
    return f"""# Card of a photo model of this user

Made by the quick recipe: the shipped starter's features and statistics, and {len(data.photos)} labelled photos of
{len(set(data.labels))} classes. The figures below are those of the model before the held-out photos were added to
it; adding them is an exact update of the closed-form head.

- held-out photos: {m.photos} in {m.groups} groups
- first choice right {m.top1:.1%}, within three {m.top3:.1%}, class by class {m.balanced_top1:.1%}
- calibration error {m.ece:.3f}, of a perfectly calibrated model up to {m.ece_null:.3f}

Weight of the starter's spread {learned.spread.weight:g}, shrinkage {learned.spread.shrinkage:g}; calibrated on
{learned.calibrated_on} photos. Never enough to name a plant: the questions confirm.
"""
