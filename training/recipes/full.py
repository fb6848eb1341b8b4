"""The full recipe: about two hours, with torch; fine-tunes a second network on your photos beside the shipped one.

It is fine-tuned on the fit part, so that the pool of the heads is calibrated, and the whole judged, on photos that it
has not learned from. Then it is fine-tuned further on all photos: that is the model that is activated. The gate judges
it as it was before, and that state is kept beside it, to be judged again when a newer model comes.
"""

from __future__ import annotations

import shutil
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from model.errors import CollectionError
from model.photo.evidence import Classifier
from model.photo.head import Discriminant, fit_statistics
from model.photo.tuned import Tuned, TunedClassifier, linear_logits
from model.photo.weights import FEATURES
from training.data.dataset import Data
from training.data.features import features_of
from training.data.pixels import keep_pixels
from training.finetune.network import TuningNet, export, extractor_of
from training.finetune.user_network import NOT_HELD_OUT, FineTuning, digest_of
from training.gate.incumbent import NETWORK_LEARNED
from training.head.fit import Learned
from training.head.fusion import Pool, fit_pool
from training.head.scatter import join
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
    _check_enough(len(data.part("calibrate").photos), recipe)
    folder = training.cache.parent / "tuning" / digest_of(data, recipe)
    _clear_others(folder)
    with keep_pixels(data.photos, _stage(training.progress, "reading the photos", len(data.photos))) as pixels:
        tuning = FineTuning(data, pixels, learned, recipe, folder, training.progress)
        early = tuning.fit()
        late = tuning.grow(early)
    return _candidate(tuning, early, late, training.cache)


def _clear_others(folder: Path) -> None:
    """A fine-tuning with other photos or another recipe will not be resumed."""
    for other in folder.parent.glob("*"):
        if other != folder:
            shutil.rmtree(other, ignore_errors=True)


def _check_enough(photos: int, recipe: FullRecipe) -> None:
    if photos < recipe.least_calibration_photos:
        raise CollectionError(
            f"only {photos} photos to calibrate with, and {recipe.least_calibration_photos} are needed; "
            "add photos of more plants or visits, or train with --recipe quick"
        )


def _candidate(tuning: FineTuning, early: TuningNet, late: TuningNet, cache: Path) -> Candidate:
    """Calibrated and judged with the network that has learned the fit part alone; the other is for use."""
    data, learned = tuning.data, tuning.learned
    network = export(early.backbone)
    x = _side_by_side(tuning, network, "looking through it", tuning.folder / "features.safetensors")
    both = replace(data, x=x)
    tuned = _fit_tuned(both, learned, early, network, tuning.recipe)

    network = export(late.backbone)
    z = _side_by_side(tuning, network, "looking again", cache)[:, FEATURES:]
    linear, offsets = late.head_weights()
    whole = replace(tuned, network=network, statistics=fit_statistics(z, data.labels), linear=linear, offsets=offsets)
    account = {
        "pool": {"shrinkage": tuned.shrinkage, "weights": list(tuned.weights)},
        NETWORK_LEARNED: sorted(photo.sha256 for photo in data.part("fit").photos),
    }
    return Candidate(
        _beside(learned.classifier, tuned),
        _beside(learned.grown(data.part(*NOT_HELD_OUT)), tuned),
        _beside(learned.grown(data), whole),
        "the shipped starter and a network beside it, fine-tuned on the photos",
        account,
        x=x,
        kept=tuning.folder,
    )


def _beside(shipped: Classifier, tuned: Tuned) -> TunedClassifier:
    return TunedClassifier(shipped.statistics, shipped.calibration, tuned)


def _fit_tuned(data: Data, learned: Learned, net: TuningNet, network: bytes, recipe: FullRecipe) -> Tuned:
    """The closed-form head on the tuned features of the fit part, and the pool of all heads by the calibrate part."""
    fit, check = data.part("fit"), data.part("calibrate")
    own = fit_statistics(fit.x[:, FEATURES:], fit.labels)
    columns, z = np.array([own.classes.index(label) for label in check.labels]), check.x[:, FEATURES:]
    linear, offsets = net.head_weights()
    seen = join(learned.base, fit_statistics(fit.x[:, :FEATURES], fit.labels), learned.weight)
    shipped = Classifier(seen, learned.classifier.calibration)
    rows = [shipped.statistics.classes.index(name) for name in own.classes]
    said = shipped.logs(check.x)[:, rows]
    prior, tried = shipped.log_prior[rows], dict[float, Pool]()
    logits = linear_logits(z, linear, offsets) + prior
    for shrinkage in recipe.tuned_shrinkage:
        tried[shrinkage] = fit_pool((said, Discriminant(own, shrinkage).scores(z) + prior, logits), columns)
    best = min(tried, key=lambda value: tried[value].loss)
    weights = tried[best].weights
    return Tuned(network, own, best, linear, offsets, (weights[0], weights[1], weights[2]))


def _side_by_side(tuning: FineTuning, network: bytes, stage: str, cache: Path) -> Array:
    """Features of both networks, float (photos, 2 x FEATURES)."""
    photos, looked = tuning.data.photos, _stage(tuning.progress, stage, len(tuning.data.photos))
    z, _ = features_of(photos, cache, lambda done, of: looked(done), extractor_of(network))
    return np.hstack([tuning.data.x, z])


def _stage(progress: Progress, name: str, of: int) -> Callable[[int], None]:
    """Progress of one stage, from how much of it is done."""
    return lambda done: progress(name, done, of)
