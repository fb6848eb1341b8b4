"""The active model in a comparison: judged as if it had not learned from the held-out photos."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from model.errors import ModelError
from model.photo.evidence import Classifier
from model.photo.saved import STARTER, read_model
from model.photo.tuned import UNSEEN, TunedClassifier, extractor_for, read_tuned
from model.photo.weights import FEATURES
from training.data.dataset import Data
from training.data.features import features_of
from training.data.manifest import LabelledPhoto
from training.head.scatter import take_out

Array = NDArray[np.float64]
LEARNED, NETWORK_LEARNED = "learned", "network_learned"  # in recipe.json: sha256 to label; list of sha256


@dataclass(frozen=True)
class Incumbent:
    """The active model without what others gave, and its ``account`` (recipe.json) as far as that can be read."""

    name: str
    classifier: Classifier
    account: Mapping[str, Any]

    @classmethod
    def of(cls, name: str, folder: Path, classifier: Classifier, account: Mapping[str, Any]) -> Incumbent:
        """A model in ``folder``; of a fine-tuned network, the one that has not learned on from the held-out photos."""
        if isinstance(classifier, TunedClassifier) and (tuned := read_tuned(folder, UNSEEN)):
            classifier = TunedClassifier(classifier.statistics, classifier.calibration, tuned)
        return cls(name, classifier, account)

    def unseen(self, data: Data) -> Data:
        """Without the held-out photos that its network was fine-tuned on. Raises ModelError where no other is left."""
        seen = set(self.account.get(NETWORK_LEARNED, ()))
        if not seen:
            return data
        held = data.parts == "held_out"
        gone = np.array([h and photo.sha256 in seen for h, photo in zip(held, data.photos, strict=True)])
        if gone[held].all():
            raise ModelError("the active network has seen all held-out photos; train with --recipe full, or add photos")
        return data.where(~gone)

    def before(self, held: Data, cache: Path) -> tuple[Classifier, Array]:
        """The classifier once held-out photos are taken out of its heads, and their features as it goes by them.

        Features float (photos, features); ``cache``: of features.
        """
        x = held.x
        if isinstance(self.classifier, TunedClassifier):
            x = features_of(held.photos, cache, extractor=extractor_for(self.classifier))[0]
        return self.without(x, held.photos), x

    def without(self, x: Array, photos: Sequence[LabelledPhoto]) -> Classifier:
        """The classifier once those of the photos that it has learned from are taken out of its heads.

        Taking a photo out is exact, so that a model that was activated with all its photos is judged as
        fairly as the new one. ``x`` float (photos, features) as this classifier goes by them.
        """
        statistics = self.classifier.statistics
        labels = {sha256: label for sha256, label in self._labels().items() if label in statistics.classes}
        learned = [(row, labels[digest]) for row, photo in enumerate(photos) if (digest := photo.sha256) in labels]
        if not learned:
            return self.classifier
        rows, gone = [row for row, _ in learned], [label for _, label in learned]
        base, every = read_model(STARTER)[0], list(labels.values())
        statistics = take_out(statistics, base, self._base_weight(), every, x[rows, :FEATURES], gone)
        return self.classifier.with_statistics(statistics)

    def _labels(self) -> dict[str, str]:
        """Of the photos that it has learned from, by their sha256."""
        learned = self.account.get(LEARNED)
        return {str(k): str(v) for k, v in learned.items()} if isinstance(learned, dict) else {}

    def _base_weight(self) -> float:
        """How much the starter's scatter counts in it; 1 where its account does not say."""
        weight = self.account.get("base_weight")
        return float(weight) if isinstance(weight, int | float) and 0 < weight <= 1 else 1.0
