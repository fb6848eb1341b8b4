"""Species with too few photos to be learned, and what is missing in words."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from training.audit.settings import Enough


@dataclass(frozen=True)
class Shortage:
    """A species that cannot be learned yet. ``missing`` says what to add."""

    species: str
    photos: int
    groups: int
    missing: str


def find_shortages(
    labels: Sequence[str], groups: Sequence[str], enough: Enough, wanted: Sequence[str] = ()
) -> tuple[Shortage, ...]:
    """Species short of photos or groups, in alphabetical order.

    ``labels`` and ``groups`` of the usable photos; copies of one picture count once where the
    caller leaves them out. ``wanted`` are species that need not have a photo yet.
    """
    counts = Counter(labels)
    visits_of = Counter(label for label, _ in set(zip(labels, groups, strict=True)))
    found = []
    for species in sorted({*counts, *wanted}):
        photos, visits = counts[species], visits_of[species]
        if photos < enough.photos or visits < enough.groups:
            found.append(Shortage(species, photos, visits, missing_words(photos, visits, enough)))
    return tuple(found)


def missing_words(photos: int, groups: int, enough: Enough) -> str:
    """What is missing, so that both numbers are reached.

    >>> few = Enough(photos=5, groups=2, source=["CP"], standing="common practice")
    >>> missing_words(2, 1, few)
    '3 more photos, at least 1 of them from another plant or visit'
    >>> missing_words(9, 1, few)
    '1 more photo, from another plant or visit'
    >>> missing_words(4, 3, few)
    '1 more photo, of any plant'
    >>> missing_words(0, 0, few)
    '5 photos, from at least 2 plants or visits'
    """
    visits = max(enough.groups - groups, 0)
    more = max(enough.photos - photos, visits)
    if photos == 0:
        return f"{_photos(more)}, from at least {enough.groups} plants or visits"
    if visits == 0:
        return f"{_photos(more, ' more')}, of any plant"
    others = "another plant or visit" if visits == 1 else f"{visits} other plants or visits"
    if more == visits:
        return f"{_photos(more, ' more')}, from {others}"
    return f"{_photos(more, ' more')}, at least {visits} of them from {others}"


def _photos(count: int, more: str = "") -> str:
    return f"{count}{more} photo{'' if count == 1 else 's'}"
