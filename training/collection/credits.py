"""Whom to credit for the photos of a collection: what their licences ask for, as a table and as a text."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from training.data.manifest import LabelledPhoto

COLUMNS = ("photo", "species", "creator", "licence", "source")
ADDRESSES = {
    "CC0": "https://creativecommons.org/publicdomain/zero/1.0/",
    "CC BY": "https://creativecommons.org/licenses/by/{version}/",
    "CC BY-SA": "https://creativecommons.org/licenses/by-sa/{version}/",
}


@dataclass(frozen=True)
class Credit:
    """One photo that somebody else may have taken, and the licence it is used under."""

    photo: str
    species: str
    creator: str
    licence: str
    source: str

    @property
    def cells(self) -> tuple[str, ...]:
        """In the order of COLUMNS."""
        return (self.photo, self.species, self.creator, self.licence, self.source)


def credits_for(photos: Iterable[LabelledPhoto]) -> tuple[Credit, ...]:
    """The photos that came with a licence, by species, licence and creator."""
    found = [Credit(p.name, p.label, p.creator, p.licence, p.source) for p in photos if p.licence]
    return tuple(sorted(found, key=lambda one: (one.species, one.licence, one.creator, one.source)))


def as_markdown(credited: Sequence[Credit]) -> str:
    """The credits as a Markdown text: under each licence its creators, each with their photos' pages."""
    lines = ["# Photo credits", ""]
    for licence in sorted({one.licence for one in credited}):
        lines += [f"## {_linked(licence)}", ""]
        here = [one for one in credited if one.licence == licence]
        for creator in sorted({one.creator for one in here}, key=str.casefold):
            pages = [one for one in here if one.creator == creator]
            shown = ", ".join(f"{one.species.replace('_', ' ')} <{_plain(one.source)}>" for one in pages)
            lines.append(f"- {_plain(creator) or 'creator not stated'}: {shown}")
        lines.append("")
    return "\n".join(lines)


def _linked(licence: str) -> str:
    kind, _, version = licence.rpartition(" ")
    kind, version = (kind, version) if version[:1].isdigit() else (licence, "")
    address = ADDRESSES.get(kind, "")
    if not address or ("{version}" in address and not version):
        return licence
    return f"[{licence}]({address.format(version=version)})"


def _plain(text: str) -> str:
    """A text from elsewhere on one line, without signs that Markdown or HTML read."""
    return " ".join("".join(" " if sign in "<>[]|`*#\\" else sign for sign in text).split())
