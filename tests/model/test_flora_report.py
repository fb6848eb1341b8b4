"""`python -m model.flora`, and finding a plant by a name that means several."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import pytest

from model.errors import AnswerError
from model.flora.__main__ import main, separates
from model.flora.name import PlantNames
from model.flora.species import Score
from model.identify import Key


def test_a_species_is_reported_in_one_line_with_its_unseparated_look_alikes(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["soliva_sessilis"]) == 0
    told = capsys.readouterr().out.splitlines()
    assert told[0].startswith("soliva_sessilis: ") and "characters; unknown: " in told[0]
    assert told[-1].endswith("0 look-alike pairs not separated")
    assert main(["no_such_plant"]) == 2
    failed = capsys.readouterr()
    assert "no_such_plant" in failed.err and failed.out == ""


def flora(a: dict[str, Any], b: dict[str, Any]) -> Any:
    def score(shown: Any) -> Any:
        return shown if isinstance(shown, str) else Score(source=["CP"], standing="common practice", **shown)

    plants = {
        name: SimpleNamespace(characters={c: score(s) for c, s in shown.items()})
        for name, shown in (("a", a), ("b", b))
    }
    return SimpleNamespace(
        species=plants, is_applicable=lambda name, character: plants[name].characters.get(character) != "inapplicable"
    )


@pytest.mark.parametrize(
    ("a", "b", "told"),
    [
        ({"states": {"x": "always"}}, {"states": {"y": "usually"}}, True),
        ({"states": {"x": "always"}}, {"states": {"x": "usually", "y": "usually"}}, False),
        ({"states": {"x": "always"}}, {"states": {"x": "rarely", "y": "always"}}, True),
        ({"states": {"x": "sometimes"}}, {"states": {"y": "always"}}, False),
        ({"range": (1, 4)}, {"range": (3, 9)}, True),
        ({"range": (1, 4)}, {"range": (2.9, 9)}, False),
        ({"range": (3, 3)}, {"range": (1, 9)}, False),
        ({"range": (3, 3)}, {"range": (4, 9)}, True),
        ({"months": [1, 2]}, {"months": [3]}, True),
        ({"months": [1, 2]}, {"months": [2, 3]}, False),
        ("inapplicable", {"months": [2, 3]}, True),
        ("inapplicable", "inapplicable", False),
        ("unknown", {"months": [2, 3]}, False),
    ],
)
def test_a_character_separates_where_nothing_is_shared(a: Any, b: Any, told: bool) -> None:
    assert separates(flora({"c": a}, {"c": b}), "c", "a", "b") is told
    assert separates(flora({"c": b}, {"c": a}), "c", "a", "b") is told


def test_a_name_that_means_several_or_none_is_told_with_what_to_say(key: Key) -> None:
    names = PlantNames(key.flora)
    assert names.the_species("Bindy-Eye") == "soliva_sessilis"
    with pytest.raises(AnswerError, match=r"may be any of several plants; say which: .*trifolium_repens"):
        names.the_species("clover")
    with pytest.raises(AnswerError, match="'soliva sessilus' is not in the flora; did you mean"):
        names.the_species("soliva sessilus")
