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
from model.photo.tuned import Tuned, TunedClassifier, extractor_with
from training.data.dataset import Data
from training.data.features import features_of
from training.data.manifest import LabelledPhoto
from training.data.pixels import keep_pixels
from training.finetune.network import export
from training.finetune.user_network import NOT_HELD_OUT, FineTuning, digest_of
from training.gate.incumbent import NETWORK_LEARNED
from training.head.fit import Learned
from training.head.fusion import Pool, fit_pool
from training.recipes.candidate import Candidate, Progress, Training
from training.recipes.recipe import FullRecipe

Array = NDArray[np.float64]


Settings = FullRecipe


def make(training: Training) -> Candidate:
    """Fine-tune the second network, and weigh it against the shipped one.

    Interrupted, it resumes where it was when it is called again with the same photos and recipe. Raises
    CollectionError where there are too few photos to calibrate with.
    """
    data, learned, recipe = training.data, training.learned, training.recipe
    assert isinstance(recipe, FullRecipe)
    _check_enough(learned, recipe)
    folder = training.cache.parent / "tuning" / digest_of(data, recipe)
    _clear_others(folder)
    with keep_pixels(data.photos, _stage(training.progress, "reading the photos", len(data.photos))) as pixels:
        tuning = FineTuning(data, pixels, learned, recipe, folder, training.progress)
        early = tuning.fit()
        late = tuning.grow(early)
    return _candidate(tuning, export(early.backbone), export(late.backbone), training.cache)


def _clear_others(folder: Path) -> None:
    """A fine-tuning with other photos or another recipe will not be resumed."""
    for other in folder.parent.glob("*"):
        if other != folder:
            shutil.rmtree(other, ignore_errors=True)


def _check_enough(learned: Learned, recipe: FullRecipe) -> None:
    if learned.calibrated_on < recipe.least_calibration_photos:
        raise CollectionError(
            f"only {learned.calibrated_on} photos to calibrate with, and {recipe.least_calibration_photos} are needed; "
            "add photos of more plants or visits, or train with --recipe quick"
        )


def _candidate(tuning: FineTuning, early: bytes, late: bytes, cache: Path) -> Candidate:
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

    account = {
        "pool": {k: getattr(tuned, k) for k in ("shrinkage", "shipped_weight", "tuned_weight")},
        NETWORK_LEARNED: sorted(photo.sha256 for photo in known.photos),
    }
    calibrated = TunedClassifier(shipped.statistics, shipped.calibration, tuned)
    everything = np.ones(len(data.photos), dtype=bool)
    return Candidate(
        calibrated,
        with_photos(seen),
        with_photos(everything),
        "the shipped starter and a network beside it, fine-tuned on the photos that are not held out",
        account,
        x=np.hstack([data.x, z]),
        calibrated_x=calibrated_x,
        kept=tuning.folder,
    )


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
