"""Which photos of observations may be taken, by their own licence, and which of many are chosen."""

from __future__ import annotations

import hashlib
import math
from collections import Counter
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from training.collection.gbif import CACHE
from training.collection.licence import kind_of, licence_of
from training.collection.open_rules import OpenRules

FORMATS = ("", "image/jpeg", "image/jpg", "image/png", "image/webp", "image/heic")
CELL = 1.0  # degrees: observations in one square of this side count as of one place
LONGEST = 300  # characters of a name, place or address that is kept
PRESSED = ("herbarium", "specimen", "sheet", "illustration", "drawing", "painting")  # words of titles and descriptions


@dataclass(frozen=True)
class OpenPhoto:
    """One photo of an observation, its own licence, and whom to credit.

    ``address`` is the publisher's, ``copy`` the archive's own copy of it. ``observation`` and ``observer`` group
    photos that are alike; ``place`` is a square of a degree or a country; ``month`` 1 to 12, 0 where unknown.
    """

    species: str
    address: str
    copy: str
    licence: str
    creator: str
    page: str
    observation: str
    observer: str
    place: str
    month: int
    region: int = 0
    basis: int = 0

    @property
    def group(self) -> str:
        """Photos of one observer are never parted between learning and testing."""
        return f"observer {self.observer}" if self.observer else f"observation {self.observation}"


def photos_of(
    record: Mapping[str, Any], species: str, region: int, kinds: Collection[str], rules: OpenRules
) -> Iterator[OpenPhoto]:
    """The photos of a record that may be taken: open by their *own* licence, of a living plant, under a sure name."""
    basis = str(record.get("basisOfRecord") or "")
    issues = record.get("issues")
    if basis not in rules.basis or (isinstance(issues, list) and set(map(str, issues)) & set(rules.issues)):
        return
    key = _text(record.get("key"))
    media = record.get("media")
    for entry in media if isinstance(media, list) else ():
        if not isinstance(entry, Mapping) or not key:
            continue
        address, licence = _text(entry.get("identifier"), 2000), licence_of(_text(entry.get("license")))
        if kind_of(licence) not in kinds or not licence or not _is_picture(entry) or not _is_address(address):
            continue
        holder, creator = _text(entry.get("rightsHolder")), _text(entry.get("creator"))
        observer = _text(record.get("recordedBy")) or creator or holder
        yield OpenPhoto(
            species=species,
            address=address,
            copy=CACHE.format(key=key, digest=hashlib.md5(address.encode(), usedforsecurity=False).hexdigest()),
            licence=licence,
            creator=creator or holder or observer,
            page=_text(entry.get("references")) or _text(record.get("occurrenceID")) or address,
            observation=key,
            observer=observer,
            place=_place(record),
            month=_month(record),
            region=region,
            basis=rules.basis.index(basis),
        )


def choose(photos: Iterable[OpenPhoto], each: int, rules: OpenRules) -> tuple[OpenPhoto, ...]:
    """At most ``each`` photos of one species, spread over observers, places and months; the nearest regions first.

    The same for the same photos, in whatever order they come.
    """
    first: dict[str, OpenPhoto] = {}
    for photo in photos:
        first.setdefault(photo.address, photo)
    left = sorted(first.values(), key=lambda p: (p.region, p.basis, _dice(p)))
    taken: list[OpenPhoto] = []
    of: Counter[tuple[str, object]] = Counter()
    while left and len(taken) < each:
        # The one of which there is least so far: first by observer, then by plant, place and month.
        best = min(left, key=lambda p: (p.basis, of["group", p.group], *_shares(p, of), p.region))
        left.remove(best)
        taken.append(best)
        of.update((("group", best.group), ("of", best.observation), ("place", best.place), ("month", best.month)))
        left = [p for p in left if _may_follow(p, of, rules)]
    return tuple(taken)


def _may_follow(photo: OpenPhoto, of: Mapping[tuple[str, object], int], rules: OpenRules) -> bool:
    few = of["of", photo.observation] < rules.of_one_observation
    return few and of["group", photo.group] < rules.of_one_observer


def _shares(photo: OpenPhoto, of: Mapping[tuple[str, object], int]) -> tuple[float, ...]:
    return (of["of", photo.observation], of["place", photo.place] + of["month", photo.month] + 2 * photo.region)


def _dice(photo: OpenPhoto) -> str:
    """An order that has nothing to do with when or by whom a photo was taken."""
    return hashlib.sha256(photo.address.encode()).hexdigest()


def _is_picture(entry: Mapping[str, Any]) -> bool:
    said = " ".join(_text(entry.get(name)).casefold() for name in ("title", "description", "source"))
    kind, form = _text(entry.get("type")) or "StillImage", _text(entry.get("format")).casefold()
    return kind == "StillImage" and form in FORMATS and not any(word in said for word in PRESSED)


def _is_address(text: str) -> bool:
    return text.startswith(("https://", "http://")) and not any(c.isspace() for c in text)


def _place(record: Mapping[str, Any]) -> str:
    latitude, longitude = record.get("decimalLatitude"), record.get("decimalLongitude")
    if isinstance(latitude, int | float) and isinstance(longitude, int | float):
        return f"{math.floor(latitude / CELL)} {math.floor(longitude / CELL)}"
    return _text(record.get("countryCode"))


def _month(record: Mapping[str, Any]) -> int:
    month = record.get("month")
    return month if isinstance(month, int) and 1 <= month <= 12 else 0


def _text(value: Any, longest: int = LONGEST) -> str:
    """A value as one line of text, "" for anything that is not text or a number."""
    if not isinstance(value, str | int | float) or isinstance(value, bool):
        return ""
    return " ".join(str(value).split())[:longest]


def credits_of(photos: Sequence[OpenPhoto]) -> dict[str, int]:
    """Whom to credit, with how many photos each; those with the most first."""
    counts = Counter(photo.creator for photo in photos)
    return dict(sorted(counts.items(), key=lambda one: (-one[1], one[0].casefold())))
