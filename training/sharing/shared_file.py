"""A file of shared statistics: safetensors with one JSON text in its metadata, and nothing of a photo, place or client.

The arrays are `means` float32 (species, features) and `scatter_upper`, the upper triangle of one scatter. The JSON says
what made the features, of which species they are with counts of photos and groups, who gives them, when, and under
which licence. A file is read whole and checked before anything of it is used: it may come from anybody.
"""

from __future__ import annotations

import json
import re
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Annotated, Any, Literal

import numpy as np
from numpy.typing import NDArray
from pydantic import AfterValidator, Field, ValidationError
from safetensors import SafetensorError
from safetensors.numpy import load, save

from model.errors import ModelError
from model.file import read_file
from model.flora.species import Entry
from model.photo.extract import RECIPE
from model.photo.head import Statistics
from model.photo.saved import LARGEST_HEADER, MOST_CLASSES, MOST_NUMBER, packed, symmetric
from model.photo.weights import FEATURES
from model.text import shown
from model.validation import first_cause
from training.collection.licence import OPEN, licence_of
from training.sharing.sharing_rules import SharingRules

LARGEST_BYTES = 40_000_000  # all MOST_CLASSES species and a scatter take 29 MB
KEY = "swardkey"  # of the JSON in the metadata
REMEDY = "ask whoever gave it for another, made with swardkey models share"
# Least eigenvalue of a scatter, as a share of the greatest: 32-bit floats make zero a little negative.
ROUNDING = 1e-5


def _plain(text: str) -> str:
    if not text.isprintable() or shown(text) != text or text != text.strip():
        raise ValueError("a text holds characters that cannot be printed, or blanks at its ends")
    return text


def _open(licence: str) -> str:
    if not is_open(licence):
        raise ValueError(f"the licence is not one of {', '.join(OPEN)}")
    return licence


SpeciesName = Annotated[str, Field(pattern=r"^[a-z0-9_]+$", max_length=100)]
Text = Annotated[str, Field(max_length=200), AfterValidator(_plain)]


class Given(Entry):
    """How many photos of how many groups (plants, visits) stand behind a species."""

    photos: Annotated[int, Field(ge=1, le=1_000_000)]
    groups: Annotated[int, Field(ge=1, le=1_000_000)]


class Header(Entry):
    """What a shared file says of itself; ``species`` in the order of the rows of its means."""

    version: Literal[1] = 1
    features: Annotated[str, Field(max_length=200)]
    species: Annotated[dict[SpeciesName, Given], Field(min_length=1, max_length=MOST_CLASSES)]
    licence: Annotated[str, Field(max_length=40), AfterValidator(_open)]
    giver: Annotated[Text, Field(min_length=1)]
    day: date
    note: Text = ""


@dataclass(frozen=True)
class Shared:
    """A shared file that has been checked: its ``header``, its ``statistics``, and its bytes."""

    header: Header
    statistics: Statistics
    data: bytes


def is_open(licence: str) -> bool:
    """Whether a licence, in its short form, lets anybody use and pass on what is shared.

    >>> is_open("CC0"), is_open("CC BY 4.0"), is_open("CC BY-NC")
    (True, True, False)
    """
    return licence == licence_of(licence) and re.sub(r" \d+(\.\d+)?$", "", licence) in OPEN


def pack_shared(header: Header, statistics: Statistics) -> bytes:
    """The bytes of a shared file; counts are in the header."""
    arrays = packed(statistics)
    del arrays["counts"]
    return bytes(save(arrays, {KEY: header.model_dump_json()}))


def read_shared(path: Path, rules: SharingRules) -> Shared:
    """Read a shared file and check it. Raises ModelError naming the file and what is wrong with it."""
    try:
        return unpack_shared(read_file(path, LARGEST_BYTES), rules)
    except OSError as error:
        raise ModelError(f"{path}: cannot be read ({error.strerror or error}); name another file") from None
    except ModelError as error:
        raise ModelError(f"{path}: {error}; {REMEDY}") from None


def unpack_shared(data: bytes, rules: SharingRules) -> Shared:
    """What the bytes of a shared file hold, checked. Raises ModelError without the file's name."""
    length = int.from_bytes(data[:8], "little")
    if not 0 < length <= min(LARGEST_HEADER, len(data) - 8):
        raise ModelError("is not a file of shared statistics")
    try:
        arrays = load(data)
        text = json.loads(data[8 : 8 + length]).get("__metadata__", {}).get(KEY, "")
    except (SafetensorError, KeyError, ValueError, RecursionError, AttributeError):
        raise ModelError("is not a file of shared statistics") from None
    header = _header(text, rules)
    return Shared(header, _statistics(header, arrays), data)


def _header(text: Any, rules: SharingRules) -> Header:
    try:
        header = Header.model_validate_json(text)
    except ValidationError as error:
        raise ModelError(f"does not say what it holds ({shown(first_cause(error))})") from None
    if header.features != RECIPE:
        raise ModelError("was made with other views or another network, so its numbers mean something else here")
    for name, given in header.species.items():
        if given.photos < rules.least_photos or given.groups < rules.least_groups or given.groups > given.photos:
            raise ModelError(
                f"gives {name} from {given.photos} photos of {given.groups} groups; "
                f"at least {rules.least_photos} of {rules.least_groups} are needed"
            )
    return header


def _statistics(header: Header, arrays: dict[str, NDArray[Any]]) -> Statistics:
    wanted = {"means": (len(header.species), FEATURES), "scatter_upper": (FEATURES * (FEATURES + 1) // 2,)}
    if {name: array.shape for name, array in arrays.items()} != wanted:
        raise ModelError(f"does not hold the numbers of {len(header.species)} species")
    for array in arrays.values():
        if array.dtype != np.float32 or not np.isfinite(array).all() or np.abs(array).max() > MOST_NUMBER:
            raise ModelError("holds numbers that no statistics have")
    scatter = symmetric(arrays["scatter_upper"])
    values = np.linalg.eigvalsh(scatter)
    if values[-1] <= 0 or values[0] < -ROUNDING * values[-1]:
        raise ModelError("holds a scatter that no photos have (it is not positive)")
    counts = np.array([float(given.photos) for given in header.species.values()])
    return Statistics(tuple(header.species), counts, arrays["means"].astype(float), scatter)
