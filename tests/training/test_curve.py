"""The learning curve: it rises where photos help, and always asks the same held-out photos."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from model.photo.evidence import Calibration, Classifier
from model.photo.head import fit_statistics
from training.data.dataset import Data
from training.data.manifest import LabelledPhoto
from training.evaluate.learning_curve import learning_curve
from training.head.fit import Learned

CALIBRATION = Calibration(0.2, 1.0, (0.0, 1.0, 1.0, 1.0), 0.02, 0.5)


def cloud(labels: list[str], seed: int) -> np.ndarray:
    """Features in which the classes lie near one another, so that few photos do not tell them apart."""
    random = np.random.default_rng(seed)
    centres = {label: np.random.default_rng(ord(label)).normal(0, 0.45, 30) for label in "abcdxy"}
    return np.stack([centres[label] for label in labels]) + random.normal(0, 1, (len(labels), 30))


def data_of(per_class: int) -> Data:
    labels = [label for label in "abcd" for _ in range(per_class)]
    photos = tuple(
        LabelledPhoto(Path(f"{i}.jpg"), f"{i}.jpg", label, f"plant {i // 2}", True, "mine", "", "")
        for i, label in enumerate(labels)
    )
    parts = np.array(["held_out" if i % 4 == 0 else "fit" for i in range(len(labels))])
    return Data(cloud(labels, 1), photos, parts)


def learned() -> Learned:
    labels = ["x", "y"] * 40
    base = fit_statistics(cloud(labels, 2), labels)
    return Learned(Classifier(base, CALIBRATION), base, 0.1, 0)


def test_more_photos_of_new_species_bring_more() -> None:
    points = learning_curve(data_of(120), learned())
    assert [p.photos for p in points] == sorted({p.photos for p in points}) and points[-1].photos == 4 * 90
    assert points[-1].right > points[0].right + 0.05
    assert all(p.low <= p.right <= p.high for p in points) and points[-1].low == points[-1].high


def test_few_photos_give_few_points_and_none_held_out_none() -> None:
    assert len(learning_curve(data_of(4), learned())) <= 3
    whole = data_of(8)
    assert learning_curve(Data(whole.x, whole.photos, np.full(32, "fit")), learned()) == ()
