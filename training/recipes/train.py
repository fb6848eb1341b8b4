"""The sequence of every recipe: prepare, fit, calibrate, make the model, measure, and let the gate decide."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from model.photo.saved import STARTER, read_model
from model.storage import in_a_sentence
from training.data.dataset import Data
from training.data.manifest import LabelledPhoto
from training.gate import GateRules, Override, Promotion, load_rules
from training.head.fit import Learned, learn
from training.recipes.candidate import Candidate, Progress, Training
from training.recipes.decide import decide
from training.recipes.evaluation import Evaluation
from training.recipes.prepare import prepare
from training.recipes.recipe import Recipe, load_recipe, recipe_module
from training.registry.models import Registry


@dataclass(frozen=True)
class Outcome:
    """What a training came to: photos used and left out (file to reason), classes not yet learned, the verdict.

    ``parts``: how many photos each part has; ``data``: what was learned from and measured on, with
    the shipped network's features.
    """

    photos: int
    left_out: Mapping[str, str]
    not_yet: Mapping[str, str]
    parts: Mapping[str, int]
    work: Evaluation
    learned: Learned
    promotion: Promotion
    data: Data

    def as_json(self) -> dict[str, Any]:
        """The same as plain data."""
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


FITTING, JUDGING = "fitting the classifier", "judging it against the active model"


@in_a_sentence()
def train(
    name: str,
    photos: Sequence[LabelledPhoto],
    registry: Registry,
    cache: Path,
    override: Override | None = None,
    progress: Progress = lambda stage, done, of: None,
    recipe: Recipe | None = None,
    rules: GateRules | None = None,
) -> Outcome:
    """Learn from photos by the recipe ``name``, starting from the shipped model; activate the result if it may be.

    ``cache``: the file of features that are kept. A recipe that takes long resumes where it was interrupted when it
    is called again with the same photos. ``recipe`` and ``rules`` are read from configs/ where they are not given.
    Raises CollectionError where there is too little to learn from, ModelError as promote does.
    """
    make: Callable[[Training], Candidate] = recipe_module(name).make
    recipe, rules = recipe or load_recipe(name), rules or load_rules()
    ready = prepare(photos, recipe, cache, lambda done, of: progress("looking at the photos", done, of))
    progress(FITTING, 0, 1)
    learned = learn(ready.data, *read_model(STARTER), recipe)
    progress(FITTING, 1, 1)
    training = Training(name, recipe, ready.data, learned, ready.clusters, cache, progress)
    candidate = make(training)
    progress(JUDGING, 0, 1)
    work, promotion = decide(training, candidate, registry, rules, override)
    progress(JUDGING, 1, 1)
    if promotion.changed and candidate.kept is not None:  # else the override may follow, without learning again
        shutil.rmtree(candidate.kept, ignore_errors=True)
    counts = {part: int((ready.data.parts == part).sum()) for part in recipe.shares}
    used = len(ready.data.photos)
    return Outcome(used, ready.left_out, ready.not_yet, counts, work, learned, promotion, ready.data)
