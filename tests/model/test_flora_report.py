"""`python -m model.flora`: what is reported of a species."""

from __future__ import annotations

import re
from types import SimpleNamespace
from typing import Any

import pytest

from model.flora.__main__ import alike_in_leaf, main, separates, young
from model.flora.species import Score
from model.identify import Key


def test_a_species_is_reported_in_one_line_with_its_unseparated_look_alikes(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["soliva_sessilis"]) == 0
    told = capsys.readouterr().out.splitlines()
    assert re.fullmatch(r"soliva_sessilis: \d+ characters, \d+ of leaves; unknown: .+", told[0])
    assert re.search(
        r"\d+ species, \d+ characters, 0 look-alike pairs not separated; \d+ times alike in leaf$", told[-1]
    )
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


X, Y = {"x": "always"}, {"y": "always"}


def score(**told: Any) -> Score:
    return Score(source=["CP"], standing="common practice", **told)


def test_before_it_flowers_a_plant_shows_what_it_shows_before() -> None:
    states: Any = {"x": "always"}
    assert young(score(states=states)) == score(states=states) and young("unknown") == "unknown" and young(None) is None
    assert young(score(states=states, when="seeding")) is None
    before: Any = {"y": "usually"}
    assert young(score(states=states, when="flowering", before=before)) == score(states=before)
    assert young(score(range=(1, 4), when="flowering", before=(5, 9))) == score(range=(5, 9))


@pytest.mark.parametrize(
    ("a", "b", "older", "in_leaf"),
    [
        ({"states": X, "when": "flowering"}, {"states": Y}, True, False),
        ({"states": X, "when": "flowering", "before": Y}, {"states": Y}, True, False),
        ({"states": Y, "when": "seeding", "before": X}, {"states": Y}, False, True),
        ({"range": (1, 2), "when": "flowering", "before": (5, 9)}, {"range": (1, 2)}, False, True),
        ({"range": (5, 9), "when": "flowering"}, {"range": (1, 2)}, True, False),
    ],
)  # fmt: skip
def test_in_leaf_a_character_separates_by_what_younger_plants_show(a: Any, b: Any, older: bool, in_leaf: bool) -> None:
    made = flora({"c": a}, {"c": b})
    for one, two in (("a", "b"), ("b", "a")):
        assert separates(made, "c", one, two) is older
        assert separates(made, "c", one, two, in_leaf=True) is in_leaf


def test_plants_are_alike_in_leaf_where_no_character_of_leaves_separates_them() -> None:
    x, y = {"states": {"x": "always"}}, {"states": {"y": "always"}}
    of = {"edge": "leaves", "petal": "flowers", "life_span": "leaves", "bulb": "roots"}

    def alike(**differs: Any) -> list[str]:
        made = flora({**dict.fromkeys(of, x), **differs}, dict.fromkeys(of, x))
        made.characters = {c: SimpleNamespace(id=c, part=part) for c, part in of.items()}
        made.ids = ("a", "b")
        return alike_in_leaf(made, "a")

    assert alike() == ["b"] and alike(edge=y) == []
    assert alike(petal=y, bulb=y) == ["b"], "flowers and roots are not in leaf"
    assert alike(life_span=y) == ["b"], "how long it lives is not to be seen"
    assert alike(edge={**y, "when": "flowering", "before": {"x": "always"}}) == ["b"]


def test_what_is_alike_in_leaf_is_listed_by_itself(capsys: pytest.CaptureFixture[str], key: Key) -> None:
    assert main(["--leaves", "oxalis_corniculata", "soliva_sessilis"]) == 0
    told = capsys.readouterr().out.splitlines()
    expected = []
    for species in ("oxalis_corniculata", "soliva_sessilis"):
        alike = alike_in_leaf(key.flora, species)
        expected += [species, f"  alike in leaf: {', '.join(alike)}"] if alike else []
    assert told[:-1] == expected
