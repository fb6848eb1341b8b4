"""The hint: what drawings of never photographed species say of a photo, learned without any photo of them.

A hint is linear in the features: each species has a few prototypes (a flower seen closely, a
grown plant), each a weight and a bias; the best fitting prototypes of a species add up to its
score. It deals the share of ``other`` out among species without photos; it never adds to it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Annotated, Any

import numpy as np
from numpy.typing import NDArray
from pydantic import BaseModel, ConfigDict, Field, ValidationError
from safetensors.numpy import save_file

from model.errors import ModelError
from model.hint import NOTHING
from model.photo.extract import RECIPE
from model.photo.saved import read_arrays
from model.photo.weights import FEATURES

Array = NDArray[np.float64]
ARRAYS, DESCRIPTION = "hint.safetensors", "hint.json"


class HintFile(BaseModel):
    """hint.json. ``owners``: species of each prototype, or nothing. ``weight``: share of the evidence that the
    hint may deal out, the rest stays even. ``temperature`` divides scores. ``left_out``: species that it says
    nothing of, and why. ``account``: how it was made and what it was worth, for people.
    """

    model_config = ConfigDict(extra="forbid", frozen=True)

    features: str
    owners: Annotated[list[str], Field(min_length=2)]
    weight: Annotated[float, Field(ge=0, lt=1)]
    temperature: Annotated[float, Field(gt=0)]
    left_out: dict[str, str]
    account: dict[str, Any]


@dataclass(frozen=True, eq=False)
class Hint:
    """Prototypes float (prototypes, FEATURES) with a bias each, and the file that says whose they are."""

    prototypes: NDArray[np.float32]
    biases: Array
    file: HintFile

    @cached_property
    def species(self) -> tuple[str, ...]:
        """The species that it speaks of, and nothing at the end where it knows what is no weed."""
        names = sorted({owner for owner in self.file.owners if owner != NOTHING})
        return (*names, NOTHING) if NOTHING in self.file.owners else tuple(names)

    @cached_property
    def _sorted(self) -> tuple[NDArray[np.float32], Array, NDArray[np.int64]]:
        """Prototypes and biases in the order of ``species``, and the first row of each."""
        places = np.array([self.species.index(owner) for owner in self.file.owners])
        order = np.argsort(places, kind="stable")
        starts = np.searchsorted(places[order], np.arange(len(self.species)))
        return self.prototypes[order], self.biases[order], starts

    def scores(self, x: Array) -> Array:
        """ln of how well photos fit each of ``species``, up to a constant, float (photos, species).

        ``x`` float (photos, FEATURES), square roots of pooled features.
        """
        prototypes, biases, starts = self._sorted
        # So small a product is not worth the waking of other threads.
        products = np.einsum("nf,pf->np", x.astype(np.float32), prototypes)
        fits = (products + biases) / self.file.temperature
        logs = np.logaddexp.reduceat(fits, starts, axis=1)
        return np.asarray(logs - np.logaddexp.reduce(logs, axis=1)[:, None], dtype=np.float64)

    def of_plant(self, x: Array, dependence: float) -> Mapping[str, float]:
        """Scores of all photos of one plant, by species; m photos count as m ** (1 - dependence)."""
        together = self.scores(x).sum(axis=0) * len(x) ** -dependence
        return {name: float(score) for name, score in zip(self.species, together, strict=True)}


def save_hint(folder: Path, hint: Hint) -> None:
    """Write a hint into a folder; each file whole or not at all. Prototypes are kept in 16-bit floats."""
    folder.mkdir(parents=True, exist_ok=True)
    arrays: dict[str, NDArray[Any]] = {
        "prototypes": hint.prototypes.astype(np.float16),
        "biases": hint.biases.astype(np.float32),
    }
    temporary = folder / (ARRAYS + ".new")
    save_file(arrays, temporary)
    temporary.replace(folder / ARRAYS)
    temporary = folder / (DESCRIPTION + ".new")
    temporary.write_text(hint.file.model_dump_json(indent=2) + "\n", encoding="utf-8")
    temporary.replace(folder / DESCRIPTION)


def read_hint(folder: Path) -> Hint | None:
    """The hint in a folder; None where there is none, or it was made for other features.

    Raises ModelError naming the file that is damaged.
    """
    description, arrays = folder / DESCRIPTION, folder / ARRAYS
    if not description.exists() and not arrays.exists():
        return None
    try:
        file = HintFile.model_validate_json(description.read_text(encoding="utf-8"))
        if file.features != RECIPE:
            return None
    except ValidationError as error:
        raise ModelError(
            f"{description}: does not describe a hint ({error.errors()[0]['msg']}); reinstall swardkey"
        ) from None
    except (OSError, UnicodeDecodeError) as error:
        raise ModelError(f"{description}: cannot be read ({error}); reinstall swardkey") from None
    found = read_arrays(arrays, "reinstall swardkey")
    count = len(file.owners)
    if {k: a.shape for k, a in found.items()} != {"prototypes": (count, FEATURES), "biases": (count,)}:
        raise ModelError(f"{arrays}: does not hold {count} prototypes; reinstall swardkey")
    return Hint(found["prototypes"].astype(np.float32), found["biases"].astype(np.float64), file)
