"""Decide whether a new model is activated: measured step by step, then judged beside the active one."""

from __future__ import annotations

import tempfile
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from model.photo.saved import save_model
from model.photo.tuned import UNSEEN, TunedClassifier, save_tuned
from training.data.dataset import Data
from training.data.duplicates import Cluster
from training.evaluate.card import card
from training.gate import GateRules, Override, Promotion
from training.gate.incumbent import LEARNED, Incumbent
from training.head.conformal import save_sets
from training.head.fit import Learned
from training.recipes.candidate import Candidate, Training
from training.recipes.evaluation import Evaluation, Rivals, evaluate
from training.registry.models import Registry
from training.sharing.joined_model import JoinedModel, active_model, take_apart, write_joined
from training.sharing.sharing_rules import load_sharing_rules


def decide(
    training: Training, candidate: Candidate, registry: Registry, rules: GateRules, override: Override | None
) -> tuple[Evaluation, Promotion]:
    """Measure the candidate and activate it if the gate allows it.

    What others gave to the active model is added to the candidate as well, and judged with it.
    Held-out photos that the active network was fine-tuned on cannot be taken out of it, and are left away.
    Raises CollectionError where nothing can be measured, ModelError as promote does.
    """
    sharing = load_sharing_rules()
    model = active_model(registry, sharing)
    incumbent = Incumbent.of(model.name, model.folder, model.own, model.account)
    every = training.data if candidate.x is None else replace(training.data, x=candidate.x)
    data = incumbent.unseen(every)
    held, conformal = data.part("held_out"), every.part("conformal")
    work = evaluate(candidate, data, conformal, rules, training.recipe)
    with tempfile.TemporaryDirectory(prefix="swardkey-") as scratch:
        folder = Path(scratch) / "candidate"
        _write(folder, training, candidate, work, every)
        if model.gifts:
            candidate = _with_gifts(candidate, model)
            work = evaluate(candidate, data, conformal, rules, training.recipe)
            own, folder = folder, Path(scratch) / "joined"
            write_joined(take_apart("own", own, sharing), model.gifts, work.sets, folder)
        before, x = incumbent.before(held, training.cache)
        before, near = model.with_gifts(before, model.gifts), copies(data, training.clusters)
        rivals = Rivals((model.name, "new"), before, x, candidate.judged, held, near)
        return work, work.promote(folder, rivals, registry, rules, override)


def _with_gifts(candidate: Candidate, model: JoinedModel) -> Candidate:
    """The candidate with what others gave to ``model`` beside what it has learned."""
    one, two, three = (
        model.with_gifts(classifier, model.gifts)
        for classifier in (candidate.calibrated, candidate.judged, candidate.whole)
    )
    return replace(candidate, calibrated=one, judged=two, whole=three)


def _write(folder: Path, training: Training, candidate: Candidate, work: Evaluation, data: Data) -> None:
    """The folder of the model as it would be activated, with its sets, card and account."""
    whole, learned = candidate.whole, training.learned
    account = {
        "recipe": training.recipe.model_dump(),
        LEARNED: {photo.sha256: photo.label for photo in data.photos},
        **scatter_account(learned),
        **candidate.account,
    }
    introduction = INTRODUCTION.format(
        name=training.name, made_of=candidate.made_of, photos=len(data.photos), classes=len(set(data.labels))
    )
    text = card(introduction, work, candidate.judged, learned, data.photos)
    save_model(folder, whole.statistics, whole.calibration, account, text)
    if isinstance(whole, TunedClassifier):
        save_tuned(folder, whole.tuned)
    if isinstance(candidate.judged, TunedClassifier):
        save_tuned(folder, candidate.judged.tuned, UNSEEN)
    save_sets(folder, work.sets)


def copies(data: Data, clusters: Sequence[Cluster]) -> int:
    """How many held-out photos are the same picture as one that was learned from."""
    held = {photo.name for photo in data.part("held_out").photos}
    learned = {photo.name for photo in data.part("fit", "calibrate", "conformal").photos}
    return sum(len(held.intersection(c.photos)) for c in clusters if learned.intersection(c.photos))


def scatter_account(learned: Learned) -> dict[str, Any]:
    """For recipe.json: how much the starter counts beside one's own photos."""
    return {
        "base": "starter",
        "base_weight": learned.weight,
        "shrinkage": learned.classifier.calibration.shrinkage,
        "calibrated_on": learned.calibrated_on,
    }


INTRODUCTION = """# Card of a photo model of this user

Made by the {name} recipe: {made_of}, and {photos} labelled photos of {classes} classes.
The figures below are those of the model before the held-out photos were added to it. Adding them is an exact update
of the closed-form heads; a network that was fine-tuned learns on from them for a while.

Never enough to name a plant: the questions confirm.
"""
