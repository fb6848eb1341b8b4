"""Measure a photo model on labelled photos that it has not learned from."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from app.services.collection import open_all, plants_of
from app.services.home import features_file, registry
from model.errors import CollectionError, ModelError
from model.photo.tuned import extractor_for, read_classifier
from training.data.features import features_of
from training.data.labelled import read_labelled
from training.data.manifest import LabelledPhoto
from training.data.split import part_of
from training.evaluate import Measured, measure_model
from training.evaluate.report_page import write_page


@dataclass(frozen=True)
class Measurement:
    """Figures of a model; ``plant_names`` by species, and ``notes`` on the model and on photos that were left out."""

    measured: Measured
    plant_names: dict[str, str]
    notes: tuple[str, ...]

    def write_page(self, file: Path) -> None:
        """Write a page with figures and the worst errors. Raises CollectionError where it cannot be written."""
        try:
            write_page(file, self.measured, self.plant_names)
        except OSError as error:
            raise CollectionError(f"{file}: cannot be written ({error.strerror}); name another file") from None


def measure_photos(
    folder: Path, model: str, held_out: bool, watch: Callable[[int, int], None] = lambda done, of: None
) -> Measurement:
    """Measure a model, the active one if ``model`` is "", on a folder of labelled photos.

    ``held_out``: only on groups that the model's own recipe deals to the held-out part. ``watch`` is given how many
    photos of how many are done. Raises CollectionError, ModelError.
    """
    collection, names, flora = open_all(None)
    plant_names = {species: plant.common_names[0] for species, plant in plants_of(collection, flora).items()}
    photos = read_labelled(folder, names, {**plant_names, **{word: word for word in plant_names.values()}})
    kept = registry()
    if model:
        active = kept.named(model)
        classifier = read_classifier(active.folder)
    else:
        classifier, active = kept.load(read_classifier)
    if held_out:
        photos = _held_out(photos, active.folder)
        if not photos:
            raise CollectionError(f"{folder}: no photo lies in the held-out part; leave --held-out away")
    x, faults = features_of(photos, features_file(), watch, extractor_for(classifier))
    readable = [i for i, fault in enumerate(faults) if not fault]
    if not readable:
        raise CollectionError(f"{folder}: none of its {len(photos)} photos can be read; the first: {faults[0]}")
    found = measure_model(active.name, active.folder, classifier, [photos[i] for i in readable], x[readable])
    notes = (*filter(None, [active.note]), *(f"left out: {fault}" for fault in faults if fault))
    return Measurement(found, plant_names, notes)


def _held_out(photos: list[LabelledPhoto], folder: Path) -> list[LabelledPhoto]:
    """The photos whose group the recipe saved with a model deals to the held-out part."""
    path = folder / "recipe.json"
    try:
        recipe = json.loads(path.read_bytes())["recipe"]
        shares, seed = {str(part): float(share) for part, share in recipe["shares"].items()}, int(recipe["seed"])
    except (OSError, ValueError, KeyError, TypeError, AttributeError, RecursionError):
        raise ModelError(f"{path}: does not say how photos were split; leave --held-out away") from None
    return [photo for photo in photos if part_of(photo.group, shares, seed) == "held_out"]
