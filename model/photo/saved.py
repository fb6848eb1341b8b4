"""A photo model as a folder: head.safetensors, model.json, recipe.json, card.md. No pickles."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import asdict
from pathlib import Path
from typing import Annotated, Any, TypeVar

import numpy as np
from numpy.typing import NDArray
from pydantic import AfterValidator, BaseModel, Field, ValidationError
from safetensors import SafetensorError
from safetensors.numpy import load_file, save

from model.errors import ModelError
from model.file import check_ordinary, read_file
from model.flora.species import Entry
from model.photo.evidence import Calibration
from model.photo.extract import RECIPE
from model.photo.head import Statistics
from model.photo.weights import FEATURES
from model.storage import replace_file
from model.validation import first_cause

STARTER = Path(__file__).resolve().parents[1] / "starter"
LARGEST_BYTES = 200_000_000
LARGEST_HEADER = 1_000_000  # bytes of the list of arrays in a file of them
LARGEST_JSON = 10_000_000
MOST_CLASSES = 5000
MOST_NUMBER = 1e12  # nothing that a head holds comes near it, and sums of squares of more overflow


def _each_once(names: list[str]) -> list[str]:
    if len(set(names)) != len(names):
        raise ValueError("a class is named twice")
    return names


Share = Annotated[float, Field(ge=0, le=1, allow_inf_nan=False)]
Positive = Annotated[float, Field(gt=0, le=MOST_NUMBER, allow_inf_nan=False)]
# A species id, or a plant outside the flora: such a name cannot be a path, formula or markup.
ClassName = Annotated[str, Field(pattern=r"^(other:)?[a-z0-9_]+$", max_length=100)]
Finite = Annotated[float, Field(allow_inf_nan=False)]
Classes = Annotated[list[ClassName], Field(min_length=2, max_length=MOST_CLASSES), AfterValidator(_each_once)]
Weight = Annotated[float, Field(ge=0, le=MOST_NUMBER, allow_inf_nan=False)]
Described = TypeVar("Described", bound=BaseModel)


class Description(Entry):
    """model.json: classes in the order of the rows, what makes the features, calibration."""

    classes: Classes
    features: str
    shrinkage: Share
    temperature: Positive
    novelty: tuple[Finite, Positive, Finite, Positive]
    floor: Annotated[Share, Field(gt=0)]  # else a photo could rule a species out
    dependence: Share


def save_model(
    folder: Path, statistics: Statistics, calibration: Calibration, recipe: dict[str, Any], card: str
) -> None:
    """Write a model into a folder; files are replaced one by one, each whole or not at all."""
    folder.mkdir(parents=True, exist_ok=True)
    replace_file(folder / "head.safetensors", save(packed(statistics)))
    description = Description(classes=list(statistics.classes), features=RECIPE, **asdict(calibration))
    replace_file(folder / "model.json", f"{description.model_dump_json(indent=2)}\n".encode())
    replace_file(folder / "recipe.json", f"{json.dumps(recipe, indent=2, sort_keys=True)}\n".encode())
    replace_file(folder / "card.md", card.encode())


def packed(statistics: Statistics) -> dict[str, NDArray[Any]]:
    """Statistics as arrays of 32-bit floats. The scatter is symmetric: its upper triangle is kept."""
    return {
        "counts": statistics.counts.astype(np.float32),
        "means": statistics.means.astype(np.float32),
        "scatter_upper": statistics.scatter[np.triu_indices(FEATURES)].astype(np.float32),
    }


def symmetric(upper: NDArray[Any]) -> NDArray[np.float64]:
    """The scatter, float (FEATURES, FEATURES), whose upper triangle was kept."""
    scatter = np.zeros((FEATURES, FEATURES))
    scatter[np.triu_indices(FEATURES)] = upper
    return scatter + np.triu(scatter, 1).T


def read_model(folder: Path) -> tuple[Statistics, Calibration]:
    """Read a model folder and check it: shapes, finite numbers, the views it was made with.

    Raises ModelError naming the file that is wrong.
    """
    path, head = folder / "model.json", folder / "head.safetensors"
    description = read_description(path, Description, "a model")
    if description.features != RECIPE:
        raise ModelError(f"{path}: was made with other views or another backbone; train it again")
    statistics = unpacked(head, read_arrays(head), tuple(description.classes))
    return statistics, Calibration(**description.model_dump(exclude={"classes", "features"}))


def read_description(path: Path, kind: type[Described], what: str) -> Described:
    """Read one JSON file of a model, checked. ``what`` it should describe. Raises ModelError naming the file."""
    try:
        return kind.model_validate_json(read_file(path, LARGEST_JSON))
    except FileNotFoundError:
        raise ModelError(f"{path}: is missing; use another model, or reinstall swardkey") from None
    except OSError as error:
        raise ModelError(f"{path}: cannot be read ({error.strerror or error}); use another model") from None
    except ValidationError as error:
        raise ModelError(f"{path}: does not describe {what} ({first_cause(error)}); use another model") from None


def read_arrays(path: Path) -> dict[str, NDArray[Any]]:
    """The arrays of a safetensors file, all finite. Raises ModelError naming the file and the remedy."""
    remedy = "use another model, or reinstall swardkey"
    try:
        check_ordinary(path, LARGEST_BYTES)
        with path.open("rb") as file:
            # The list of arrays is read whole before anything in it is checked.
            if int.from_bytes(file.read(8), "little") > LARGEST_HEADER:
                raise ModelError(f"{path}: cannot be read (no model lists so many arrays); {remedy}")
        arrays = load_file(path)
    except OSError as error:
        raise ModelError(f"{path}: cannot be read ({error.strerror or error}); {remedy}") from None
    except (SafetensorError, KeyError, ValueError) as error:  # KeyError: a kind of number that numpy has not
        raise ModelError(f"{path}: cannot be read ({_first_line(error)}); {remedy}") from None
    for array in arrays.values():
        if array.dtype not in (np.float16, np.float32):
            raise ModelError(f"{path}: holds numbers that are not 16-bit or 32-bit floats; {remedy}")
        if not np.isfinite(array).all():
            raise ModelError(f"{path}: holds numbers that are not finite; {remedy}")
    return arrays


def _first_line(error: Exception) -> str:
    return str(error).split("\n")[0][:200]


def unpacked(path: Path, arrays: Mapping[str, NDArray[Any]], classes: tuple[str, ...]) -> Statistics:
    """Statistics from the arrays of a file. Raises ModelError naming it when they do not fit the classes."""
    wanted = {
        "counts": (len(classes),),
        "means": (len(classes), FEATURES),
        "scatter_upper": (FEATURES * (FEATURES + 1) // 2,),
    }
    if {name: array.shape for name, array in arrays.items()} != wanted:
        raise ModelError(f"{path}: does not hold the arrays of a head for {len(classes)} classes; use another model")
    if arrays["counts"].min() <= 0 or any(np.abs(array).max() > MOST_NUMBER for array in arrays.values()):
        raise ModelError(f"{path}: holds numbers that no head has; use another model")
    counts, means = arrays["counts"].astype(float), arrays["means"].astype(float)
    return Statistics(classes, counts, means, symmetric(arrays["scatter_upper"]))
