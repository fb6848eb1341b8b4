"""What is given: the statistics of chosen species, from the features of one's own photos."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from datetime import date

import numpy as np

from model.errors import CollectionError
from model.photo.evidence import OTHER
from model.photo.extract import RECIPE
from model.photo.head import fit_statistics
from training.data.dataset import Data
from training.sharing.shared_file import Given, Header, pack_shared
from training.sharing.sharing_rules import SharingRules


def counts_of(data: Data) -> dict[str, Given]:
    """How many photos and groups each species has; plants outside the flora are left away."""
    groups: dict[str, set[str]] = {}
    for label, group in zip(data.labels, data.groups, strict=True):
        groups.setdefault(label, set()).add(group)
    return {
        label: Given(photos=data.labels.count(label), groups=len(found))
        for label, found in sorted(groups.items())
        if not label.startswith(OTHER)
    }


def is_enough(given: Given, rules: SharingRules) -> bool:
    """Whether a species may be shared."""
    return given.photos >= rules.least_photos and given.groups >= rules.least_groups


def give(
    data: Data, chosen: Collection[str], rules: SharingRules, *, giver: str, day: date, licence: str, note: str = ""
) -> tuple[Header, bytes]:
    """Header and bytes of a shared file of the ``chosen`` species. Raises CollectionError for too few photos."""
    counts = counts_of(data)
    for label in chosen:
        found = counts.get(label)
        if found is None or not is_enough(found, rules):
            photos, groups = (found.photos, found.groups) if found else (0, 0)
            raise CollectionError(
                f"{label}: {photos} photos of {groups} plants or visits are too few to share; "
                f"{rules.least_photos} of {rules.least_groups} are needed"
            )
    species: Mapping[str, Given] = {label: given for label, given in counts.items() if label in chosen}
    if not species:
        raise CollectionError(
            f"no species has {rules.least_photos} photos of {rules.least_groups} plants or visits; add photos first"
        )
    use = data.where(np.isin(data.labels, list(species)))
    own = fit_statistics(use.x, use.labels)  # its classes are sorted, as the species are
    header = Header(features=RECIPE, species=dict(species), licence=licence, giver=giver, day=day, note=note)
    return header, pack_shared(header, own)
