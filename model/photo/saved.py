"""A photo model as a folder: head.safetensors, model.json, recipe.json, card.md. No pickles."""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Annotated, Any

import numpy as np
from numpy.typing import NDArray
from pydantic import BaseModel, ConfigDict, Field, ValidationError
from safetensors import SafetensorError
from safetensors.numpy import load_file, save_file

from model.errors import ModelError
from model.photo.evidence import Calibration
from model.photo.extract import RECIPE
from model.photo.head import Statistics
from model.photo.weights import FEATURES

STARTER = Path(__file__).resolve().parents[1] / "starter"
LARGEST_BYTES = 200_000_000
Share = Annotated[float, Field(ge=0, le=1)]


class Description(BaseModel):
    """model.json: classes in the order of the rows, what makes the features, calibration."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    classes: Annotated[list[str], Field(min_length=2)]
    features: str
    shrinkage: Share
    temperature: Annotated[float, Field(gt=0)]
    typical: list[Annotated[float, Field(gt=0)]]
    novelty: tuple[float, float, float, float]
    floor: Share
    dependence: Share


def save_model(
    folder: Path, statistics: Statistics, calibration: Calibration, recipe: dict[str, Any], card: str
) -> None:
    """Write a model into a folder; files are replaced one by one, each whole or not at all."""
    folder.mkdir(parents=True, exist_ok=True)
    temporary = folder / "head.safetensors.new"
    save_file(packed(statistics), temporary)
    temporary.replace(folder / "head.safetensors")
    description = Description(
        classes=list(statistics.classes),
        features=RECIPE,
        shrinkage=calibration.shrinkage,
        temperature=calibration.temperature,
        typical=list(calibration.typical),
        novelty=calibration.novelty,
        floor=calibration.floor,
        dependence=calibration.dependence,
    )
    _write(folder / "model.json", description.model_dump_json(indent=2) + "\n")
    _write(folder / "recipe.json", json.dumps(recipe, indent=2, sort_keys=True) + "\n")
    _write(folder / "card.md", card)


def packed(statistics: Statistics) -> dict[str, NDArray[Any]]:
    """Statistics as arrays of 32-bit floats. The scatter is symmetric: its upper triangle is kept."""
    return {
        "counts": statistics.counts.astype(np.float32),
        "means": statistics.means.astype(np.float32),
        "scatter_upper": statistics.scatter[np.triu_indices(FEATURES)].astype(np.float32),
    }


def _write(path: Path, text: str) -> None:
    temporary = path.with_name(path.name + ".new")
    temporary.write_text(text, encoding="utf-8")
    temporary.replace(path)


def read_model(folder: Path) -> tuple[Statistics, Calibration]:
    """Read a model folder and check it: shapes, finite numbers, the views it was made with.

    Raises ModelError naming the file that is wrong.
    """
    description = _description(folder / "model.json")
    statistics = unpacked(
        folder / "head.safetensors", read_arrays(folder / "head.safetensors"), tuple(description.classes)
    )
    calibration = Calibration(
        shrinkage=description.shrinkage,
        temperature=description.temperature,
        typical=tuple(description.typical),
        novelty=description.novelty,
        floor=description.floor,
        dependence=description.dependence,
    )
    return statistics, calibration


def _description(path: Path) -> Description:
    try:
        description = Description.model_validate_json(path.read_text(encoding="utf-8"))
    except OSError:
        raise ModelError(f"{path}: is missing; use another model, or reinstall swardkey") from None
    except ValidationError as error:
        raise ModelError(f"{path}: does not describe a model ({error.errors()[0]['msg']}); use another model") from None
    if len(description.typical) != len(description.classes):
        raise ModelError(f"{path}: has not one typical distance a class; use another model")
    if description.features != RECIPE:
        raise ModelError(f"{path}: was made with other views or another backbone; train it again")
    return description


def read_arrays(path: Path, remedy: str = "use another model, or reinstall swardkey") -> dict[str, NDArray[Any]]:
    """The arrays of a safetensors file, all finite. Raises ModelError naming the file and the remedy."""
    try:
        if path.stat().st_size > LARGEST_BYTES:
            raise ModelError(f"{path}: is too large to belong to a model; {remedy}")
        arrays = load_file(path)
    except (OSError, SafetensorError) as error:
        raise ModelError(f"{path}: cannot be read ({error}); {remedy}") from None
    if not all(np.isfinite(array).all() for array in arrays.values()):
        raise ModelError(f"{path}: holds numbers that are not finite; {remedy}")
    return arrays


def unpacked(path: Path, arrays: Mapping[str, NDArray[Any]], classes: tuple[str, ...]) -> Statistics:
    """Statistics from the arrays of a file. Raises ModelError naming it when they do not fit the classes."""
    wanted = {
        "counts": (len(classes),),
        "means": (len(classes), FEATURES),
        "scatter_upper": (FEATURES * (FEATURES + 1) // 2,),
    }
    if {name: array.shape for name, array in arrays.items()} != wanted:
        raise ModelError(f"{path}: does not hold the arrays of a head for {len(classes)} classes; use another model")
    scatter = np.zeros((FEATURES, FEATURES))
    scatter[np.triu_indices(FEATURES)] = arrays["scatter_upper"]
    scatter += np.triu(scatter, 1).T
    return Statistics(classes, arrays["counts"].astype(float), arrays["means"].astype(float), scatter)
