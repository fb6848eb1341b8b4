"""The photo model: files of one plant in, evidence out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from model.errors import ModelError
from model.photo.decode import Photo
from model.photo.evidence import Classifier, Evidence, describe
from model.photo.extract import RECIPE, Extractor
from model.photo.hint import Hint, read_hint
from model.photo.saved import STARTER
from model.photo.tuned import extractor_for, read_classifier
from model.photo.weights import FEATURES

Array = NDArray[np.float64]


class PhotoModel:
    """A classifier with the extractor that its features come from, and the hint for species without photos.

    ``fault`` says in a sentence why there is no hint although there should be one.
    """

    def __init__(self, classifier: Classifier, extractor: Extractor, hint: Hint | None = None, fault: str = "") -> None:
        self.classifier = classifier
        self.extractor = extractor
        self.hint = hint
        self.fault = fault

    def look(self, photos: Sequence[Photo]) -> Evidence:
        """Evidence of the photos of one plant. Photos that are not usable say nothing."""
        rows, features, entries = [], [], []
        for photo in photos:
            if not photo.usable:
                entries.append(describe(photo, None, 0.0))
                continue
            x = self.extractor.features(photo)[None]
            row = self.classifier.probabilities(x)[0]
            rows.append(row)
            features.append(x[:, :FEATURES])  # the hint goes by the shipped network
            entries.append(describe(photo, row, float(self.classifier.novelty_ratio(x)[0])))
        if not rows:
            return self.classifier.nothing(entries)
        evidence = self.classifier.evidence(self.classifier.fuse(np.stack(rows)), entries)
        return self._hinted(evidence, np.vstack(features))

    def _hinted(self, evidence: Evidence, x: Array) -> Evidence:
        """With what drawings say of the species that the classifier has not learned."""
        if self.hint is None:
            return evidence
        scores = self.hint.of_plant(x, self.classifier.calibration.dependence)
        unseen = {name: score for name, score in scores.items() if name not in evidence.log_likelihood}
        # The surer it is that the photo shows a species with photos, the less there is to deal out.
        other = max(0.0, 1.0 - sum(evidence.probabilities.values()))
        return replace(evidence, hint=unseen, hint_weight=self.hint.file.weight * other)


def load_model(folder: Path = STARTER, threads: int | None = None) -> PhotoModel:
    """The model in a folder, with its backbone, and the starter's hint if it is for the same features.

    ``threads`` of computing; as many as there are processors without it. A damaged hint is left
    away. Raises ModelError naming what is wrong with the model.
    """
    classifier = read_classifier(folder)
    extractor = extractor_for(classifier, threads)
    if extractor.parts[0].name != RECIPE:
        return PhotoModel(classifier, extractor)
    try:
        return PhotoModel(classifier, extractor, read_hint(STARTER))
    except ModelError as error:
        return PhotoModel(classifier, extractor, None, f"going on without the hints of drawings: {error}")
