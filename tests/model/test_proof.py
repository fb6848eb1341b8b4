"""Whether a name is proven: each rule at its limit, slips, look-alikes, and what one answer taken away leaves."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from model.flora import Character
from model.flora.species import LookAlike
from model.identify import Key, Observation
from model.proof import (
    CONFIRMED,
    KEPT,
    LEADS,
    LIKELY,
    RELATIVE_LIKELY,
    Proof,
    least_kept,
    normalised,
    outside_left,
    unseparated,
)
from model.traits import check_answers
from model.traits.likelihood import MISREAD, USUAL, Likelihoods, Table
from model.traits.question import SEPARATES
from tests.model.test_question import SAP, SMELL, character, tables

HAIR = 1e-12


def taken_for(name: str, *separate_by: str, outside: bool = True) -> LookAlike:
    """A plant that is taken for another: outside the flora, or in it."""
    of: Any = {"outside": name} if outside else {"species": name}
    return LookAlike(separate_by=list(separate_by), note="so", source=["CP"], standing="common practice", **of)


STANDS = Proof(sure=1.0, unlisted=0.0, relative=0.0, left=(), outside=(), kept=1.0, hangs_on="sap", provable=True)


# -- the status --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("differs", "status"),
    [
        ({}, "confirmed"),
        ({"sure": CONFIRMED}, "confirmed"),
        ({"sure": CONFIRMED - HAIR}, "likely"),
        ({"sure": LIKELY}, "likely"),
        ({"sure": LIKELY - HAIR}, "undecided"),
        ({"kept": KEPT}, "confirmed"),
        ({"kept": KEPT - HAIR}, "likely"),
        ({"kept": 0.0}, "likely"),
        ({"left": (3,)}, "likely"),
        ({"outside": (taken_for("x", "sap"),)}, "likely"),
        ({"outside": (taken_for("x", "sap"),), "sure": LIKELY - HAIR}, "undecided"),
        ({"provable": False}, "likely"),
        ({"relative": 1 - CONFIRMED}, "confirmed"),
        ({"relative": 1 - CONFIRMED + HAIR}, "likely"),
        ({"relative": RELATIVE_LIKELY - HAIR}, "likely"),
        ({"relative": RELATIVE_LIKELY}, "undecided"),
        ({"sure": LIKELY, "relative": RELATIVE_LIKELY}, "undecided"),
        ({"unlisted": LEADS - HAIR}, "confirmed"),
        ({"unlisted": LEADS}, "unlisted"),
        ({"unlisted": LEADS, "sure": 0.0, "kept": 0.0, "provable": False}, "unlisted"),
        ({"hangs_on": None}, "confirmed"),
    ],
)
def test_each_rule_at_its_limit(differs: dict[str, Any], status: str) -> None:
    assert replace(STANDS, **differs).status == status


# -- look-alikes -------------------------------------------------------------------------------------


def of(*asked: Any, alike: tuple[str, ...] = ("b", "c"), **more: Any) -> tuple[Likelihoods, Any]:
    made = tables(*asked, **more)
    flora = SimpleNamespace(ids=("a", "b", "c"), look_alikes={"a": alike, "b": ("a",), "c": ("a",)})
    return made, flora


def answered(*names: str) -> Any:
    return {name: (f"{name}_0",) for name in names}


def table_of(one: float, other: float) -> list[list[float]]:
    return [[one, 1 - one], [other, 1 - other], [other, 1 - other], [0.5, 0.5]]


TAKEN_FOR_ANOTHER = [[False, True], [True, False]]


def test_two_answers_exclude_a_look_alike_where_each_may_be_a_slip() -> None:
    slips = dict.fromkeys(("smell", "sap", "edge"), TAKEN_FOR_ANOTHER)
    made, flora = of(
        (character("smell"), SAP), (character("sap"), SAP), (character("edge"), [[0.98, 0.02]] * 4), slips=slips
    )
    assert unseparated(made, flora, {}, 0) == (1, 2)
    assert unseparated(made, flora, answered("smell"), 0) == (1, 2), "one slip is not enough"
    assert unseparated(made, flora, answered("edge", "smell"), 0) == (1, 2), (
        "an answer that tells nothing does not help"
    )
    assert unseparated(made, flora, answered("smell", "sap"), 0) == ()
    assert unseparated(made, flora, {"smell": ("smell_0",), "sap": ()}, 0) == (1, 2), "nor does unsure"
    assert unseparated(made, flora, {"smell": ("smell_0",), "sap": ("sap_1",)}, 0) == (1, 2), "nor one against it"


def test_one_answer_excludes_a_look_alike_where_it_is_not_a_slip() -> None:
    made, flora = of((character("sap"), SAP))
    assert unseparated(made, flora, answered("sap"), 0) == ()
    assert unseparated(made, flora, answered("sap"), 1) == (0,), "the lead must be the one that it speaks for"
    made, flora = of((character("sap"), SAP), slips={"sap": [[False, False], [True, False]]})
    assert unseparated(made, flora, answered("sap"), 0) == (1, 2), "the second state is taken for the first"
    made, flora = of((character("sap"), SAP), slips={"sap": [[False, True], [False, False]]})
    assert unseparated(made, flora, answered("sap"), 0) == (), "that the first is taken for the second is no matter"


def test_for_the_second_of_two_all_other_answers_together_do_as_well() -> None:
    slips = dict.fromkeys(("smell", "sap", "edge"), TAKEN_FOR_ANOTHER)

    def left(*rest: float) -> tuple[int, ...]:
        """The sap tells b by a slip; the others fit `a` so many times better."""
        rows = [[[0.4, 0.6], [0.4 / times, 1 - 0.4 / times], [0.4, 0.6], [0.5, 0.5]] for times in rest]
        asked = zip(("smell", "edge"), rows, strict=False)
        made, flora = of((character("sap"), SAP), *((character(c), r) for c, r in asked), slips=slips, alike=("b",))
        return unseparated(made, flora, answered(*made.tables), 0)

    half = SEPARATES**0.5
    assert left() == left(1.0) == left(half) == (1,)
    assert left(half * 1.001, half) == () and left(half * 0.999, half) == (1,)
    assert left(SEPARATES * 1.001, 0.9) == (), "two that tell do, whatever the rest says"
    assert left(SEPARATES * 0.999, 1 / 1.5) == (1,), "what speaks for the other counts against"


def test_many_weak_answers_exclude_nothing_without_a_strong_one() -> None:
    rows = [[0.8, 0.2], [0.8 / (SEPARATES - 1), 1 - 0.8 / (SEPARATES - 1)], [0.8, 0.2], [0.5, 0.5]]
    names = [f"c{i}" for i in range(5)]
    made, flora = of(*((character(c), rows) for c in names), alike=("b",))
    assert unseparated(made, flora, answered(*names), 0) == (1,)


def test_each_look_alike_is_excluded_by_itself() -> None:
    """The smell is a slip of b alone, and tells c for good; d is no look-alike."""
    rows = [[0.9, 0.05, 0.05], [0.05, 0.9, 0.05], [0.05, 0.05, 0.9], [0.3, 0.3, 0.4]]
    slips = {"smell": [[False] * 3, [True, False, False], [False] * 3]}
    made, flora = of((character("smell", states=3), rows), slips=slips)
    assert unseparated(made, flora, answered("smell"), 0) == (1,)
    made, flora = of((character("smell", states=3), rows), slips=slips, alike=("c",))
    assert unseparated(made, flora, {}, 0) == (2,)


def test_four_to_one_separates_and_less_does_not() -> None:
    for other, left in ((0.8 / SEPARATES, ()), (0.8 / SEPARATES + 1e-9, (1, 2))):
        made, flora = of((character("smell"), table_of(0.8, other)))
        # What is usual of the other is no slip but no proof either: here it is too rare for that.
        made.tables["smell"] = replace(made.tables["smell"], truth=np.array([[1, 0], [0, 1], [0, 1]], dtype=float))
        assert unseparated(made, flora, answered("smell"), 0) == left


@pytest.mark.parametrize(
    ("known", "applicable", "left"),
    [(True, True, ()), (False, True, (1,)), (True, False, ()), (False, False, ())],
    ids=["described", "not described", "lacking", "lacking and not described"],
)
def test_an_answer_counts_only_where_the_look_alike_is_described_or_lacks_the_part(
    known: bool, applicable: bool, left: tuple[int, ...]
) -> None:
    made, flora = of((character("sap"), SAP), alike=("b",))
    flags = {"known": np.array([True, known, True]), "applicable": np.array([True, applicable, True])}
    made.tables["sap"] = replace(made.tables["sap"], **flags)
    assert unseparated(made, flora, answered("sap"), 0) == left
    # Of the lead it does not matter: what it does not show in its file is no better told.
    of_lead = {"known": np.array([False, True, True]), "applicable": np.array([True, True, True])}
    made.tables["sap"] = replace(made.tables["sap"], **of_lead)
    assert unseparated(made, flora, answered("sap"), 0) == ()


# -- look-alikes outside the flora -------------------------------------------------------------------


def with_file(*entries: LookAlike) -> tuple[Likelihoods, Any]:
    """Sap, smell and edge; `a` shows the first state of each, and its file names what it is taken for."""
    made, flora = of(*[(character(c), SAP) for c in ("sap", "smell", "edge")])
    first = np.array([[True, False], [False, True], [False, True]])
    made.tables = {c: replace(table, in_file=first) for c, table in made.tables.items()}
    flora.species = {"a": SimpleNamespace(look_alikes=list(entries)), "b": SimpleNamespace(look_alikes=[])}
    return made, flora


def test_a_look_alike_outside_the_flora_is_excluded_by_one_agreeing_answer_that_separates_the_two() -> None:
    x, y = taken_for("x", "sap", "smell"), taken_for("y", "edge")
    made, flora = with_file(x, y)
    assert outside_left(made, flora, {}, 0) == (x, y), "as the file has them"
    assert outside_left(made, flora, answered("sap"), 0) == (y,), "any one of those that are named"
    assert outside_left(made, flora, answered("smell"), 0) == (y,)
    assert outside_left(made, flora, answered("edge"), 0) == (x,), "an answer on anything else tells nothing of it"
    assert outside_left(made, flora, answered("sap", "edge"), 0) == ()


def test_unsure_or_an_answer_against_the_plant_excludes_nothing_outside_the_flora() -> None:
    x = taken_for("x", "sap")
    made, flora = with_file(x)
    assert outside_left(made, flora, {"sap": ()}, 0) == (x,)
    assert outside_left(made, flora, {"sap": ("sap_1",)}, 0) == (x,)
    assert outside_left(made, flora, {"sap": ("sap_0", "sap_1")}, 0) == (), "one of the two is in the file"
    for flags in ({"known": np.zeros(3, dtype=bool)}, {"applicable": np.zeros(3, dtype=bool)}):
        unknown, _ = with_file(x)
        unknown.tables["sap"] = replace(unknown.tables["sap"], **flags)
        assert outside_left(unknown, flora, answered("sap"), 0) == (x,), "nothing agrees where nothing is known"


def test_only_the_file_of_the_lead_names_what_is_outside_and_what_is_in_the_flora_is_not() -> None:
    made, flora = with_file(taken_for("b", "sap", outside=False), taken_for("x", "sap"))
    assert [entry.outside for entry in outside_left(made, flora, {}, 0)] == ["x"]
    assert outside_left(made, flora, {}, 1) == ()


def test_look_alikes_outside_the_flora_are_excluded_by_the_plants_own_answers(key: Key) -> None:
    """Of every file that names one: nothing told leaves it, and what is typical of the plant on one character tells."""
    named = 0
    for row, species in enumerate(key.flora.ids):
        entries = [e for e in key.flora.species[species].look_alikes if e.outside is not None]
        assert list(outside_left(key.likelihoods, key.flora, {}, row)) == entries
        named += len(entries)
        for entry in entries:
            for name in entry.separate_by:
                table = key.likelihoods.tables[name]
                typical = table.answers[int(table.truth[row].argmax())]
                answers: Any = {name: (typical,) if isinstance(typical, str) else typical}
                told = entry not in outside_left(key.likelihoods, key.flora, answers, row)
                assert told == bool(table.known[row] and table.applicable[row]), (species, name)
    assert named > 50


# -- slips -------------------------------------------------------------------------------------------


WIDTH = Character(
    id="width", kind="number", effort="glance", part="leaves", question="?", look=".", otherwise=".", unit="mm",
    domain=(1, 8),
)  # fmt: skip


def choice(truth: list[float], mistaken: list[tuple[int, int]]) -> Table:
    states = len(truth)
    pairs = np.zeros((states, states), dtype=bool)
    for one, other in mistaken:
        pairs[one, other] = True
    one = character("edge", states=states)
    return Table(
        one, tuple(one.states), np.array([truth]), np.array([truth, truth]), *[np.array([True])] * 2, mistaken=pairs
    )


def test_a_slip_is_what_is_usual_or_is_taken_for_it() -> None:
    plain = choice([0.0, 1.0, 0.0, 0.0], [(1, 2), (3, 0)])
    assert [plain.is_slip((f"edge_{i}",), 0) for i in range(4)] == [False, True, True, False]
    # What is shown too rarely is neither itself usual nor anything that others are taken for.
    for share, slips in ((USUAL, True), (USUAL - 1e-9, False)):
        varied = choice([share, 1.0, 0.0, 0.0], [(0, 3)])
        assert varied.is_slip(("edge_0",), 0) is slips and varied.is_slip(("edge_3",), 0) is slips
    # Of several states, all must be.
    assert plain.is_slip(("edge_1", "edge_2"), 0) and not plain.is_slip(("edge_1", "edge_0"), 0)


def test_a_reading_is_a_slip_where_people_misread_so_far() -> None:
    for density, slip in ((MISREAD, True), (MISREAD * 0.99, False)):
        truth = np.array([[density, 1.0, 0.2, 0.0]])
        table = Table(WIDTH, (1.0, 2.0, 4.0, 8.0), truth, np.vstack([truth, truth]), *[np.array([True])] * 2)
        assert table.is_slip(1.0, 0) is slip and table.is_slip(2.0, 0) and table.is_slip(4.0, 0)
        assert not table.is_slip(8.0, 0)


def test_nothing_is_a_slip_of_a_plant_that_lacks_the_part() -> None:
    for answer in (("edge_0",), ("edge_1",), ("edge_0", "edge_1")):
        table = choice([0.5, 0.5], [(0, 1), (1, 0)])
        assert table.is_slip(answer, 0)
        assert not replace(table, applicable=np.array([False])).is_slip(answer, 0)
    truth = np.array([[0.5, 0.5]])
    lacking = Table(WIDTH, (1.0, 8.0), truth, np.vstack([truth, truth]), np.array([True]), np.array([False]))
    assert not lacking.is_slip(1.0, 0) and replace(lacking, applicable=np.array([True])).is_slip(1.0, 0)


def test_one_answer_on_a_part_that_the_look_alike_lacks_excludes_it() -> None:
    rows = [[0.98, 0.02], [0.01, 0.01], [0.02, 0.98], [0.5, 0.5]]
    made, flora = of((character("sap"), rows), slips={"sap": TAKEN_FOR_ANOTHER}, lacking={"sap": [1]})
    assert unseparated(made, flora, answered("sap"), 0) == (2,), "of c the answer may be a slip"


def test_confusable_states_of_the_flora_do_not_separate_alone(key: Key) -> None:
    """A dandelion head that is called a daisy does not by itself tell a capeweed from a dandelion; umbels, panicles."""
    build = key.likelihoods.tables["flower_build"]
    assert build.is_slip(("daisy",), key.index["taraxacum_officinale"])
    assert not build.is_slip(("pea",), key.index["taraxacum_officinale"])
    for name, told in key._observer.taken_for.items():
        table = key.likelihoods.tables[name]
        for entry in told:
            for shown in entry.states[:1] if entry.one_way else entry.states:
                rows = np.flatnonzero(table.known & table.applicable & (table.truth[:, table.column(shown)] > 0.99))
                assert all(table.is_slip((state,), row) for state in entry.states for row in rows)


# -- what is left without one answer -------------------------------------------------------------------


def test_the_answer_that_is_missed_most_is_named_with_what_is_left() -> None:
    made, _ = of((character("smell"), SMELL), (character("sap"), SAP))
    answers: Any = {"smell": ("smell_0",), "sap": ("sap_0",)}
    logs = np.log([0.4, 0.3, 0.2, 0.1]) + np.log(np.array(SMELL)[:, 0]) + np.log(np.array(SAP)[:, 0])
    without_sap = np.array([0.4, 0.3, 0.2, 0.1]) * np.array(SMELL)[:, 0]
    without_smell = np.array([0.4, 0.3, 0.2, 0.1]) * np.array(SAP)[:, 0]
    kept, hangs_on = least_kept(made, logs, answers, 0)
    assert (kept, hangs_on) == (pytest.approx(without_sap[0] / without_sap.sum()), "sap")
    # Of another plant another answer may be missed more: the sap speaks against b.
    kept, hangs_on = least_kept(made, logs, answers, 1)
    assert (kept, hangs_on) == (pytest.approx(min(
        without_sap[1] / without_sap.sum(), without_smell[1] / without_smell.sum()
    )), "smell")  # fmt: skip
    assert least_kept(made, logs + 7.0, answers, 0) == pytest.approx((without_sap[0] / without_sap.sum(), "sap"))


def test_unsure_is_not_missed_and_without_answers_nothing_is_kept() -> None:
    made, _ = of((character("smell"), SMELL), (character("sap"), SAP))
    logs = np.log([0.97, 0.01, 0.01, 0.01])
    assert least_kept(made, logs, {}, 0) == (0.0, None)
    assert least_kept(made, logs, {"smell": (), "sap": ()}, 0) == (0.0, None)
    kept, hangs_on = least_kept(made, logs, {"smell": (), "sap": ("sap_0",)}, 0)
    rest = np.array([0.97, 0.01, 0.01, 0.01]) / np.array(SAP)[:, 0]
    assert (kept, hangs_on) == (pytest.approx(rest[0] / rest.sum()), "sap")


def test_a_name_that_is_certain_without_any_answer_still_names_the_one_that_counts() -> None:
    """Also where nothing is lost at all: no answer is not the same as one that is not missed."""
    made, _ = of((character("smell"), SMELL), (character("sap"), SAP))
    logs = np.array([0.0, -2000.0, -2000.0, -2000.0])
    assert least_kept(made, logs, {"smell": (), "sap": ("sap_0",)}, 0) == (1.0, "sap")
    assert least_kept(made, logs, answered("smell", "sap"), 0) == (1.0, "smell")


def test_taking_an_answer_away_is_not_having_given_it(key: Key) -> None:
    answers = check_answers(
        key.flora.characters,
        {"leaf_build": "finely_cut", "flower_build": "button", "leaf_hairs": "soft", "plant_height": 4},
    )
    lead = key.index["soliva_sessilis"]
    seen = Observation(answers, month=9, visible=("leaves", "flowers"))
    kept, hangs_on = least_kept(key.at("flowers"), key.logs(seen), answers, lead)
    others = {c: {k: a for k, a in answers.items() if k != c} for c in answers}
    left = {c: float(key.posterior(replace(seen, answers=some))[lead]) for c, some in others.items()}
    assert hangs_on == min(left, key=lambda c: left[c]) and kept == pytest.approx(min(left.values()))


def test_probabilities_from_logarithms() -> None:
    assert normalised(np.log([1.0, 2.0, 5.0]) - 900.0) == pytest.approx([0.125, 0.25, 0.625])
    assert normalised(np.array([0.0, -2000.0])) == pytest.approx([1.0, 0.0])
