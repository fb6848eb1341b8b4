"""Make the hint for species without photos: ``python -m training.drawn.hint PHOTOS CACHE OUT``.

Draws every species from its description, looks at the drawings as at photos, and fits how far
they may be trusted by leaving species out: each that has photos is pretended to have none.
CACHE holds the features of the photos; those of the drawings lie beside it (CACHE.drawn). The
first time takes about half a second a drawing on one free core, 26 minutes in all, with photos that
are in the cache; afterwards half a minute. Whatever changes the features, the renderer or a
species' file draws anew what it touches. OUT is the folder of the starter.
"""

from __future__ import annotations

import sys
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from model.errors import SwardkeyError
from model.flora import load_flora
from model.flora.load import Flora
from model.flora.species import Score
from model.hint import NOTHING
from model.photo import Calibration, Classifier, fit_statistics
from model.photo.extract import RECIPE
from model.photo.hint import Hint, HintFile, save_hint
from model.photo.saved import STARTER, read_model
from training.data.dataset import Data
from training.drawn.album import TURNS, Album, features_of_album, plan_album
from training.drawn.left_out import (
    WEIGHTS,
    Case,
    cases,
    chances,
    detection,
    first_right,
    fit_weight,
    log_gain,
    photographed,
    prototypes_of,
)
from training.drawn.prototypes import Prototypes, make_prototypes
from training.recipes.make_starter import read_data as gather
from training.recipes.recipe import load_recipe

DEAREST = 0.01  # of the first choices of species with photos that a hint may cost
GRASSY = "grassy"  # state of leaf_build
HAS_PHOTOS = "has photos of its own"
NO_GAIN = "has grassy leaves: drawings of the two grasses with photos, seedlings only, told less than nothing of them"
NO_WORTH = "with species left out, drawings told nothing"


@dataclass(frozen=True, eq=False)
class Material:
    """What a hint is made from: the flora, the photos, the drawings, and a case a photographed species."""

    flora: Flora
    data: Data
    album: Album
    calibration: Calibration
    cases: tuple[Case, ...]
    prototypes: tuple[Prototypes, ...]


def gather_material(folder: Path, cache: Path) -> Material:
    """Photos and drawings with their features, and a case with its prototypes a photographed species."""
    flora, recipe = load_flora(), load_recipe("quick")
    data = gather(folder, recipe, cache)
    plan = plan_album(flora.ids, len(TURNS))
    album = features_of_album(flora.species, plan, cache.with_name(cache.name + ".drawn"), _progress)
    calibration = read_model(STARTER)[1]
    found = cases(data, calibration, flora.ids)
    return Material(flora, data, album, calibration, tuple(found), tuple(prototypes_of(case, album) for case in found))


def is_grassy(flora: Flora, species: str) -> bool:
    """A grass, sedge or other plant with grassy leaves."""
    score = flora.species[species].characters.get("leaf_build")
    return isinstance(score, Score) and score.states is not None and GRASSY in score.states


def among(case: Case, kept: Sequence[str]) -> Case:
    """The case with fewer candidates; its own species stays."""
    return replace(case, candidates=tuple(s for s in case.candidates if s == case.species or s in kept))


def make_hint(material: Material) -> Hint:
    """The hint for all species without photos whose kind gains by it, with the account of what it is worth."""
    pairs = list(zip(material.cases, material.prototypes, strict=True))
    temperature, weight = fit_on_grown(pairs)
    first = {c.species: worth(c, p, temperature, weight) for c, p in pairs}
    silent = {s: why for s in material.flora.ids if (why := _why(material, s, first))}
    # Who is left out deals with no one: the others are weighed among themselves.
    kept = [s for s in material.flora.ids if silent.get(s, HAS_PHOTOS) == HAS_PHOTOS]
    pairs = [(among(c, kept), p) for c, p in pairs if c.species in kept]
    temperature, most = fit_on_grown(pairs)
    fit = material.data.part("fit")
    classifier = Classifier(fit_statistics(fit.x, fit.labels), material.calibration)
    spoken = [s for s in material.flora.ids if s not in silent]
    prototypes = make_prototypes(material.album, classifier.statistics).of({*spoken, NOTHING})
    # It was fitted on two species only, and cost more than that on photos held out: half of it is given.
    weight = 0.5 * affordable(material.data, classifier, prototypes, spoken, temperature, most)
    account: dict[str, Any] = {
        "drawings_a_species": len(TURNS),
        "fitted_on": [c.species for c, _ in pairs if c.field],
        "weight_with_the_greatest_gain": most,
        "among_all": first,
        "among_those_spoken_of": {c.species: worth(c, p, temperature, weight) for c, p in pairs},
    }
    file = HintFile(
        features=RECIPE,
        owners=list(prototypes.owners),
        weight=weight,
        temperature=temperature,
        left_out=silent,
        account=account,
    )
    return Hint(prototypes.weights.astype(np.float32), prototypes.biases, file)


def affordable(
    data: Data, classifier: Classifier, prototypes: Prototypes, spoken: Sequence[str], temperature: float, most: float
) -> float:
    """The greatest weight up to ``most`` that costs species with photos no more than DEAREST of their first choices.

    Judged on field photos that neither the classifier nor the last measurement has seen.
    """
    check = data.part("calibrate", "conformal")
    known = np.array([p.group_known and p.label in classifier.species for p in check.photos])
    photos = check.where(known)

    def right(weight: float) -> float:
        return float(first_right(classifier, photos, prototypes, spoken, temperature, weight).mean())

    fine = [w for w in WEIGHTS if w <= most and right(0.0) - right(w) <= DEAREST]
    return max(fine, default=0.0)


def fit_on_grown(pairs: Sequence[tuple[Case, Prototypes]]) -> tuple[float, float]:
    """Temperature and weight from field photos: seedlings on gravel are a kind of picture that few people send."""
    return fit_weight([(c, p) for c, p in pairs if c.field])


def worth(case: Case, prototypes: Prototypes, temperature: float, weight: float) -> dict[str, Any]:
    """What drawings tell of a species that has photos, had it none."""
    chance = chances(prototypes.fits(case.x), prototypes.owners, case.candidates, temperature)
    column = case.candidates.index(case.species)
    rank = (chance > chance[:, [column]]).sum(axis=1)
    return {
        "photos": "field" if case.field else "seedlings on gravel",
        "candidates": len(case.candidates),
        "first": round(float((rank < 1).mean()), 3),
        "within_three": round(float((rank < 3).mean()), 3),
        "log_gain": round(float(log_gain(case, prototypes, temperature, weight).mean()), 3),
        "recall_at_2_percent": round(detection(case, prototypes, temperature), 3),
    }


def _why(material: Material, species: str, told: dict[str, dict[str, Any]]) -> str:
    """Why a hint says nothing of a species; empty where it speaks."""
    if species in photographed(material.data):
        return HAS_PHOTOS
    grassy = is_grassy(material.flora, species)
    kind = [found["log_gain"] for name, found in told.items() if is_grassy(material.flora, name) == grassy]
    if kind and np.mean(kind) > 0:
        return ""
    return NO_GAIN if grassy else NO_WORTH


def _progress(done: int, of: int) -> None:
    if done % 100 == 0 or done == of:
        sys.stderr.write(f"\rdrawings {done} of {of}" + ("\n" if done == of else ""))
        sys.stderr.flush()


def main(arguments: list[str]) -> int:
    """PHOTOS CACHE OUT: draw, fit, write hint.safetensors and hint.json, print what it is worth."""
    if len(arguments) != 3:
        sys.stderr.write("usage: python -m training.drawn.hint PHOTOS CACHE OUT\n")
        return 2
    try:
        hint = make_hint(gather_material(Path(arguments[0]), Path(arguments[1])))
    except SwardkeyError as error:
        sys.stderr.write(f"{error}\n")
        return 2
    save_hint(Path(arguments[2]), hint)
    sys.stdout.write(f"weight {hint.file.weight}, temperature {hint.file.temperature}\n")
    for species, worth in hint.file.account["among_those_spoken_of"].items():
        sys.stdout.write(f"{species}: {worth}\n")
    sys.stdout.write(f"speaks of {len(hint.species) - 1} species, says nothing of {len(hint.file.left_out)}\n")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
