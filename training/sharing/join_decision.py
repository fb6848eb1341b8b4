"""Join what others gave, judged by the gate on one's own held-out photos as a training is; and take it out again."""

from __future__ import annotations

import tempfile
from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from model.errors import CollectionError, ModelError, nearest
from model.photo.evidence import Classifier
from model.photo.extract import RECIPE
from model.photo.saved import read_model
from model.photo.tuned import TunedClassifier, extractor_for, read_classifier
from training.data.dataset import Data
from training.data.features import features_of
from training.gate import GateRules, HeldOut, Judged, Origin, Override, Part, Promotion, Rule, Verdict, promote
from training.gate.incumbent import Incumbent
from training.gate.integrity import kept_species
from training.gate.known import judge_known
from training.gate.simulated import with_simulated
from training.gate.verdict import Decision
from training.recipes.candidate import Candidate
from training.recipes.decide import copies
from training.recipes.evaluation import Evaluation, Rivals, evaluate
from training.recipes.prepare import Prepared
from training.recipes.recipe import Recipe
from training.registry.models import STARTER, STARTER_FOLDER, InCharge, Registry
from training.sharing.joined_model import Gift, JoinedModel, write_joined, write_own


@dataclass(frozen=True)
class Bench:
    """What a joined model is judged with: one's own photos (None where there are none), and the rules."""

    photos: Prepared | None
    recipe: Recipe
    rules: GateRules
    cache: Path


def join_gifts(
    model: JoinedModel, gifts: Sequence[Gift], registry: Registry, bench: Bench, override: Override | None
) -> Promotion:
    """Activate the model with ``gifts`` in place of those that it has, if the gate allows it.

    Where there are too few photos of one's own to measure anything, the gate cannot tell, and a person may decide.
    Raises ModelError as promote does.
    """
    measured = _measured(model, gifts, bench)
    with tempfile.TemporaryDirectory(prefix="swardkey-") as scratch:
        folder = Path(scratch) / "candidate"
        write_joined(model, gifts, measured[0].sets if measured else None, folder)
        if measured is None:
            return promote(registry, folder, _without_photos(model, gifts, bench.rules), override, read_classifier)
        work, rivals = measured
        return work.promote(folder, rivals, registry, bench.rules, override)


def take_out_gifts(model: JoinedModel, names: Collection[str], registry: Registry) -> InCharge:
    """Activate the model without what the givers ``names`` gave; nothing is judged, for it is what was there before.

    The last one out brings back the old files, byte for byte. What is left of several is added up anew, and has no
    sets until something is joined or trained again. Raises ModelError for a name of which nothing is joined.
    """
    known = {word: gift for gift in model.gifts for word in (gift.entry.name, gift.entry.giver)}
    for name in names:
        if name not in known:
            hint = nearest(name, known) if known else "nothing is joined"
            raise ModelError(f"nothing of {name!r} is joined to {model.name}; {hint}")
    gone = {known[name].entry.name for name in names}
    left = [gift for gift in model.gifts if gift.entry.name not in gone]
    if not left and model.onto == STARTER:
        return registry.use(STARTER, "take out", model.name, read_classifier, without=sorted(gone))
    with tempfile.TemporaryDirectory(prefix="swardkey-") as scratch:
        folder = Path(scratch) / "without"
        if left:
            write_joined(model, left, None, folder)
        else:
            write_own(model, folder)
        name = registry.install(folder)
    read_classifier(registry.folder / name)
    return registry.use(name, "take out", model.name, read_classifier, without=sorted(gone))


def _measured(model: JoinedModel, gifts: Sequence[Gift], bench: Bench) -> tuple[Evaluation, Rivals] | None:
    """The model as it is and with ``gifts``, neither having learned from the photos; None for too few of them."""
    if bench.photos is None:
        return None
    incumbent = Incumbent(model.name, model.own, model.account)
    data = incumbent.unseen(_as_seen_by(model.own, bench.photos.data, bench.cache))
    held = data.part("held_out")

    def without(gone: Data, of: Sequence[Gift]) -> Classifier:
        return model.with_gifts(incumbent.without(gone.x, gone.photos), of)

    judged = without(held, gifts)
    calibrated = without(data.part("conformal", "held_out"), gifts)
    candidate = Candidate(calibrated, judged, judged, "what others gave")
    try:
        work = evaluate(candidate, data, data.part("conformal"), bench.rules, bench.recipe)
    except CollectionError:
        return None
    before, near = without(held, model.gifts), copies(data, bench.photos.clusters)
    return work, Rivals((model.name, "joined"), before, held.x, judged, held, near)


def _as_seen_by(classifier: Classifier, data: Data, cache: Path) -> Data:
    """The photos with the features that a classifier goes by."""
    if not isinstance(classifier, TunedClassifier):
        return data
    return replace(data, x=features_of(data.photos, cache, extractor=extractor_for(classifier))[0])


def _without_photos(model: JoinedModel, gifts: Sequence[Gift], rules: GateRules) -> Verdict:
    """What can be said without any photo to measure on: what the starter's statistics show of its species."""
    old, new = model.with_gifts(model.own, model.gifts), model.with_gifts(model.own, gifts)
    before, after = (
        Judged(name, one.species, np.zeros((0, len(one.species) + 1)))
        for name, one in ((model.name, old), ("joined", new))
    )
    classes = new.statistics.classes
    origin = Origin(Part(), Part(), None, classes, classes, RECIPE, RECIPE, None)
    starter = read_model(STARTER_FOLDER)[0]
    evidence = with_simulated(HeldOut((), (), before, after, None, origin), old, new, starter, rules.drawn.value)
    photos = Rule("photos", None, None, "there are too few of your own to measure anything")
    found = (kept_species(evidence), photos, judge_known(evidence, rules)[-1])
    decision: Decision = "keep" if any(rule.passed is False for rule in found) else "cannot_tell"
    return Verdict(decision, model.name, "joined", 0, 0, found)
