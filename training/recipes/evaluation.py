"""A new model measured on photos that it has not learned from, and beside the active one on the same photos."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import combinations
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from model.errors import CollectionError, ModelError
from model.photo.evidence import OTHER, Classifier
from model.photo.extract import RECIPE
from model.photo.saved import STARTER, Description, read_description, read_model
from model.photo.tuned import extractor_for, read_classifier
from training.data.dataset import Data
from training.evaluate.measure import ELSE, Measured, Measurement, measure_classifier
from training.gate import GateRules, HeldOut, Origin, Override, Part, Promotion, compare, promote
from training.gate.judge import judge, skew_of
from training.gate.simulated import with_simulated
from training.head.conformal import LacSets, conformalize, read_sets
from training.recipes.candidate import Candidate
from training.recipes.recipe import Recipe
from training.registry.models import Registry

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Rivals:
    """The active model and the new one, by their ``names``, neither of which has learned from the photos of ``held``.

    ``x``: features of these photos as the active one goes by them, float (photos, features). ``near_duplicates``: how
    many of them look like one that was learned from.
    """

    names: tuple[str, str]
    active: Classifier
    x: Array
    new: Classifier
    held: Data
    near_duplicates: int


@dataclass(frozen=True)
class Evaluation:
    """``classes`` in the order of the head's rows; ``parts``: the photos that each step used, by its name.

    ``sets`` are conformal ones; ``measured``: the figures on the held-out photos.
    """

    classes: tuple[str, ...]
    parts: Mapping[str, Part]
    sets: LacSets
    evaluation: Measured

    @property
    def species(self) -> tuple[str, ...]:
        """The classes that are species, which are the columns of the probabilities but for the last."""
        return tuple(name for name in self.classes if not name.startswith(OTHER))

    @property
    def measured(self) -> Measurement:
        """The figures on all held-out photos."""
        return self.evaluation.figures

    def promote(
        self, candidate: Path, rivals: Rivals, registry: Registry, rules: GateRules, override: Override | None = None
    ) -> Promotion:
        """Compare both models, and activate the new one in the folder ``candidate`` if the rules allow it.

        Raises ModelError as training.gate.promote does, and where the folder holds the sets of another training.
        """
        if read_sets(candidate) != self.sets:
            raise ModelError(f"{candidate}: does not hold the sets of this training; save them with it first")
        held_out = self.evidence(candidate, rivals)
        held_out = with_simulated(held_out, rivals.active, rivals.new, read_model(STARTER)[0], rules.drawn.value)
        return promote(registry, candidate, compare(held_out, rules), override, read_classifier)

    def evidence(self, candidate: Path, rivals: Rivals) -> HeldOut:
        """What both models say of the held-out photos, and how the new one in the folder ``candidate`` came about."""
        held, parts = rivals.held, self.parts
        saved = read_description(candidate / "model.json", Description, "a model")
        origin = Origin(
            learned=parts["fit"] + parts["calibrate"] + parts["conformalize"],
            held_out=parts["measure"],
            near_duplicates=rivals.near_duplicates,
            fitted_classes=self.classes,
            saved_classes=tuple(saved.classes),
            views_fitted=saved.features,
            views_served=RECIPE,
            skew=skew_of(held.photos, held.x, extractor_for(rivals.new)),
        )
        old = judge(rivals.names[0], rivals.active, rivals.x, held.labels)
        new = judge(rivals.names[1], rivals.new, held.x, held.labels)
        return HeldOut(tuple(held.labels), tuple(held.groups), old, new, self.sets, origin)


def evaluate(candidate: Candidate, data: Data, conformal: Data, rules: GateRules, recipe: Recipe) -> Evaluation:
    """Fit conformal sets to the calibrated model, and measure the one that is judged, each on its own part.

    ``conformal``: the part for the sets, with the features of ``candidate.calibrated``. Raises CollectionError where a
    part has no photos, or two parts share a photo or a group.
    """
    held = data.part("held_out")
    if not held.photos or not conformal.photos:
        raise CollectionError("too few groups of photos to measure honestly; add photos of other plants or visits")
    used = {"fit": data.part("fit"), "calibrate": data.part("calibrate"), "conformalize": conformal, "measure": held}
    parts = {step: Part.of(photos.photos) for step, photos in used.items()}
    _check_apart(parts)
    one = candidate.calibrated
    sets = conformalize(
        one.probabilities(conformal.x),
        conformal.truth(one.species),
        rules.coverage.value,
        (*one.species, ELSE),
        conformal.groups,
        rules.own_threshold.value,
    )
    found = measure_classifier("new", candidate.judged, held.photos, held.x, sets, recipe.null_draws, recipe.seed)
    return Evaluation(one.statistics.classes, parts, sets, found)


def _check_apart(parts: Mapping[str, Part]) -> None:
    for (name, one), (other, two) in combinations(parts.items(), 2):
        photos, groups = set(one.sha256) & set(two.sha256), set(one.groups) & set(two.groups)
        if photos or groups:
            what = f"group {sorted(groups)[0]!r}" if groups else f"the photo with sha256 {sorted(photos)[0][:12]}"
            raise CollectionError(f"{what} is used by both {name} and {other}; give its photos one group")
