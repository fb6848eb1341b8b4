"""The full recipe: a second network is fine-tuned on the user's photos, beside the shipped one that keeps the rest.

It learns from the fit part first, so that the pool of both networks can be calibrated on photos
that it has not seen; then it learns on from all photos but those held out, on which it is judged.
"""

from __future__ import annotations

import shutil
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from model.errors import CollectionError
from model.photo import Discriminant, fit_statistics
from model.photo.saved import STARTER, read_model
from model.photo.tuned import Tuned, TunedClassifier, extractor_with
from model.storage import in_a_sentence
from training.data.dataset import Data
from training.data.features import features_of
from training.data.manifest import LabelledPhoto
from training.data.pixels import keep_pixels
from training.finetune.network import export
from training.finetune.user_network import NOT_HELD_OUT, FineTuning, Progress, digest_of
from training.gate import GateRules, Override
from training.head.fit import Learned, learn
from training.head.fusion import Pool, fit_pool
from training.recipes.decide import NETWORK_LEARNED, Candidate, Outcome, settle, spread_account
from training.recipes.prepare import gather
from training.recipes.recipe import FullRecipe
from training.registry.models import Registry

Array = NDArray[np.float64]


@in_a_sentence()
def train_full(
    photos: Sequence[LabelledPhoto],
    registry: Registry,
    recipe: FullRecipe,
    rules: GateRules,
    cache: Path,
    override: Override | None = None,
    progress: Progress = lambda stage, done, of: None,
) -> Outcome:
    """Fine-tune, calibrate, measure, and put the result in charge if the gate lets it.

    ``progress`` gets the stage, how much of it is done, and how much it is. A training that was
    interrupted goes on where it was when it is called again with the same photos and recipe. Raises
    CollectionError where there is too little to learn from, ModelError as promote does.
    """
    data, left_out, not_yet = gather(photos, recipe, cache, _stage(progress, "looking at the photos", len(photos)))
    base, calibration = read_model(STARTER)
    learned = learn(data, base, calibration, recipe)
    _check_enough(learned, recipe)
    folder = cache.parent / "tuning" / digest_of(data, recipe)
    _clear_others(folder)
    with keep_pixels(data.photos) as pixels:
        tuning = FineTuning(data, pixels, learned, recipe, folder, progress)
        early = tuning.fit()
        late = tuning.grow(early)
    candidate, wide = _candidate(tuning, export(early.backbone), export(late.backbone), cache)
    work, promotion = settle(wide, candidate, registry, rules, recipe, cache, override)
    if promotion.changed:  # else it may be asked for again, with an override, and need not be learned again
        shutil.rmtree(folder, ignore_errors=True)
    counts = {part: int((data.parts == part).sum()) for part in recipe.shares}
    return Outcome(len(data.photos), left_out, not_yet, counts, work, learned, promotion)


def _clear_others(folder: Path) -> None:
    """A fine-tuning with other photos or another recipe will not be gone on with."""
    for other in folder.parent.glob("*"):
        if other != folder:
            shutil.rmtree(other, ignore_errors=True)


def _check_enough(learned: Learned, recipe: FullRecipe) -> None:
    if learned.calibrated_on < recipe.least_calibration_photos:
        raise CollectionError(
            f"only {learned.calibrated_on} photos to calibrate with, and {recipe.least_calibration_photos} are needed; "
            "add photos of more plants or visits, or train with --recipe quick"
        )


def _candidate(tuning: FineTuning, early: bytes, late: bytes, cache: Path) -> tuple[Candidate, Data]:
    """Calibrated with the network that has not seen the photos for it, judged with the one that has learned on."""
    data, learned, recipe = tuning.data, tuning.learned, tuning.recipe
    shipped, seen = learned.classifier, np.isin(data.parts, NOT_HELD_OUT)
    known = data.where(seen)
    looked = _stage(tuning.progress, "looking through it", len(known.photos))
    z = _features(early, known.photos, tuning.folder / "features.safetensors", looked)
    tuned = _fit_tuned(replace(known, x=np.hstack([known.x, z])), learned, early, recipe)
    calibrated_x = np.full((len(data.photos), data.x.shape[1] + z.shape[1]), np.nan)
    calibrated_x[seen] = np.hstack([known.x, z])

    z = _features(late, data.photos, cache, _stage(tuning.progress, "looking again", len(data.photos)))

    def with_photos(keep: NDArray[np.bool_]) -> TunedClassifier:
        own = fit_statistics(z[keep], [label for label, kept in zip(data.labels, keep, strict=True) if kept])
        grown = learned.grown(data.where(keep))
        return TunedClassifier(grown.statistics, grown.calibration, replace(tuned, network=late, statistics=own))

    account = spread_account(learned) | {
        "pool": {k: getattr(tuned, k) for k in ("shrinkage", "shipped_weight", "tuned_weight")},
        NETWORK_LEARNED: sorted(photo.sha256 for photo in known.photos),
    }
    calibrated = TunedClassifier(shipped.statistics, shipped.calibration, tuned)
    everything = np.ones(len(data.photos), dtype=bool)
    candidate = Candidate("full", calibrated, with_photos(seen), with_photos(everything), account, calibrated_x)
    return candidate, replace(data, x=np.hstack([data.x, z]))


def _fit_tuned(known: Data, learned: Learned, network: bytes, recipe: FullRecipe) -> Tuned:
    """The closed-form head on the tuned features of the fit part, and its pool with the shipped one."""
    fit, check = known.part("fit"), known.part("calibrate")
    width = fit.x.shape[1] // 2
    own = fit_statistics(fit.x[:, width:], fit.labels)
    check = check.where(np.array([label in own.classes for label in check.labels], dtype=bool))
    columns = np.array([own.classes.index(label) for label in check.labels])
    shipped = learned.classifier
    rows = [shipped.statistics.classes.index(name) for name in own.classes]
    said = shipped.logs(check.x, shipped.distances(check.x))[:, rows]
    tried: dict[float, Pool] = {}
    for shrinkage in recipe.tuned_shrinkage:
        scores = Discriminant(own, shrinkage).scores(check.x[:, width:]) + shipped.log_prior[rows]
        tried[shrinkage] = fit_pool(said, scores, columns)
    best = min(tried, key=lambda value: tried[value].loss)
    return Tuned(network, own, best, tried[best].shipped_weight, tried[best].tuned_weight)


def _features(network: bytes, photos: Sequence[LabelledPhoto], cache: Path, looked: Callable[[int], None]) -> Array:
    """Features of the tuned network, float (photos, 1280)."""
    return features_of(photos, cache, lambda done, of: looked(done), extractor_with(network))[0]


def _stage(progress: Progress, name: str, of: int) -> Callable[[int], None]:
    """Progress of one stage, from how much of it is done."""
    return lambda done: progress(name, done, of)
