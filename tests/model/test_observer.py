"""How people err: what is taken for what lands where it is told, and a wrong configuration is refused by name."""

from __future__ import annotations

import shutil
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
import yaml

from model.errors import FloraError
from model.flora import CONFIGS, Character
from model.identify import Key
from model.traits.likelihood import Likelihoods, mistakes
from model.traits.observer import MOST_MISTAKEN, Mistaken, Observer, check_mistakes, load_observer


def flower(states: int = 5, name: str = "build") -> Character:
    named = {f"s{i}": "so" for i in range(states)}
    return Character(
        id=name, kind="choice", effort="lens", part="flowers", question="?", look=".", otherwise=".", states=named
    )


def observer(*entries: tuple[list[str], float], error: float = 0.2, elsewhere: float = 0.25) -> Observer:
    shares = {"glance": 0.01, "handle": 0.01, "lens": error, "dig": 0.01}
    told = {"build": [Mistaken(states=states, share=share) for states, share in entries]}
    differs = {"taken_for": told, "error": shares, "elsewhere": elsewhere, "seldom": {}}
    return load_observer().model_copy(update=differs)


def named(of: Observer, states: int = 5) -> np.ndarray:
    asked = flower(states)
    return mistakes(asked, tuple(asked.states), of)


def test_slips_have_their_shares_and_the_rest_of_the_error_falls_elsewhere() -> None:
    found = named(observer((["s0", "s1"], 0.1), (["s1", "s2", "s3"], 0.05)))
    # For each state: what is left of the error where slips are told, never less than `elsewhere` of it; or all of it.
    rest, least, even = (0.2 - 0.1) / 5, 0.2 * 0.25 / 5, 0.2 / 5
    assert found == pytest.approx(np.array([
        [1 - 0.1 - 4 * rest, 0.1 + rest, rest, rest, rest],
        [0.1 + least, 1 - 0.2 - 4 * least, 0.05 + least, 0.05 + least, least],
        [rest, 0.05 + rest, 1 - 0.1 - 4 * rest, 0.05 + rest, rest],
        [rest, 0.05 + rest, 0.05 + rest, 1 - 0.1 - 4 * rest, rest],
        [even, even, even, even, 1 - 4 * even],
    ]))  # fmt: skip


def test_rows_sum_to_one_for_every_character_and_the_true_state_is_named_most(key: Key) -> None:
    for table in key.likelihoods.tables.values():
        found = mistakes(table.character, table.answers, key._observer)
        assert found.shape == (len(table.answers),) * 2 and (found > 0).all()
        assert found.sum(axis=1) == pytest.approx(np.ones(len(table.answers)))
        assert (found.argmax(axis=1) == np.arange(len(found))).all(), table.character.id
        assert (np.diag(found) >= 1 - MOST_MISTAKEN - key._observer.error[table.character.effort]).all()


def test_every_share_of_the_configuration_is_in_the_tables(key: Key) -> None:
    """And reaches the likelihood: a plant that always shows one state is taken for another as often as is told."""
    told = [
        (c, one, other, entry.share)
        for c, entries in key._observer.taken_for.items()
        for entry in entries
        for one in (entry.states[:1] if entry.one_way else entry.states)
        for other in entry.states
        if one != other
    ]
    assert len({entry[:3] for entry in told}) == len(told), "a pair is told twice, of which only the last would count"
    checked = 0
    for c, one, other, share in told:
        table = key.likelihoods.tables[c]
        assert key._observer.mistakes[c][one, other] == share
        assert table.mistaken is not None and table.mistaken[table.column(one), table.column(other)]
        error = key._observer.error[table.character.effort]
        slips = sum(entry[3] for entry in told if entry[:2] == (c, one))
        rest = max(error - slips, error * key._observer.elsewhere) / len(table.answers)
        for row in np.flatnonzero(table.known & table.applicable & (table.truth[:, table.column(one)] > 1 - 1e-12)):
            assert table.rows[row, table.column(other)] == pytest.approx(share + rest)
            assert table.fits[row, table.column(other)] == pytest.approx(share + rest)  # type: ignore[index]
            checked += 1
    assert checked > 1000
    for c, table in key.likelihoods.tables.items():
        pairs = key._observer.mistakes.get(c, {})
        assert (table.mistaken is None) == (table.character.kind != "choice")
        assert table.mistaken is None or int(table.mistaken.sum()) == len(pairs), "and nothing else is"


def test_tables_of_hypotheses_sum_to_one_or_to_the_error_where_there_is_no_such_part(key: Key) -> None:
    for age in ("unknown", "leaves", "flowers", "seeds"):
        for table in key.at(age).tables.values():
            sums = table.rows.sum(axis=1)
            error = key._observer.error[table.character.effort]
            assert sums[:-1][table.applicable] == pytest.approx(np.ones(table.applicable.sum()))
            assert sums[:-1][~table.applicable] == pytest.approx(np.full((~table.applicable).sum(), error))
            assert sums[-1] == pytest.approx(1.0) and (table.rows > 0).all()


def taken(of: Observer, name: str = "build") -> set[tuple[str, str]]:
    """Which state is taken for which in the tables of a flora of one plant."""
    flora: Any = SimpleNamespace(
        ids=("a",), characters={c: flower(name=c) for c in ("build", "colour")},
        species={"a": SimpleNamespace(characters={})}, is_applicable=lambda species, character: True,
    )  # fmt: skip
    mistaken = Likelihoods(flora, of).tables[name].mistaken
    assert mistaken is not None
    states = list(flower().states)
    return {(states[one], states[other]) for one, other in np.argwhere(mistaken)}


def test_what_is_taken_for_what_goes_both_ways_and_no_further() -> None:
    told = observer((["s0", "s1"], 0.1), (["s1", "s2"], 0.1))
    assert taken(told) == {("s0", "s1"), ("s1", "s0"), ("s1", "s2"), ("s2", "s1")}
    assert taken(told, "colour") == set()


def test_one_way_only_the_first_is_taken_for_those_behind_it() -> None:
    told = observer((["s0", "s3", "s1"], 0.1), (["s2", "s1"], 0.05))
    one_way = told.taken_for["build"][0].model_copy(update={"one_way": True})
    told = told.model_copy(update={"taken_for": {"build": [one_way, told.taken_for["build"][1]]}})
    assert told.mistakes["build"] == {("s0", "s3"): 0.1, ("s0", "s1"): 0.1, ("s2", "s1"): 0.05, ("s1", "s2"): 0.05}
    found = named(told)
    assert found[0, 3] == found[0, 1] == pytest.approx(0.1 + 0.2 * 0.25 / 5)
    assert found[3] == pytest.approx([0.04, 0.04, 0.04, 0.84, 0.04]), "of the others nothing is told by it"
    assert taken(told) == {("s0", "s3"), ("s0", "s1"), ("s2", "s1"), ("s1", "s2")}


# -- refused -----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("entries", "says"),
    [
        ([(["s0", "s7"], 0.1)], "has no state s7; "),
        ([(["s0", "s1"], 0.3), (["s0", "s2"], 0.21)], ": s0 is named correctly by fewer than half"),
        ([(["s3", "s4", "s1"], 0.26)], ": s1 is named correctly by fewer than half"),
    ],
)  # fmt: skip
def test_mistakes_that_cannot_be_are_refused(entries: Any, says: str) -> None:
    with pytest.raises(FloraError) as error:
        check_mistakes(observer(*entries), {"build": flower()})
    assert str(error.value).startswith("observer.yaml: taken_for build") and says in str(error.value)


def test_an_unknown_character_is_named_with_the_nearest() -> None:
    with pytest.raises(FloraError, match=r"observer.yaml: taken_for build is not a character; did you mean builds\?"):
        check_mistakes(observer((["s0", "s1"], 0.1)), {"builds": flower(name="builds")})
    number = Character(
        id="build", kind="number", effort="lens", part="leaves", question="?", look=".", otherwise=".", unit="mm",
        domain=(1, 9),
    )  # fmt: skip
    with pytest.raises(FloraError, match="taken_for build has no state s0"):
        check_mistakes(observer((["s0", "s1"], 0.1)), {"build": number})


def test_what_is_seldom_answered_must_be_a_character() -> None:
    told = observer().model_copy(update={"seldom": {"build": 0.5, "biuld": 0.5}})
    with pytest.raises(FloraError) as error:
        check_mistakes(told, {"build": flower()})
    assert str(error.value) == "observer.yaml: seldom biuld is not a character; did you mean build?"
    check_mistakes(told, {c: flower(name=c) for c in ("build", "biuld")})


@pytest.fixture
def copy(tmp_path: Path) -> Path:
    shutil.copy(CONFIGS / "observer.yaml", tmp_path / "observer.yaml")
    return tmp_path


BROKEN: dict[str, tuple[list[str | int], Any, str]] = {
    "one state": (["taken_for", "milky_sap", 0, "states"], ["present"], "taken_for: milky_sap 1: states"),
    "no share": (["taken_for", "milky_sap", 0, "share"], 0, "must be more than 0"),
    "all": (["taken_for", "milky_sap", 0, "share"], 1, "less than 1"),
    "unknown field": (["taken_for", "milky_sap", 0, "shares"], 0.1, "shares: no such field"),
    "unknown stage": (["age", "leaves", "fruiting"], 0.1, "age: leaves: fruiting"),
    "certain flowers": (["found", "flowers", "in_season"], 1, "less than 1"),
    "no seed ever": (["found", "seeds", "out_of_season"], 0, "must be more than 0"),
    "unknown part": (["found", "roots"], {"in_season": 0.5, "out_of_season": 0.1}, "found: roots"),
    "varies too much": (["varies"], 1.2, "varies: "),
    "together not at all": (["together"], 0, "together: "),
    "seldom is never": (["seldom", "life_span"], 0, "seldom: life_span: "),
    "seldom is always": (["seldom", "life_span"], 1, "seldom: life_span: "),
    "seldom left out": (["seldom"], None, "seldom: "),
    "unsure makes sure": (["after_unsure", "part"], 1.5, "after_unsure: part"),
    "unknown effort": (["answerable", "guess"], 0.5, "answerable: guess"),
}


@pytest.mark.parametrize("kind", BROKEN)
def test_a_broken_observer_file_is_named_with_the_field(copy: Path, kind: str) -> None:
    path, value, says = BROKEN[kind]
    whole = yaml.safe_load((copy / "observer.yaml").read_text(encoding="utf-8"))
    at: Any = whole
    for step in path[:-1]:
        at = at[step]
    at[path[-1]] = value
    (copy / "observer.yaml").write_text(yaml.safe_dump(whole), encoding="utf-8")
    with pytest.raises(FloraError) as error:
        load_observer(copy)
    message = str(error.value)
    assert message.startswith(str(copy / "observer.yaml")) and says in message and "\n" not in message


def test_the_shipped_observer_is_whole_and_sensible() -> None:
    told = load_observer()
    assert set(told.age) == {"leaves", "flowers", "seeds", "unknown"}
    for stages in told.age.values():
        assert set(stages) == {"flowering", "seeding"} and stages["seeding"] <= stages["flowering"]
    for stage in ("flowering", "seeding"):
        assert told.age["leaves"][stage] < told.age["unknown"][stage] < told.age["seeds"][stage]  # type: ignore[index]
    assert told.age["flowers"]["flowering"] > 0.5 > told.age["flowers"]["seeding"]
    assert (
        told.frequency["always"] >= told.frequency["usually"] > told.frequency["sometimes"] > told.frequency["rarely"]
    )
    assert told.together <= told.varies <= 1
    for shares in (told.error, told.answerable, told.cost):
        assert set(shares) == {"glance", "handle", "lens", "dig"}
