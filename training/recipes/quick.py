"""The quick recipe, from collection to verdict: features once, then a closed-form head, measured and compared."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path

from model.photo.saved import STARTER, read_model
from model.storage import in_a_sentence
from training.data.manifest import LabelledPhoto
from training.gate import GateRules, Override
from training.head.fit import learn
from training.recipes.decide import Candidate, Outcome, settle, spread_account
from training.recipes.prepare import gather
from training.recipes.recipe import Recipe
from training.registry.models import Registry


@in_a_sentence()
def train_quick(
    photos: Sequence[LabelledPhoto],
    registry: Registry,
    recipe: Recipe,
    rules: GateRules,
    cache: Path,
    override: Override | None = None,
    progress: Callable[[int], None] = lambda done: None,
) -> Outcome:
    """Learn from all photos, starting from the shipped model, and put the result in charge if the gate lets it.

    Raises CollectionError where there is too little to learn from, ModelError as promote does.
    """
    data, left_out, not_yet = gather(photos, recipe, cache, progress)
    base, calibration = read_model(STARTER)
    learned = learn(data, base, calibration, recipe)
    judged, whole = learned.grown(data.part("fit", "calibrate", "conformal")), learned.grown(data)
    candidate = Candidate("quick", learned.classifier, judged, whole, spread_account(learned))
    work, promotion = settle(data, candidate, registry, rules, recipe, cache, override)
    counts = {part: int((data.parts == part).sum()) for part in recipe.shares}
    return Outcome(len(data.photos), left_out, not_yet, counts, work, learned, promotion, data)
