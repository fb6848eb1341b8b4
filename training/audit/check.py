"""The whole check, from labelled photos and their features to a report."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray

from model.errors import CollectionError
from model.photo import Statistics
from model.photo.evidence import OTHER
from training.audit.label_next import ToLabel, rank_unlabelled
from training.audit.labels import LabelCheck, find_suspects
from training.audit.next_photos import Gain, expect_gains, learning_slope
from training.audit.out_of_sample import OutOfSample, out_of_sample
from training.audit.quality import find_faults
from training.audit.report import Report
from training.audit.settings import Settings
from training.audit.shortage import find_shortages
from training.data.duplicates import Cluster, find_duplicates, merged_groups
from training.data.look import Look, look_at
from training.data.manifest import LabelledPhoto

Array = NDArray[np.float64]
Progress = Callable[[int], None]
Unlabelled = tuple[Sequence[str], Array]


def check_photos(
    photos: Sequence[LabelledPhoto],
    x: Array,
    settings: Settings,
    background: Statistics | None = None,
    wanted: Sequence[str] = (),
    unlabelled: Unlabelled | None = None,
    looks: Sequence[Look] | None = None,
    progress: Progress = lambda done: None,
) -> Report:
    """Check labelled photos; nothing is changed.

    ``x`` float (photos, features), rows of NaN for unreadable photos. ``background``:
    statistics of other photos, which must not be among these, such as the starter's. ``wanted``:
    species that should be learned, with or without a photo. ``unlabelled``: names and features
    of photos to choose the next ones to label from. ``looks`` saves opening the files again.
    Raises CollectionError when there is no photo.
    """
    if not photos:
        raise CollectionError("there is no labelled photo to check; add some first")
    if looks is None:
        looks = look_at(photos, settings.quality.blur_side, progress)
    found = find_duplicates(photos, looks, x, settings.duplicates)
    groups = merged_groups(photos, found.clusters)
    usable = np.array([not k.cause and not k.plain for k in looks], dtype=bool) & ~np.isnan(x).any(axis=1)
    rows = [int(i) for i in np.flatnonzero(usable)]
    kept = [photos[i] for i in rows]
    labels, places = [p.label for p in kept], [groups[i] for i in rows]
    judged = _judge(x[rows], labels, places, settings, background)
    check = find_suspects(kept, judged, settings.labels.odds) if judged else LabelCheck((), 0, 0, ())
    slope = _slope(x[rows], labels, places, judged, settings, background)
    species = {p.label for p in photos if not p.label.startswith(OTHER)}
    once = [i for i in _once(kept, found.clusters) if labels[i] in species]
    return Report(
        photos=len(photos),
        groups=len(set(groups)),
        species=len(species),
        enough=(settings.enough.photos, settings.enough.groups),
        faults=find_faults(photos, looks, settings.quality),
        clusters=found.clusters,
        unchecked_pairs=found.unchecked,
        suspects=check.suspects,
        estimated_wrong=check.estimated,
        judged=check.judged,
        unjudged=check.unjudged,
        shortages=find_shortages(
            [labels[i] for i in once],
            [places[i] for i in once],
            settings.enough,
            [*wanted, *species],
        ),
        gains=_gains(kept, places, judged, settings, slope or settings.next.slope, background, wanted, check),
        take=settings.next.take,
        slope=round(slope or settings.next.slope, 3),
        slope_read=slope is not None,
        to_label=_to_label(unlabelled, x[rows], labels, judged, settings, background),
        own=_own(kept, judged),
        labels={p.name: p.label for p in photos},
    )


def _judge(
    x: Array, labels: list[str], groups: list[str], settings: Settings, background: Statistics | None
) -> OutOfSample | None:
    return out_of_sample(x, labels, groups, settings.labels, background) if labels else None


def _slope(
    x: Array,
    labels: list[str],
    groups: list[str],
    judged: OutOfSample | None,
    settings: Settings,
    background: Statistics | None,
) -> float | None:
    if judged is None or len(labels) < settings.next.slope_needs:
        return None
    return learning_slope(x, labels, groups, judged.shrinkage, settings.labels, background)


def _once(kept: Sequence[LabelledPhoto], clusters: Sequence[Cluster]) -> list[int]:
    """Rows of which no earlier one is the same picture under the same label."""
    cluster_of = {name: number for number, cluster in enumerate(clusters) for name in cluster.photos}
    seen: set[tuple[int, str]] = set()
    rows = []
    for i, photo in enumerate(kept):
        number = cluster_of.get(photo.name)
        if number is None or (number, photo.label) not in seen:
            rows.append(i)
        if number is not None:
            seen.add((number, photo.label))
    return rows


def _gains(
    kept: Sequence[LabelledPhoto],
    groups: Sequence[str],
    judged: OutOfSample | None,
    settings: Settings,
    slope: float,
    background: Statistics | None,
    wanted: Sequence[str],
    check: LabelCheck,
) -> tuple[Gain, ...]:
    if judged is None:
        return ()
    behind = dict(zip(background.classes, map(float, background.counts), strict=True)) if background else {}
    doubted = {s.photo for s in check.suspects}
    gains = expect_gains(kept, groups, judged, settings.next, slope, behind, wanted, doubted)
    return gains[: settings.next.shown]


def _to_label(
    unlabelled: Unlabelled | None,
    x: Array,
    labels: list[str],
    judged: OutOfSample | None,
    settings: Settings,
    background: Statistics | None,
) -> tuple[ToLabel, ...]:
    if unlabelled is None or judged is None:
        return ()
    names, features = unlabelled
    return rank_unlabelled(names, features, (x, labels), judged, settings.next, background)


def _own(kept: Sequence[LabelledPhoto], judged: OutOfSample | None) -> dict[str, float]:
    if judged is None:
        return {}
    return {p.name: float(v) for p, v in zip(kept, judged.own, strict=True) if not np.isnan(v)}
