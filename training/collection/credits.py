"""Whom to credit for the photos of a collection: what their licences ask for, as a table and as a text."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from training.data.manifest import LabelledPhoto

NOT_STATED = "creator not stated"
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


def creators_by_licence(photos: Iterable[LabelledPhoto]) -> dict[str, dict[str, int]]:
    """Under each licence its creators with how many photos each; those with the most first."""
    counts: dict[str, Counter[str]] = {}
    for photo in photos:
        if photo.licence:
            counts.setdefault(photo.licence, Counter())[plain_line(photo.creator) or NOT_STATED] += 1
    by_count = {k: dict(sorted(of.items(), key=lambda one: (-one[1], one[0].casefold()))) for k, of in counts.items()}
    return dict(sorted(by_count.items()))


def creators_as_markdown(creators: Mapping[str, Mapping[str, int]]) -> str:
    """A section with one paragraph for each licence; "" where nobody has to be credited."""
    if not creators:
        return ""
    lines = ["## Photo credits", "", "Creators of the photos that came with a licence, with how many of each.", ""]
    for licence, of in creators.items():
        lines += [f"{linked(licence)}: {', '.join(f'{name} ({count})' for name, count in of.items())}.", ""]
    return "\n".join(lines)


def as_markdown(credited: Sequence[Credit]) -> str:
    """The credits as a Markdown text: under each licence its creators, each with their photos' pages."""
    lines = ["# Photo credits", ""]
    for licence in sorted({one.licence for one in credited}):
        lines += [f"## {linked(licence)}", ""]
        here = [one for one in credited if one.licence == licence]
        for creator in sorted({one.creator for one in here}, key=str.casefold):
            pages = [one for one in here if one.creator == creator]
            shown = ", ".join(f"{one.species.replace('_', ' ')} <{plain_line(one.source)}>" for one in pages)
            lines.append(f"- {plain_line(creator) or NOT_STATED}: {shown}")
        lines.append("")
    return "\n".join(lines)


def linked(licence: str) -> str:
    """A licence in Markdown with a link to its text, where that is known."""
    kind, _, version = licence.rpartition(" ")
    kind, version = (kind, version) if version[:1].isdigit() else (licence, "")
    address = ADDRESSES.get(kind, "")
    if not address or ("{version}" in address and not version):
        return plain_line(licence)
    return f"[{licence}]({address.format(version=version)})"


def plain_line(text: str) -> str:
    """A text from elsewhere on one line, without signs that Markdown or HTML read."""
    return " ".join("".join(" " if sign in "<>[]|`*#\\" else sign for sign in text).split())
