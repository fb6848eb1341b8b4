"""The errors that a person may meet. Each message says what, where and what to do."""

from __future__ import annotations

import difflib
from collections.abc import Iterable


class SwardkeyError(Exception):
    """Root of all errors that end in one sentence and exit status 2."""


class FloraError(SwardkeyError):
    """A file under configs/ is wrong. Fix the file and the line that the message names."""


class AnswerError(SwardkeyError):
    """An answer does not name a known character or state. The message gives the nearest valid one."""


class PhotoError(SwardkeyError):
    """A photo cannot be used. The message says which and why; take or choose another."""


class ModelError(SwardkeyError):
    """A photo model cannot be loaded. Use another, or restore the one that was shipped."""


class CollectionError(SwardkeyError):
    """The labelled photos are missing, too few or wrongly labelled. The message says which."""


class StoppedError(SwardkeyError):
    """A person stopped the work. The message says what was kept and how to go on; exit status 130."""


LONGEST = 80  # characters of a word that are compared: longer ones take minutes


def nearest(word: str, known: Iterable[str]) -> str:
    """Say which known words are closest to ``word``, to end an error message.

    >>> nearest("leaf_hair", ["leaf_hairs", "ligule", "leaf_bud"])
    'did you mean leaf_hairs?'
    >>> nearest("xyz", ["one", "two"])
    'choose from: one, two'
    """
    options, word = list(known), str(word)[:LONGEST]
    close = difflib.get_close_matches(word, options, n=1, cutoff=0.6)
    if close:
        return f"did you mean {close[0]}?"
    if len(options) > 14:
        guess = difflib.get_close_matches(word, options, n=3, cutoff=0.0)
        return f"the nearest are: {', '.join(guess)}"
    return f"choose from: {', '.join(options)}"
