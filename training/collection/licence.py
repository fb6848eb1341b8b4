"""Licences of photos: their many spellings brought to one, and which of them are wanted."""

from __future__ import annotations

import re
from collections.abc import Iterable
from urllib.parse import urlsplit

from model.errors import CollectionError

CC0, PUBLIC_DOMAIN = "CC0", "public domain"
# Those under which a photo may be used and passed on by anybody who names its creator.
OPEN = (CC0, "CC BY", "CC BY-SA", PUBLIC_DOMAIN)
_HOSTS = ("creativecommons.org", "www.creativecommons.org")
_PARTS = {"by": "BY", "nc": "NC", "nd": "ND", "sa": "SA"}
_WORDS = (
    ("attribution", "by"), ("non commercial", "nc"), ("noncommercial", "nc"), ("share alike", "sa"),
    ("sharealike", "sa"), ("no derivatives", "nd"), ("noderivatives", "nd"), ("no derivs", "nd"), ("noderivs", "nd"),
)  # fmt: skip
_SHORT = re.compile(
    r"(?:cc )?(by(?: (?:nc|nd|sa))*)(?: v?(\d(?:[ .]\d)?)(?: (?:international|intl|unported|generic|[a-z]{2}))?)?"
)
_CC0 = re.compile(r"(?:cc ?0|cc zero|publicdomain zero|cc0 public domain dedication)(?: v?1(?:[ .]0)?)?(?: universal)?")
_PUBLIC = re.compile(r"(?:cc )?(?:pdm?|public domain(?: mark)?|publicdomain mark)(?: v?1(?:[ .]0)?)?")


def licence_of(text: str) -> str:
    """The short form of a licence, with its version where given; "" for any other.

    >>> licence_of("http://creativecommons.org/licenses/by-nc/4.0/legalcode"), licence_of("cc_by_sa")
    ('CC BY-NC 4.0', 'CC BY-SA')
    """
    words = _spread(text)
    if _CC0.fullmatch(words):
        return CC0
    if _PUBLIC.fullmatch(words):
        return PUBLIC_DOMAIN
    found = _SHORT.fullmatch(words)
    if not found:
        return ""
    kind = "-".join(_PARTS[part] for part in found[1].split())
    version = (found[2] or "").replace(" ", ".")
    return f"CC {kind} {version}".rstrip()


def _spread(text: str) -> str:
    """A licence in lower-case words: addresses of Creative Commons become their path, long forms short ones."""
    text = text.strip().casefold()
    if "://" in text:
        try:
            place = urlsplit(text)
        except ValueError:
            return ""
        if place.hostname not in _HOSTS:
            return ""
        parts = [part for part in place.path.split("/") if part]
        text = " ".join(parts[1:3] if parts[:1] == ["licenses"] else parts[:3])
    words = " ".join(re.sub(r"[\s_/()\[\],-]+", " ", text).split())
    for long, short in _WORDS:
        words = words.replace(long, short)
    words = re.sub(r"\bcreative commons\b", "cc", words)
    return re.sub(r"^the | (?:licen[cs]e|deed)$", "", words)


def kind_of(licence: str) -> str:
    """A short form without its version.

    >>> kind_of("CC BY-SA 4.0")
    'CC BY-SA'
    """
    return re.sub(r" \d[\d.]*$", "", licence)


def wanted_kinds(texts: Iterable[str]) -> tuple[str, ...]:
    """The kinds that a user asks for; OPEN where none. Raises CollectionError naming what is not a licence."""
    kinds = []
    for text in texts:
        licence = licence_of(text)
        if not licence:
            raise CollectionError(
                f"--licence {text}: is not a known licence; use one such as CC0, CC-BY, CC-BY-SA or CC-BY-NC"
            )
        kinds.append(kind_of(licence))
    return tuple(kinds) or OPEN
