"""How well the starter knows what it has never learned: plants left out, drawings of plants, and what is no plant.

    python -m tests.claims.strange ../shared/photos FEATURES.safetensors

prints two tables. In the first each class is left out in turn and its held-out photos are told from those of the
classes learned (AUROC: 0.5 is chance, 1 perfect); things that are no plant are drawn by training/adapt/things.py, for
there are no photos of such, and drawings are easier. In the second a new species is learned from few photos, and
the table says how many of its held-out photos are named right and how many are said to be unlike all that is known.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from sklearn.metrics import roc_auc_score

from model.photo import Classifier, Extractor, fit_statistics
from model.photo.evidence import UNLIKE
from model.photo.views import views
from training.adapt.things import draw_thing
from training.data import Data
from training.novelty import auroc_by_class, strangeness_left_out
from training.recipe import load_recipe
from training.starter import gather, train

Array = NDArray[np.float64]
THINGS = 140
NEW = ("taraxacum_officinale", "trifolium_repens", "other:sunflower", "stellaria_media")
SHOTS = (5, 10, 20, 35)


def things() -> Array:
    """Features of drawn things that are no plants, float (things, features)."""
    extractor = Extractor()
    return np.stack([extractor.features_of_views(views(draw_thing(seed))) for seed in range(THINGS)])


def told_apart(classifier: Classifier, data: Data) -> None:
    """The first table."""
    learn, held_out = data.part("fit"), data.part("held_out")
    known = classifier.strangeness(held_out.x)
    fit, judged = (learn.x, learn.labels), (held_out.x, held_out.labels)
    left_out = strangeness_left_out(classifier.calibration, fit, judged)
    by_class = auroc_by_class(known, left_out, held_out.labels)
    field = np.array([photo.group_known for photo in held_out.photos])
    in_field = {label for label, here in zip(held_out.labels, field, strict=True) if here}
    thing = classifier.strangeness(things())
    truth = np.repeat([0, 1], [len(known), len(thing)])

    def unlike(z: Array) -> str:
        return f"{(classifier.ratio(z) >= UNLIKE).mean():.3f}"

    print("| photos | AUROC | said to be unlike all that is known |\n|---|---|---|")
    print(f"| of classes learned, from the field | - | {unlike(known[field])} |")
    print(f"| of classes learned, seedlings | - | {unlike(known[~field])} |")
    print(f"| of {len(by_class)} classes left out | {np.mean(list(by_class.values())):.3f} | {unlike(left_out)} |")
    shown = np.mean([value for name, value in by_class.items() if name in in_field])
    print(f"| of {len(in_field)} of them, from the field | {shown:.3f} | {unlike(left_out[field])} |")
    auroc = roc_auc_score(truth, np.concatenate([known, thing]))
    print(f"| {THINGS} drawn things, no plants | {auroc:.3f} | {unlike(thing)} |")


def learned_from_few(classifier: Classifier, data: Data, seed: int = 1) -> None:
    """The second table. The calibration is the starter's, as with too few photos to fit another."""
    learn, held_out = data.part("fit"), data.part("held_out")
    truth, judged = np.array(learn.labels), np.array(held_out.labels)
    print("\n| new species | photos | named right | unlike |\n|---|---|---|---|")
    for name in NEW:
        for shots in SHOTS:
            own = np.random.default_rng(seed).permutation(np.flatnonzero(truth == name))[:shots]
            rows = np.concatenate([own, np.flatnonzero(truth != name)])
            few = Classifier(fit_statistics(learn.x[rows], list(truth[rows])), classifier.calibration)
            x = held_out.x[judged == name]
            said = np.array([*few.species, "other"])[few.probabilities(x).argmax(axis=1)]
            right = (said == name.split(":")[0]).mean()
            print(f"| {name} | {shots} | {right:.2f} | {(few.novelty_ratio(x) >= UNLIKE).mean():.2f} |")


def main(arguments: list[str]) -> int:
    """PHOTOS FEATURES: print both tables."""
    if len(arguments) != 2:
        sys.stderr.write("usage: python -m tests.claims.strange PHOTOS FEATURES.safetensors\n")
        return 2
    recipe = load_recipe("quick")
    data = gather(Path(arguments[0]), recipe, Path(arguments[1]))
    classifier = train(data, recipe).classifier
    told_apart(classifier, data)
    learned_from_few(classifier, data)
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
