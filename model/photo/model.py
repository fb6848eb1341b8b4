"""The photo model: files of one plant in, evidence out."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np

from model.photo.decode import Photo
from model.photo.evidence import Classifier, Evidence, describe, fuse
from model.photo.extract import Extractor
from model.photo.saved import STARTER
from model.photo.tuned import extractor_for, read_classifier


class PhotoModel:
    """A classifier with the extractor that its features come from."""

    def __init__(self, classifier: Classifier, extractor: Extractor) -> None:
        self.classifier = classifier
        self.extractor = extractor

    def look(self, photos: Sequence[Photo]) -> Evidence:
        """Evidence of the photos of one plant. Unusable photos contribute nothing."""
        rows, entries = [], []
        for photo in photos:
            if not photo.usable:
                entries.append(describe(photo, None, 0.0))
                continue
            x = self.extractor.features(photo)[None]
            row = self.classifier.probabilities(x)[0]
            rows.append(row)
            entries.append(describe(photo, row, float(self.classifier.novelty_ratio(x)[0])))
        if not rows:
            return self.classifier.nothing(entries)
        fused = fuse(np.stack(rows), self.classifier.calibration.dependence)
        return self.classifier.evidence(fused, entries)


def load_model(folder: Path = STARTER, threads: int | None = None) -> PhotoModel:
    """The model in a folder, with its backbone.

    ``threads`` of computing; as many as there are processors without it. Raises ModelError naming
    what is wrong with the model.
    """
    classifier = read_classifier(folder)
    return PhotoModel(classifier, extractor_for(classifier, threads))
