"""A training as far as it has got: fit, calibrate, conformalize, measure, promote, in this order.

How a model is fitted is its recipe's business. Here is what must hold for every recipe:
no step comes before the one it rests on, and no photo or group is used by two of them.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from model.errors import CollectionError, ModelError, SwardkeyError
from model.photo import Classifier
from model.photo.evidence import OTHER
from model.photo.extract import RECIPE
from model.photo.saved import Description, read_description
from training.data.dataset import Data
from training.evaluate.measure import ELSE, Measured, Measurement, measure_classifier
from training.gate import GateRules, HeldOut, Judged, Origin, Override, Part, Promotion, compare, promote
from training.head.conformal import LacSets, conformalize, read_sets
from training.registry.models import Registry

STEPS = ("fit", "calibrate", "conformalize", "measure", "promote")


class StepError(SwardkeyError):
    """A step was asked for before an earlier one was done. Do the step that the message names first."""


def need(step: str, done: Collection[str]) -> None:
    """Raise StepError unless all steps before ``step`` are done.

    >>> need("calibrate", ["fit"])
    """
    for earlier in STEPS[: STEPS.index(step)]:
        if earlier not in done:
            raise StepError(f"cannot {step} yet: {earlier} is missing; the order is {', '.join(STEPS)}")


@dataclass(frozen=True)
class Pipeline:
    """Every step gives a new one and leaves this as it is.

    ``classes`` in the order of the head's rows. ``parts`` are the photos that each step used, by its name.
    ``evaluation``: the figures on the held-out photos.
    """

    classes: tuple[str, ...] = ()
    parts: tuple[tuple[str, Part], ...] = ()
    sets: LacSets | None = None
    evaluation: Measured | None = None

    @property
    def done(self) -> tuple[str, ...]:
        """The steps that are done, in order."""
        return tuple(step for step, _ in self.parts)

    @property
    def species(self) -> tuple[str, ...]:
        """The classes that are species, which are the columns of the probabilities but for the last."""
        return tuple(name for name in self.classes if not name.startswith(OTHER))

    @property
    def measured(self) -> Measurement | None:
        """The figures on all held-out photos; None before measure."""
        return self.evaluation.figures if self.evaluation else None

    def fit(self, classes: Sequence[str], data: Data) -> Pipeline:
        """The head was fitted on ``data``: ``classes`` in the order of its rows, species ids and `other:<kind>`."""
        return Pipeline(tuple(classes), (("fit", Part.of(data.photos)),))

    def calibrate(self, data: Data) -> Pipeline:
        """Temperature, novelty, floor and dependence were fitted on ``data``."""
        return self._after("calibrate", data)

    def conformalize(self, classifier: Classifier, data: Data, rules: GateRules) -> Pipeline:
        """Fit LAC sets for the calibrated ``classifier`` on ``data``."""
        work = self._after("conformalize", data)
        sets = conformalize(
            classifier.probabilities(data.x),
            data.truth(self.species),
            rules.coverage.value,
            (*self.species, ELSE),
            data.groups,
            rules.own_threshold.value,
        )
        return replace(work, sets=sets)

    def measure(self, classifier: Classifier, data: Data, draws: int = 200, seed: int = 0) -> Pipeline:
        """Measure the ``classifier`` on the held-out photos, once."""
        work = self._after("measure", data)
        found = measure_classifier("new", classifier, data.photos, data.x, self.sets, draws, seed)
        return replace(work, evaluation=found)

    def evidence(
        self, candidate: Path, old: Judged, new: Judged, data: Data, near_duplicates: int | None, skew: float | None
    ) -> HeldOut:
        """Both models on the photos that were measured, with how the new one came about.

        ``candidate``: the folder of the new model. ``old``, ``new``: from judge, on the photos of ``data``;
        ``near_duplicates`` and ``skew`` as in Origin. Raises StepError before measure.
        """
        need("promote", self.done)
        parts = dict(self.parts)
        saved = read_description(candidate / "model.json", Description, "a model")
        origin = Origin(
            learned=parts["fit"] + parts["calibrate"] + parts["conformalize"],
            held_out=parts["measure"],
            near_duplicates=near_duplicates,
            fitted_classes=self.classes,
            saved_classes=tuple(saved.classes),
            views_fitted=saved.features,
            views_served=RECIPE,
            skew=skew,
        )
        return HeldOut(tuple(data.labels), parts["measure"].groups, old, new, self.sets, origin)

    def promote(
        self,
        registry: Registry,
        candidate: Path,
        held_out: HeldOut,
        rules: GateRules,
        override: Override | None = None,
        check: Callable[[Path], object] = lambda folder: None,
    ) -> Promotion:
        """Compare, and activate the new model if the rules allow it; logged either way.

        Raises StepError before measure, ModelError as training.gate.promote does, and where
        the folder holds no sets or those of another training.
        """
        need("promote", self.done)
        if read_sets(candidate) != self.sets:
            raise ModelError(f"{candidate}: does not hold the sets of this training; save them with it first")
        return promote(registry, candidate, compare(held_out, rules), override, check)

    def _after(self, step: str, data: Data) -> Pipeline:
        """With ``data`` used for ``step``, which comes next; what came after an earlier one is undone."""
        need(step, self.done)
        part = Part.of(data.photos)
        before = tuple((name, used) for name, used in self.parts if STEPS.index(name) < STEPS.index(step))
        for name, used in before:
            photos = set(used.sha256) & set(part.sha256)
            groups = set(used.groups) & set(part.groups)
            if photos or groups:
                what = f"group {sorted(groups)[0]!r}" if groups else f"the photo with sha256 {sorted(photos)[0][:12]}"
                raise CollectionError(f"{what} is used by both {name} and {step}; give its photos one group")
        return replace(self, parts=(*before, (step, part)))
