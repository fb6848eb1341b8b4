"""What pydantic found wrong, in words that a person can act on."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, time
from typing import Any

import pytest
from pydantic import TypeAdapter, ValidationError

from app.records import Client, RecordsError, Site, Treatment
from app.records.serialization import checked
from model.validation import first_cause

TREATMENT = {"visit": 1, "day": "2026-11-28"}


@pytest.mark.parametrize(
    ("kind", "given", "says"),
    [
        (Site, {"client": 1, "address": "1 High St", "state": "QQ"}, "site: state: 'QQ' is not one of NSW, VIC, QLD"),
        (Site, {"client": 1, "address": "1 High St", "near": "pond"}, "near: must be a list, such as [one, two], not"),
        (Site, {"client": 1, "address": "1 High St", "area_m2": -3}, "site: area_m2: must be more than 0"),
        (Site, {"client": "Ann", "address": "1 High St"}, "site: client: must be a whole number, not 'Ann'"),
        (Client, {"name": ""}, "client: name: must not be empty"),
        (Client, {}, "client: name: is missing; give it"),
        (Client, {"name": "Ann", "fone": "1"}, "client: fone: no such field; check its spelling"),
        (Treatment, {"visit": 1, "day": "soon"}, "treatment: day: must be a date, such as 2026-11-28, not 'soon'"),
        (Treatment, TREATMENT | {"started": "dawn"}, "treatment: started: must be a time, such as 17:30, not 'dawn'"),
        (Treatment, TREATMENT | {"chemical": "maybe"}, "treatment: chemical: must be true or false, not 'maybe'"),
        (Treatment, TREATMENT | {"products": ["x"]}, "products 1: must be a mapping of fields"),
        (Treatment, TREATMENT | {"products": [{"groups": [4, "x"]}]}, "products 1: groups 2: must be a whole number"),
        (Treatment, TREATMENT | {"weather": [{"humidity": 120}]}, "weather 1: humidity: must be 100 or less"),
    ],
)
def test_what_is_wrong_with_an_entry_is_said_in_words(kind: type, given: Mapping[str, Any], says: str) -> None:
    with pytest.raises(RecordsError) as error:
        checked(kind, given)
    assert says in str(error.value)


@pytest.mark.parametrize("kind", [int, float, bool, str, date, time, list[int], tuple[int, ...], dict[str, int], Site])
@pytest.mark.parametrize("given", [None, [None], {"a": None}, object(), "?", float("nan"), b"x"])
def test_no_words_of_the_library_come_through(kind: Any, given: object) -> None:
    try:
        TypeAdapter(kind).validate_python(given)
    except ValidationError as error:
        words = first_cause(error)
        assert words and not any(raw in words for raw in ("Input should", "valid string", "required", "pydantic"))
