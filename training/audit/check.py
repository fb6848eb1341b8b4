"""The whole check, from labelled photos and their features to a report."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from model.errors import CollectionError
from model.photo.evidence import OTHER
from model.photo.head import Statistics
from training.audit.label_next import ToLabel, rank_unlabelled
from training.audit.labels import LabelCheck, find_suspects
from training.audit.next_photos import Gain, expect_gains, learning_slope
from training.audit.out_of_sample import out_of_sample
from training.audit.quality import find_faults
from training.audit.report import Report
from training.audit.settings import Settings
from training.audit.shortage import find_shortages
from training.data.duplicates import find_duplicates, merged_groups, without_copies
from training.data.look import Look, look_at
from training.data.manifest import LabelledPhoto

Array = NDArray[np.float64]
Unlabelled = tuple[Sequence[str], Array]


def check_photos(
    photos: Sequence[LabelledPhoto],
    x: Array,
    settings: Settings,
    background: Statistics | None = None,
    wanted: Sequence[str] = (),
    unlabelled: Unlabelled | None = None,
    looks: Sequence[Look] | None = None,
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
        looks = look_at(photos, settings.quality.blur_side)
    found = find_duplicates(photos, looks, x, settings.duplicates)
    groups = merged_groups(photos, found.clusters)
    usable = np.array([not k.cause and not k.plain for k in looks], dtype=bool) & ~np.isnan(x).any(axis=1)
    rows = np.flatnonzero(usable).tolist()
    kept, places = [photos[i] for i in rows], [groups[i] for i in rows]
    species = {p.label for p in photos if not p.label.startswith(OTHER)}
    once = [i for i in without_copies(kept, found.clusters) if kept[i].label in species]
    learned = _learn(kept, x[rows], places, settings, background, wanted, unlabelled)
    return Report(
        photos=len(photos),
        groups=len(set(groups)),
        species=len(species),
        enough=(settings.enough.photos, settings.enough.groups),
        faults=find_faults(photos, looks, settings.quality),
        clusters=found.clusters,
        unchecked_pairs=found.unchecked,
        shortages=find_shortages(
            [kept[i].label for i in once], [places[i] for i in once], settings.enough, [*wanted, *species]
        ),
        take=settings.next.take,
        labels={p.name: p.label for p in photos},
        **learned,
    )


def _learn(
    kept: Sequence[LabelledPhoto],
    x: Array,
    groups: Sequence[str],
    settings: Settings,
    background: Statistics | None,
    wanted: Sequence[str],
    unlabelled: Unlabelled | None,
) -> dict[str, Any]:
    """The fields of the report that take a model learned from the usable photos."""
    labels, slope = [p.label for p in kept], None
    check, own = LabelCheck((), 0, 0, ()), dict[str, float]()
    gains: tuple[Gain, ...] = ()
    to_label: tuple[ToLabel, ...] = ()
    if kept:
        judged = out_of_sample(x, labels, groups, settings.labels, background)
        check = find_suspects(kept, judged, settings.labels.odds)
        if len(kept) >= settings.next.slope_needs:
            slope = learning_slope(x, labels, groups, judged.shrinkage, settings.labels, background)
        behind = dict(zip(background.classes, map(float, background.counts), strict=True)) if background else {}
        doubted = {s.photo for s in check.suspects}
        power = slope or settings.next.slope
        gains = expect_gains(kept, groups, judged, settings.next, power, behind, wanted, doubted)
        own = {p.name: float(v) for p, v in zip(kept, judged.own, strict=True) if not np.isnan(v)}
        if unlabelled is not None:
            to_label = rank_unlabelled(*unlabelled, (x, labels), judged, settings.next, background)
    return {
        "suspects": check.suspects,
        "estimated_wrong": check.estimated,
        "judged": check.judged,
        "unjudged": check.unjudged,
        "gains": gains[: settings.next.shown],
        "slope": round(slope or settings.next.slope, 3),
        "slope_read": slope is not None,
        "to_label": to_label,
        "own": own,
    }
