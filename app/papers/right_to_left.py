"""Arabic and Hebrew on a page that is set from left to right: letters joined as they are written, in their order."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Sequence
from functools import lru_cache

MIRRORED = str.maketrans("()[]{}<>\u00ab\u00bb", ")(][}{><\u00bb\u00ab")
FORMS = (*range(0xFB50, 0xFC00), *range(0xFE80, 0xFEFD))  # where Unicode has the joined forms of single letters
RIGHT_TO_LEFT = ("R", "AL")


def in_visual_order(text: str) -> str:
    """The text with each run of Arabic or Hebrew as it is seen; such a run goes over no end of a line, as names do not.

    >>> in_visual_order("Rua Nova 3") == "Rua Nova 3"
    True
    >>> [f"{ord(c):04X}" for c in in_visual_order("\u0645\u062d\u0645\u062f")]  # the name Mohammed, from its end
    ['FEAA', 'FEE4', 'FEA4', 'FEE3']
    """
    if text.isascii() or not any(unicodedata.bidirectional(c) in RIGHT_TO_LEFT for c in text):
        return text
    letters = "".join("R" if _is_right_to_left(c) else "-" for c in text)
    found, end = [], 0
    for run in re.finditer(r"R(?:-*?R)*", _with_breaks(letters, text)):
        found += [text[end : run.start()], _run_in_visual_order(text[run.start() : run.end()])]
        end = run.end()
    return "".join((*found, text[end:]))


def _is_right_to_left(letter: str) -> bool:
    return unicodedata.bidirectional(letter) in RIGHT_TO_LEFT or (
        unicodedata.bidirectional(letter) == "NSM" and bool(unicodedata.combining(letter))
    )


def _with_breaks(letters: str, text: str) -> str:
    """The same with a mark at each letter of other scripts and each end of a line, which part two runs."""
    return "".join("|" if unicodedata.bidirectional(c) in ("L", "B") else r for r, c in zip(letters, text, strict=True))


def _run_in_visual_order(run: str) -> str:
    """A run from its last part to its first; numbers keep their order."""
    parts = [part.replace(" ", "\u00a0").translate(MIRRORED) for part in re.findall(r"\d+(?:[.,:/-]\d+)*|\D", run)]
    clusters: list[tuple[str, str]] = []  # a letter, or two that are written as one, and its marks
    for part in parts:
        if clusters and unicodedata.combining(part[0]):
            clusters[-1] = (clusters[-1][0], clusters[-1][1] + part)
        elif clusters and not clusters[-1][1] and clusters[-1][0] + part in _forms():
            clusters[-1] = (clusters[-1][0] + part, "")
        else:
            clusters.append((part, ""))
    return "".join(
        _joined([base for base, _ in clusters], n) + marks for n, (_, marks) in reversed([*enumerate(clusters)])
    )


def _joined(bases: Sequence[str], at: int) -> str:
    """A letter in the form that its neighbours ask for."""
    forms = _forms().get(bases[at], {})
    before = at > 0 and "<final>" in forms and "<initial>" in _forms().get(bases[at - 1], {})
    after = at + 1 < len(bases) and "<initial>" in forms and "<final>" in _forms().get(bases[at + 1], {})
    kind = {
        (False, False): "<isolated>",
        (False, True): "<initial>",
        (True, False): "<final>",
        (True, True): "<medial>",
    }
    return forms.get(kind[before, after], bases[at])


@lru_cache(maxsize=1)
def _forms() -> dict[str, dict[str, str]]:
    """By a letter, or by two that are written as one: its forms by their kind."""
    found: dict[str, dict[str, str]] = {}
    for code in FORMS:
        kind, *parts = unicodedata.decomposition(chr(code)).split() or [""]
        if kind in ("<isolated>", "<initial>", "<medial>", "<final>"):
            found.setdefault("".join(chr(int(part, 16)) for part in parts), {})[kind] = chr(code)
    return found
