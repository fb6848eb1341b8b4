"""The same picture twice: byte for byte, or scaled, saved again, brightened or cut."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from sklearn.neighbors import NearestNeighbors

from training.data.likeness import likeness
from training.data.look import Look
from training.data.manifest import LabelledPhoto

if TYPE_CHECKING:
    from training.audit.settings import Duplicates

Array = NDArray[np.float64]
Pairs = set[tuple[int, int]]
BLOCK = 512  # photos that are compared with all others at once


@dataclass(frozen=True)
class Cluster:
    """Photos that are one picture. ``photos`` are names in the collection's order, two or more.

    ``labels`` are their different labels, sorted: where there are several, all but one are wrong.
    """

    photos: tuple[str, ...]
    kind: Literal["same file", "near duplicate"]
    labels: tuple[str, ...]

    @property
    def is_conflict(self) -> bool:
        """Whether the same picture has several labels."""
        return len(self.labels) > 1


@dataclass(frozen=True)
class Found:
    """Clusters in the order of their first photo. ``unchecked``: pairs that were not slid over each other."""

    clusters: tuple[Cluster, ...]
    unchecked: int


def find_duplicates(
    photos: Sequence[LabelledPhoto],
    looks: Sequence[Look],
    x: Array,
    limits: Duplicates,
) -> Found:
    """Clusters of photos that are the same picture.

    ``x`` float (photos, features), rows of NaN for unreadable photos, which are compared by no
    more than their bytes. Photos are joined where their bytes agree, where hash and features
    agree, or where the one is found within the other; joins are followed through.
    """
    usable = np.array([not look.cause and not look.plain for look in looks], dtype=bool)
    usable &= ~np.isnan(x).any(axis=1)
    rows = np.flatnonzero(usable)
    unit = x[rows] / np.maximum(np.linalg.norm(x[rows], axis=1, keepdims=True), 1e-12)
    same = _same_bytes(looks)
    near = {
        (int(rows[a]), int(rows[b]))
        for a, b in _near_hashes([looks[int(i)].print for i in rows], limits.hash_bits)
        if float(unit[a] @ unit[b]) >= limits.hash_cosine
    }
    candidates = [(int(rows[a]), int(rows[b])) for a, b in _neighbours(unit, limits)]
    # The closest pairs come first, so that a limit on their number costs the least.
    waiting = [pair for pair in candidates if pair not in same and pair not in near]
    for a, b in waiting[: limits.most_pairs]:
        if likeness(looks[a].small, looks[b].small, limits.least_part) >= limits.part_alike:
            near.add((a, b))
    unchecked = max(len(waiting) - limits.most_pairs, 0)
    return Found(_clusters(photos, looks, same | near), unchecked)


def _same_bytes(looks: Sequence[Look]) -> Pairs:
    first: dict[str, int] = {}
    found = set()
    for i, look in enumerate(looks):
        if look.sha256 and first.setdefault(look.sha256, i) != i:
            found.add((first[look.sha256], i))
    return found


def _near_hashes(prints: Sequence[int], bits: int) -> Pairs:
    words = np.array(prints, dtype=np.uint64)
    found: Pairs = set()
    for start in range(0, len(words), BLOCK):
        different = np.bitwise_count(words[start : start + BLOCK, None] ^ words[None])
        for a, b in zip(*np.nonzero(different <= bits), strict=True):
            if a + start < b:
                found.add((int(a) + start, int(b)))
    return found


def _neighbours(unit: Array, limits: Duplicates) -> list[tuple[int, int]]:
    """Pairs that are among each other's nearest in features, the closest first."""
    if len(unit) < 2:
        return []
    count = min(limits.neighbours + 1, len(unit))
    distances, nearest = NearestNeighbors(n_neighbors=count, metric="cosine").fit(unit).kneighbors(unit)
    cosines: dict[tuple[int, int], float] = {}
    for a, (row, others) in enumerate(zip(distances, nearest, strict=True)):
        for distance, b in zip(row, others, strict=True):
            if a != b and 1 - distance >= limits.part_cosine:
                cosines[(min(a, int(b)), max(a, int(b)))] = 1 - float(distance)
    return sorted(cosines, key=lambda pair: (-cosines[pair], pair))


def _clusters(photos: Sequence[LabelledPhoto], looks: Sequence[Look], pairs: Pairs) -> tuple[Cluster, ...]:
    together: dict[int, list[int]] = defaultdict(list)
    for i, component in enumerate(_components(len(photos), pairs)):
        together[component].append(i)
    found = []
    for members in together.values():
        if len(members) > 1:
            kind: Literal["same file", "near duplicate"] = (
                "same file" if len({looks[i].sha256 for i in members}) == 1 else "near duplicate"
            )
            labels = tuple(sorted({photos[i].label for i in members}))
            found.append(Cluster(tuple(photos[i].name for i in members), kind, labels))
    return tuple(found)


def merged_groups(photos: Sequence[LabelledPhoto], clusters: Sequence[Cluster]) -> list[str]:
    """The group of each photo once groups that share a picture are one, so that no split separates copies.

    A merged group has the name of its first photo's group. Groups without copies keep theirs.
    """
    names = list(dict.fromkeys(photo.group for photo in photos))
    place = {name: i for i, name in enumerate(names)}
    group_of = {photo.name: place[photo.group] for photo in photos}
    pairs = {(group_of[c.photos[0]], group_of[other]) for c in clusters for other in c.photos[1:]}
    component = _components(len(names), pairs)
    first: dict[int, str] = {}
    for name, number in zip(names, component, strict=True):
        first.setdefault(number, name)
    return [first[component[place[photo.group]]] for photo in photos]


def without_copies(photos: Sequence[LabelledPhoto], clusters: Sequence[Cluster]) -> list[int]:
    """Rows of which no earlier one is the same picture under the same label."""
    cluster_of = {name: number for number, cluster in enumerate(clusters) for name in cluster.photos}
    first: dict[object, int] = {}
    for i, photo in enumerate(photos):
        first.setdefault((cluster_of.get(photo.name, photo.name), photo.label), i)
    return list(first.values())


def _components(count: int, pairs: Pairs) -> list[int]:
    if not pairs:
        return list(range(count))
    a, b = np.array(sorted(pairs)).T
    joined = coo_array((np.ones(len(a)), (a, b)), shape=(count, count))
    return [int(number) for number in connected_components(joined, directed=False)[1]]
