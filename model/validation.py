"""What pydantic found wrong, in words: the one place where its errors become part of a sentence."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from pydantic import ValidationError

_MISSPELT = ("extra_forbidden", "unexpected_keyword_argument")
_OF_A_TYPE = re.compile(r"[\[(]|^(?:int|float|str|bool|constrained-\w+)$")
LONGEST_SHOWN = 60  # characters of what was given
_MAPPING = "must be a mapping of fields, `field: value` on each line"
_LIST = "must be a list, such as [one, two]"
_NO_SUCH_FIELD = "no such field; check its spelling"
_WHAT_IT_MUST_BE = {
    "int": "must be a whole number",
    "float": "must be a number",
    "decimal": "must be a number",
    "bool": "must be true or false",
    "string": "must be text",
    "date": "must be a date, such as 2026-11-28",
    "time": "must be a time, such as 17:30",
    "datetime": "must be a day and a time, such as 2026-11-28 17:30",
    "list": _LIST,
    "tuple": _LIST,
    "set": _LIST,
    "frozen_set": _LIST,
    "dict": _MAPPING,
    "mapping": _MAPPING,
    "model": _MAPPING,
    "model_attributes": _MAPPING,
    "dataclass": _MAPPING,
}
_WORDS: Mapping[str, Callable[[Mapping[str, Any]], str]] = {
    "missing": lambda limit: "is missing; give it",
    "extra_forbidden": lambda limit: _NO_SUCH_FIELD,
    "unexpected_keyword_argument": lambda limit: _NO_SUCH_FIELD,
    "greater_than": lambda limit: f"must be more than {limit['gt']:g}",
    "greater_than_equal": lambda limit: f"must be {limit['ge']:g} or more",
    "less_than": lambda limit: f"must be less than {limit['lt']:g}",
    "less_than_equal": lambda limit: f"must be {limit['le']:g} or less",
    "finite_number": lambda limit: "must be an ordinary number",
    "string_too_short": lambda limit: "must not be empty",
    "string_too_long": lambda limit: f"is longer than {limit['max_length']} characters; shorten it",
    "too_short": lambda limit: f"must have at least {limit['min_length']} items",
    "too_long": lambda limit: f"must have at most {limit['max_length']} items",
    "string_pattern_mismatch": lambda limit: "is not written as it should be",
    "json_invalid": lambda limit: "is not valid JSON",
}


def first_cause(error: ValidationError) -> str:
    """The most useful thing that pydantic found wrong, in one line: a misspelt field first.

    Places in a list count from 1, as people count.
    """
    causes = sorted(error.errors(include_url=False), key=lambda cause: cause["type"] not in _MISSPELT)
    where, problem = place(causes[0]["loc"]), problem_of(causes[0])
    return f"{where}: {problem}" if where else problem


def place(loc: Sequence[str | int]) -> str:
    """Where in the data it is, without the types that pydantic tried.

    >>> place(("products", 0, "rate"))
    'products 1: rate'
    """
    words = ""
    for part in (part for part in loc if isinstance(part, int) or not _OF_A_TYPE.search(part)):
        words += f" {part + 1}" if isinstance(part, int) else f"{': ' if words else ''}{part}"
    return words.strip()


def problem_of(cause: Any) -> str:
    """What is wrong with one value, and what it must be."""
    kind, given = str(cause["type"]), cause.get("input")
    shown = f"{given!r}" if isinstance(given, str | int | float) and len(repr(given)) <= LONGEST_SHOWN else "it"
    if kind in ("value_error", "assertion_error"):
        return str(cause["msg"]).partition(", ")[2] or str(cause["msg"])
    if kind in ("literal_error", "enum"):
        expected = str(cause["ctx"]["expected"]).removeprefix("'', ").replace("'", "")
        return f"{shown} is not one of {expected}"
    if kind in _WORDS:
        return _WORDS[kind](cause.get("ctx") or {})
    for name, words in _WHAT_IT_MUST_BE.items():
        if kind.startswith(f"{name}_"):
            return words if shown == "it" else f"{words}, not {shown}"
    return f"{shown} cannot be used here"
