"""Make the starter model from a folder of photos: ``python -m training.recipes.make_starter PHOTOS OUT [CACHE]``.

The steps are those of every recipe, but that it starts from no model, and that nothing is there to compare it with.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np

from model.errors import SwardkeyError
from model.photo.evidence import Calibration
from model.photo.head import Statistics
from model.photo.saved import save_model
from training.data.dataset import Data
from training.data.manifest import read_manifest
from training.data.split import PARTS
from training.evaluate.card import card
from training.evaluate.measure import Measurement, measure_classifier
from training.gate.rules import load_rules
from training.head.conformal import save_sets
from training.head.fit import Learned, learn
from training.head.novelty import auroc_by_class, novelty_left_out
from training.recipes.candidate import Candidate
from training.recipes.evaluation import Evaluation, evaluate
from training.recipes.prepare import read_photos
from training.recipes.recipe import Recipe, load_recipe

CARD = Path(__file__).with_name("starter_card.md")  # what no figure says
NOTHING_FITTED = Calibration(0.1, 1.0, (0.0, 1.0, 0.0, 1.0), 0.02, 1.0)


def read_data(folder: Path, recipe: Recipe, cache: Path | None) -> Data:
    """The photos of a manifest with features and parts. Unreadable photos are named on standard error and left out."""
    found = read_photos(read_manifest(folder), recipe, cache, _progress)
    for note in found.left_out.values():
        sys.stderr.write(f"left out: {note}\n")
    return found.data


def learn_starter(data: Data, recipe: Recipe) -> Learned:
    """Fit on the fit part and calibrate on the calibrate part, starting from nothing.

    Novelty is fitted on photos taken in the field, whose groups are known: they are the kind that people will send.
    Seedlings on gravel are alike, left out or not, and would make every field photo seem half novel.
    """
    return learn(data, Statistics.empty(data.x.shape[1]), NOTHING_FITTED, recipe, novelty_of_known_groups=True)


def evaluate_starter(learned: Learned, data: Data, recipe: Recipe) -> Evaluation:
    """Sets from the conformal part, and figures on the held-out part."""
    one = learned.classifier
    return evaluate(Candidate(one, one, one, ""), data, data.part("conformal"), load_rules(), recipe)


def of_known_groups(learned: Learned, data: Data, recipe: Recipe) -> Measurement:
    """Figures on the held-out photos whose group is known."""
    held = data.part("held_out")
    held = held.where(np.array([photo.group_known for photo in held.photos]))
    found = measure_classifier("starter", learned.classifier, held.photos, held.x, None, recipe.null_draws, recipe.seed)
    return found.figures


def novelty_auroc(learned: Learned, data: Data) -> dict[str, float]:
    """How well the novelty score shows a class that was left out, by class, on held-out photos."""
    classifier, held = learned.classifier, data.part("held_out")
    fitted = data.part("fit", "calibrate")  # all that the starter was fitted on: fewer photos would look more novel
    left_out = novelty_left_out(learned.base, learned.weight, classifier.calibration, fitted, held)
    return auroc_by_class(classifier.novelty(held.x), left_out, held.labels)


def _progress(done: int, of: int) -> None:
    if done % 200 == 0 or done == of:
        sys.stderr.write(f"\rfeatures {done} of {of}" + ("\n" if done == of else ""))
        sys.stderr.flush()


def main(arguments: list[str]) -> int:
    """PHOTOS OUT [CACHE]: train, measure, write the model folder, print the card."""
    if len(arguments) not in (2, 3):
        sys.stderr.write("usage: python -m training.recipes.make_starter PHOTOS OUT [CACHE]\n")
        return 2
    folder, out = Path(arguments[0]), Path(arguments[1])
    try:
        recipe = load_recipe("quick")
        data = read_data(folder, recipe, Path(arguments[2]) if len(arguments) == 3 else None)
        learned = learn_starter(data, recipe)
        work = evaluate_starter(learned, data, recipe)
    except SwardkeyError as error:
        sys.stderr.write(f"{error}\n")
        return 2
    introduction, limits = CARD.read_text(encoding="utf-8").split("\n<!-- figures -->\n\n")
    text = card(
        introduction,
        work,
        learned.classifier,
        learned,
        data.photos,
        {"groups known": of_known_groups(learned, data, recipe)},
        novelty_auroc(learned, data),
        limits,
    )
    account = {
        "photos_by_part": {part: len(data.part(part).photos) for part in PARTS},
        "groups_by_part": {part: len(set(data.part(part).groups)) for part in PARTS},
    }
    saved = {"recipe": recipe.model_dump(), "account": account}
    save_model(out, learned.classifier.statistics, learned.classifier.calibration, saved, text)
    save_sets(out, work.sets)
    print(text)
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
