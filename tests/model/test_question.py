"""Which question comes next, on a flora of three made-up species whose every number can be counted again."""

from __future__ import annotations

import math
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from model.flora.character import Character
from model.interview import Interview
from model.traits.likelihood import Likelihoods, Table
from model.traits.observer import AfterUnsure, load_observer
from model.traits.question import (
    LEAST_APPLICABLE,
    LEAST_BITS,
    Question,
    expected_bits,
    next_question,
    separation_chance,
    settling_chance,
)
from model.traits.relative import LEAST_EVIDENCE

Array = NDArray[np.float64]
EVEN = np.array([0.3, 0.3, 0.3, 0.1])
# P(answer | species), the last row is a plant that is not listed.
SMELL = [[0.9, 0.1], [0.9, 0.1], [0.1, 0.9], [0.5, 0.5]]
SAP = [[0.98, 0.02], [0.02, 0.98], [0.02, 0.98], [0.5, 0.5]]
EDGE = [[0.5, 0.3, 0.2], [0.2, 0.5, 0.3], [0.3, 0.3, 0.4], [1 / 3, 1 / 3, 1 / 3]]


def character(
    name: str, effort: Any = "glance", states: int = 2, gated: bool | str = False, part: Any = "leaves"
) -> Character:
    """A choice; ``gated`` by another character, or, where that is only true, by one that is not asked."""
    gate = {} if not gated else {"part" if gated is True else gated: ["there"]}
    many = {f"{name}_{i}": "so" for i in range(states)}
    groups = {f"group_{i}": {"text": "some", "states": list(many)[i::2]} for i in range(2)} if states > 8 else {}
    return Character(
        id=name, kind="choice", effort=effort, part=part, question=f"{name}?", look="look", otherwise="no",
        states=many, groups=groups, applies_when=gate,
    )  # fmt: skip


PLAIN = {
    "cost": {"glance": 1.0, "handle": 2.0, "lens": 4.0, "dig": 6.0},
    "reading": 1.5,
    "answerable": dict.fromkeys(("glance", "handle", "lens", "dig"), 1.0),
    "second_tap": 1.0,
    "seldom": {},
    "after_unsure": AfterUnsure.model_construct(part=1.0, effort=1.0, gate=1.0),
    "settling": 0.0,
}  # somebody who can answer everything, however often unsure


def tables(
    *asked: tuple[Character, list[list[float]]],
    lacking: dict[str, list[int]] | None = None,
    slips: dict[str, list[list[bool]]] | None = None,
    **observer: Any,
) -> Likelihoods:
    """The tables of these characters; ``lacking`` names the species (rows) that lack the part asked about.

    ``slips``: which state is known to be taken for which, none unless told. ``observer``: how that of PLAIN differs.
    """
    made = object.__new__(Likelihoods)
    made.flora = SimpleNamespace(characters={c.id: c for c, _ in asked}, ids=("a", "b", "c"))  # type: ignore[assignment]
    made.observer = load_observer().model_copy(update={**PLAIN, **observer})
    made.age = "unknown"
    made.tables = {}
    for c, rows in asked:
        has = np.array([i not in (lacking or {}).get(c.id, []) for i in range(3)])
        p = np.array(rows)
        mistaken = np.array((slips or {}).get(c.id, np.zeros((len(c.states),) * 2)), dtype=bool)
        known = np.ones(3, dtype=bool)
        made.tables[c.id] = Table(c, tuple(c.states), p[:-1], p, known, has, mistaken=mistaken)
    return made


def information(probability: Array, rows: Array) -> float:
    """Mutual information in bits, from its definition, one product at a time."""
    total = 0.0
    for h, p in enumerate(probability):
        for a in range(rows.shape[1]):
            joint, answer = p * rows[h, a], sum(q * r for q, r in zip(probability, rows[:, a], strict=True))
            if joint > 0:
                total += joint * math.log2(joint / answer / p)
    return total


def test_expected_bits_are_the_mutual_information_of_each_question() -> None:
    asked = tables((character("smell"), SMELL), (character("edge", states=3), EDGE), (character("sap"), SAP))
    for probability in (EVEN, np.array([0.7, 0.2, 0.05, 0.05]), np.array([0.0, 0.6, 0.4, 0.0])):
        found = expected_bits(asked, probability)
        assert found == pytest.approx([information(probability, np.array(rows)) for rows in (SMELL, EDGE, SAP)])


def test_an_answer_of_unsure_brings_nothing() -> None:
    """A species that lacks the part answers unsure nine times in ten; what is gained is gained by the other answers."""
    rows = np.array([[0.9, 0.1], [0.05, 0.05], [0.1, 0.9], [0.5, 0.5]])

    def entropy(p: Array) -> float:
        return float(-(p * np.log2(p)).sum())

    gained = 0.0
    for a in range(2):
        joint = EVEN * rows[:, a]
        gained += joint.sum() * (entropy(EVEN) - entropy(joint / joint.sum()))
    assert expected_bits(tables((character("smell"), rows.tolist())), EVEN) == pytest.approx([gained])


def settles(probability: Array, rows: Array) -> float:
    chance = 0.0
    for a in range(rows.shape[1]):
        joint = probability * rows[:, a]
        if joint.max() >= 0.95 * joint.sum():
            chance += joint.sum()
    return chance


def test_the_chance_to_settle_is_that_of_answers_after_which_one_name_has_0_95() -> None:
    asked = tables((character("smell"), SMELL), (character("edge", states=3), EDGE), (character("sap"), SAP))
    for probability in (EVEN, np.array([0.6, 0.2, 0.19, 0.01]), np.array([0.9, 0.04, 0.05, 0.01])):
        found = settling_chance(asked, probability)
        assert found == pytest.approx([settles(probability, np.array(rows)) for rows in (SMELL, EDGE, SAP)])
    # The milky sap settles the first in 60 of 100 plants, nothing else does.
    assert settling_chance(asked, np.array([0.6, 0.2, 0.19, 0.01]))[2] == pytest.approx(0.6 * 0.98 + 0.0128)
    # A name that is settled already stays so whatever is answered but the sap.
    assert settling_chance(asked, np.array([1.0, 0.0, 0.0, 0.0])) == pytest.approx([1.0, 1.0, 1.0])


def test_exactly_0_95_settles() -> None:
    rows = [[0.5, 0.5]] * 4
    asked = tables((character("coin"), rows))
    assert settling_chance(asked, np.array([0.95, 0.05, 0.0, 0.0])) == pytest.approx([1.0])
    assert settling_chance(asked, np.array([0.9499, 0.0501, 0.0, 0.0])) == pytest.approx([0.0])


def test_separation_counts_the_look_alikes_excluded_at_four_to_one() -> None:
    asked = tables((character("smell"), SMELL), (character("edge", states=3), EDGE), (character("sap"), SAP))
    assert separation_chance(asked, 0, [1, 2]) == pytest.approx([0.9, 0.0, 1.96])
    assert separation_chance(asked, 2, [0]) == pytest.approx([0.9, 0.0, 0.98])
    assert separation_chance(asked, 0, []) == pytest.approx([0.0, 0.0, 0.0])
    four = tables((character("four"), [[0.8, 0.2], [0.2, 0.8], [0.21, 0.79], [0.5, 0.5]]))
    assert separation_chance(four, 0, [1, 2]) == pytest.approx([0.8])


# -- the choice -----------------------------------------------------------------------------------


def chosen(asked: Likelihoods, probability: Array = EVEN, answers: Any = None, **more: Any) -> str | None:
    found = next_question(asked, probability, answers or {}, **more)
    return found and found.character.id


def test_the_most_information_for_the_time_is_asked() -> None:
    glances = tables((character("smell"), SMELL), (character("sap"), SAP), (character("edge", states=3), EDGE))
    found = next_question(glances, EVEN, {})
    assert found is not None and found.character.id == "sap"
    assert found == Question(glances.flora.characters["sap"], found.bits)
    assert found.bits == pytest.approx(information(EVEN, np.array(SAP)))
    # Reading takes 1.5 glances: to dig costs 7.5 against 2.5, more than the sap is better.
    dug = tables((character("smell"), SMELL), (character("sap", "dig"), SAP))
    assert chosen(dug) == "smell"


def test_what_was_answered_or_left_unsure_is_not_asked_again() -> None:
    asked = tables((character("smell"), SMELL), (character("sap"), SAP))
    assert chosen(asked, answers={"sap": ("sap_0",)}) == "smell"
    assert chosen(asked, answers={"sap": ()}) == "smell"
    assert chosen(asked, answers={"sap": (), "smell": ()}) is None


def test_a_question_that_may_settle_the_name_is_worth_more() -> None:
    """Two questions of like information: the one that can settle goes first, if settling is worth anything."""
    sure = [[0.999, 0.001], [0.5, 0.5], [0.5, 0.5], [0.5, 0.5]]
    split = [[0.9, 0.1], [0.1, 0.9], [0.1, 0.9], [0.1, 0.9]]
    probability = np.array([0.9, 0.05, 0.04, 0.01])
    for settling, name in ((0.0, "split"), (50.0, "sure")):
        asked = tables((character("split"), split), (character("sure"), sure), settling=settling)
        bits, settled = expected_bits(asked, probability), settling_chance(asked, probability)
        worth = dict(zip(("split", "sure"), bits + settling * settled, strict=True))
        assert chosen(asked, probability) == max(worth, key=lambda one: worth[one])
        if settling == 0.0:
            assert chosen(asked, probability) == name


def test_a_question_of_too_few_bits_is_not_worth_asking() -> None:
    def asked(lean: float) -> Likelihoods:
        return tables((character("coin"), [[0.5 + lean, 0.5 - lean], *[[0.5, 0.5]] * 3]), settling=5.0)

    def bits(lean: float) -> float:
        return float(expected_bits(asked(lean), EVEN)[0])

    low, high = 0.0, 0.5
    for _ in range(40):
        middle = (low + high) / 2
        low, high = (middle, high) if bits(middle) < LEAST_BITS else (low, middle)
    assert LEAST_BITS == 0.03
    assert chosen(asked(high + 1e-6)) == "coin" and chosen(asked(low - 1e-6)) is None
    # That it would settle the name does not help it: the name is as good as known then.
    assert chosen(asked(0.0), np.array([0.999, 0.001, 0.0, 0.0])) is None


def test_most_of_what_is_listed_and_probable_must_have_the_part_asked_about() -> None:
    asked = tables((character("sap"), SAP), (character("smell"), SMELL), lacking={"sap": [1]})
    assert 0.5 < LEAST_APPLICABLE < 1
    for share, name in ((LEAST_APPLICABLE + 1e-9, "sap"), (LEAST_APPLICABLE - 1e-9, "smell")):
        listed = np.array([0.75 * share, 1 - share, 0.25 * share])
        for unlisted in (0.0, 0.5):  # which counts for neither
            assert chosen(asked, np.append(listed * (1 - unlisted), unlisted)) == name
    assert chosen(asked, np.array([0.0, 0.0, 0.0, 1.0])) is None


def test_after_two_unsure_about_parts_only_what_every_plant_has_is_asked() -> None:
    asked = tables(
        (character("petal", gated=True), SAP), (character("awn", gated=True), SAP), (character("sap", gated=True), SAP),
        (character("smell"), SMELL), (character("edge", states=3), EDGE),
    )  # fmt: skip
    assert chosen(asked, answers={"petal": ()}) == "awn"
    assert chosen(asked, answers={"petal": (), "awn": ()}) == "smell"
    assert chosen(asked, answers={"smell": ("smell_0",), "petal": (), "awn": ()}) == "edge", "still not asked twice"
    # Only the latest two count, both must be unsure, and both about parts.
    assert chosen(asked, answers={"petal": (), "awn": (), "edge": ("edge_0",)}) == "sap"
    assert chosen(asked, answers={"petal": (), "awn": ("awn_0",)}) == "sap"
    assert chosen(asked, answers={"petal": (), "edge": ()}) == "awn"
    assert chosen(asked, answers={"edge": ("edge_0",), "petal": (), "awn": ()}) == "smell"
    assert chosen(asked, answers={"petal": ("petal_0",), "awn": ()}) == "sap"


LEAD = np.array([0.97, 0.01, 0.01, 0.01])


def test_look_alikes_not_yet_excluded_come_first() -> None:
    asked = tables((character("edge", states=3), EDGE), (character("smell"), SMELL), (character("sap"), SAP))
    # The smell does not tell the first two, which only the sap does; both tell the third.
    assert chosen(asked, LEAD, unseparated=[1]) == "sap"
    assert chosen(asked, LEAD, unseparated=[2]) == "sap"
    assert chosen(asked, LEAD, {"sap": ()}, unseparated=[2]) == "smell"
    found = next_question(asked, LEAD, {}, [1])
    assert found is not None and found.bits == pytest.approx(information(LEAD, np.array(SAP)))
    # The last of the listed leads: the smell tells the first two from it, the sap only the first.
    last = np.array([0.01, 0.01, 0.97, 0.01])
    assert separation_chance(asked, 2, [0, 1]) == pytest.approx([0.0, 1.8, 0.98])
    assert chosen(asked, last, unseparated=[0, 1]) == "smell"
    # Where digging is needed for the sap, the smell is the quicker way.
    dug = tables((character("smell"), SMELL), (character("sap", "dig"), SAP))
    assert chosen(dug, LEAD, unseparated=[2]) == "smell"


def test_a_question_that_hardly_separates_is_left_for_the_most_informative() -> None:
    def asked(own: float) -> Likelihoods:
        """The awn tells 2 from 0 by its first answer, which 0 gives with ``own``; the smell tells more in bits."""
        awn = [[own, 1 - own], [own, 1 - own], [own / 5, 1 - own / 5], [own, 1 - own]]
        return tables((character("awn"), awn), (character("smell"), [[0.9, 0.1], [0.4, 0.6], [0.4, 0.6], [0.3, 0.7]]))

    even = np.array([0.4, 0.3, 0.2, 0.1])
    assert chosen(asked(0.21), even, unseparated=[2]) == "awn"
    assert chosen(asked(0.20), even, unseparated=[2]) == "smell"
    assert chosen(asked(0.21), even, {"awn": ()}, unseparated=[2]) == "smell"


def test_evidence_against_a_relative_comes_after_look_alikes_and_before_the_rest() -> None:
    asked = tables((character("edge", states=3), EDGE), (character("smell"), SMELL), (character("sap"), SAP))
    assert chosen(asked, LEAD, evidence=np.array([0.3, 0.2, 0.1])) == "edge"
    assert chosen(asked, LEAD, {"edge": ()}, evidence=np.array([0.3, 0.2, 0.1])) == "smell"
    assert chosen(asked, LEAD, unseparated=[1], evidence=np.array([0.3, 0.2, 0.1])) == "sap"
    found = next_question(asked, LEAD, {}, (), np.array([0.3, 0.2, 0.1]))
    assert found is not None and found.bits == pytest.approx(information(LEAD, np.array(EDGE)))
    # By its time: digging takes three times as long as a glance.
    dug = tables((character("sap", "dig"), SAP), (character("smell"), SMELL))
    assert chosen(dug, LEAD, evidence=np.array([0.3, 0.11])) == "smell"
    assert chosen(dug, LEAD, evidence=np.array([0.3, 0.09])) == "sap"
    # Too little to be worth asking: what brings most bits is asked, if anything does.
    assert LEAST_EVIDENCE == 0.02
    even = np.array([0.4, 0.3, 0.2, 0.1])
    assert chosen(asked, even, evidence=np.array([0.02, 0.0, 0.0])) == "edge"
    assert chosen(asked, even, evidence=np.array([0.0199, 0.0, 0.0])) == "sap"
    # A certain name brings no bits, which is no reason not to ask.
    certain = next_question(asked, np.array([1.0, 0.0, 0.0, 0.0]), {}, (), np.array([0.3, 0.2, 0.1]))
    assert certain is not None and certain.character.id == "edge" and 0.0 <= certain.bits < 1e-9


def test_of_a_settled_name_only_what_proves_it_is_asked() -> None:
    asked = tables((character("edge", states=3), EDGE), (character("smell"), SMELL), (character("sap"), SAP))
    assert chosen(asked, settled=False) == "sap" and chosen(asked, settled=True) is None
    assert chosen(asked, LEAD, unseparated=[1], settled=True) == "sap"
    assert chosen(asked, LEAD, evidence=np.array([0.3, 0.2, 0.1]), settled=True) == "edge"
    least = np.array([LEAST_EVIDENCE, 0.0, 0.0])
    assert chosen(asked, EVEN, evidence=least, settled=True) == "edge"
    assert chosen(asked, EVEN, evidence=least * 0.99, settled=True) is None
    assert chosen(asked, EVEN, {"sap": ()}, unseparated=[1], settled=True) is None, "nothing else tells the two apart"


def test_the_lead_is_a_listed_species_and_separating_needs_no_bits() -> None:
    """`unlisted` may outweigh all: the look-alikes are still those of the best listed species."""
    asked = tables((character("smell"), SMELL), (character("sap"), SAP))
    found = next_question(asked, np.array([0.1, 0.05, 0.0, 0.85]), {}, [1])
    assert found is not None and found.character.id == "sap"
    certain = next_question(asked, np.array([1.0, 0.0, 0.0, 0.0]), {}, [1])
    assert certain is not None and certain.character.id == "sap" and certain.bits == pytest.approx(0.0, abs=1e-12)
    assert certain.bits >= 0.0


# -- whether a person can answer --------------------------------------------------------------------

ALIKE = {"cost": dict.fromkeys(PLAIN["cost"], 1.0)}  # all questions take the same time


def answered_by(share: float) -> dict[str, Any]:
    return {**ALIKE, "answerable": {"glance": 1.0, "handle": share, "lens": 1.0, "dig": 1.0}}


TELLING = np.array([0.2, 0.3])
SOME = np.array([0.85, 0.05, 0.05, 0.05])


@pytest.mark.parametrize(
    ("probability", "settling", "more"),
    [(EVEN, 0.0, {}), (SOME, 0.2, {}), (LEAD, 0.0, {"unseparated": [2]}), (LEAD, 0.0, {"evidence": TELLING})],
    ids=["information", "settling", "look-alikes", "a relative"],
)
def test_what_a_question_is_worth_is_worth_it_only_where_it_can_be_answered(
    probability: Array, settling: float, more: dict[str, Any]
) -> None:
    """The sap, to be handled, is worth more than the smell: until that share of people can answer it."""
    both = (character("smell"), SMELL), (character("sap", "handle"), SAP)
    free = tables(*both)
    worth = expected_bits(free, probability) + settling * settling_chance(free, probability)
    if "unseparated" in more:
        worth = separation_chance(free, 0, more["unseparated"])
    even = float(np.divide(*more.get("evidence", worth)))
    assert 0.2 < even < 0.99
    assert chosen(tables(*both, settling=settling, **answered_by(even * 1.001)), probability, **more) == "sap"
    assert chosen(tables(*both, settling=settling, **answered_by(even * 0.999)), probability, **more) == "smell"


def test_what_few_people_can_see_is_less_likely_to_be_answered() -> None:
    many = (character("many", states=9), [[1 / 9] * 9] * 4)
    share = {"glance": 0.9, "handle": 0.8, "lens": 0.6, "dig": 0.5}
    of = {"answerable": share, "second_tap": 0.7, "seldom": {"many": 0.25, "sap": 0.5}}
    asked = tables(many, (character("sap", "handle"), SAP), (character("smell", "handle"), SMELL), **of)
    assert asked.answerable == pytest.approx([0.9 * 0.7 * 0.25, 0.8 * 0.5, 0.8])
    assert asked.answerable_after([]) == pytest.approx(asked.answerable)
    both = (character("smell"), SMELL), (character("sap"), SAP)
    worth = expected_bits(tables(*both), EVEN)
    even = float(worth[0] / worth[1])
    for known, name in ((even * 1.001, "sap"), (even * 0.999, "smell")):
        assert chosen(tables(*both, seldom={"sap": known})) == name
    assert chosen(tables(*both, seldom={"sap": 0.01}), answers={"smell": ("smell_0",)}) == "sap", "it is still asked"


EVEN_COIN = [[0.5, 0.5]] * 4
AFTER = {"after_unsure": AfterUnsure(part=0.5, effort=0.7, gate=0.3)}


def test_after_unsure_similar_questions_are_less_likely_to_be_answered() -> None:
    asked = tables(
        (character("petal", part="flowers"), SAP), (character("colour", part="flowers"), SAP),
        (character("awn", "lens", part="seeds"), SAP), (character("hairs", "lens"), SAP),
        (character("spots", part="flowers", gated="petal"), SAP), (character("edge"), SAP), **AFTER,
    )  # fmt: skip
    petal = [0.5, 0.5, 1.0, 1.0, 0.5 * 0.3, 1.0]
    assert asked.answerable_after([]) == pytest.approx([1.0] * 6)
    assert asked.answerable_after(["petal"]) == pytest.approx(petal)
    assert asked.answerable_after(["colour"]) == pytest.approx([0.5, 0.5, 1.0, 1.0, 0.5, 1.0])
    lens = [1.0, 1.0, 0.5 * 0.7, 0.7, 1.0, 1.0]
    assert asked.answerable_after(["awn"]) == pytest.approx(lens)
    assert asked.answerable_after(["hairs"]) == pytest.approx([1.0, 1.0, 0.7, 0.7, 1.0, 1.0])
    assert asked.answerable_after(["edge"]) == pytest.approx([1.0] * 6), "leaves at a glance tell nothing of others"
    assert asked.answerable_after(["petal", "awn"]) == pytest.approx(np.multiply(petal, lens))
    assert asked.answerable == pytest.approx([1.0] * 6), "what is believed beforehand stays as it was"


def test_a_part_that_was_unsure_is_asked_about_later() -> None:
    flowers = character("petal", part="flowers"), character("sap", part="flowers")
    asked = tables((flowers[0], EVEN_COIN), (flowers[1], SAP), (character("smell"), SMELL), **AFTER)
    assert chosen(asked) == "sap", "the sap is worth more"
    assert chosen(asked, answers={"petal": ()}) == "smell", "it is of a part that was not to be made out"
    assert chosen(asked, answers={"petal": ("petal_0",)}) == "sap", "only unsure makes it less likely"
    assert chosen(asked, LEAD, {"petal": ()}, evidence=np.array([0.0, 0.3, 0.2])) == "smell"
    assert chosen(asked, LEAD, {}, evidence=np.array([0.0, 0.3, 0.2])) == "sap"


@pytest.mark.parametrize("more", [{}, {"unseparated": [1, 2]}, {"evidence": np.array([0.2, 0.3])}])
def test_what_is_barred_is_never_asked(more: dict[str, Any]) -> None:
    asked = tables((character("smell"), SMELL), (character("sap"), SAP))
    probability = np.array([0.6, 0.2, 0.1, 0.1])
    assert chosen(asked, probability, **more) == "sap"
    assert chosen(asked, probability, barred=("sap",), **more) == "smell"
    assert chosen(asked, probability, {"smell": ("smell_0",)}, barred=("sap",), **more) is None
    assert chosen(asked, probability, barred=("sap", "smell"), **more) is None


# -- the interview ----------------------------------------------------------------------------------


@pytest.fixture
def interview() -> Interview:
    characters = {c.id: c for c in (character("smell"), character("sap"), character("edge"))}
    return Interview(SimpleNamespace(flora=SimpleNamespace(characters=characters)))  # type: ignore[arg-type]


def test_answers_are_given_changed_forgotten_and_taken_back(interview: Interview) -> None:
    one = interview.answer("smell", "smell_1")
    two = one.answer("sap", "unsure")
    assert interview.answers == {} and one.answers == {"smell": ("smell_1",)}
    assert two.answers == {"smell": ("smell_1",), "sap": ()}
    changed = two.answer("smell", "smell_0")
    assert changed.answers == {"smell": ("smell_0",), "sap": ()}
    assert list(changed.answers) == ["smell", "sap"], "the order is that of asking"
    assert two.forget("smell").answers == {"sap": ()} and two.forget("flower").answers == two.answers
    three = two.answer("smell", "smell_0").answer("edge", "edge_0")
    assert list(three.back().answers) == ["smell", "sap"]
    assert two.back().answers == one.answers and interview.back().answers == {}
    assert two.key is interview.key


def test_the_finding_is_that_of_all_that_is_known(interview: Interview, monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[tuple[Any, ...]] = []

    def identify(*known: Any) -> Any:
        asked.append(known)
        return SimpleNamespace(next_question="the question")

    monkeypatch.setattr("model.interview.identify", identify)
    photos: Any = SimpleNamespace()
    whole = Interview(interview.key, photos, 7, "temperate").answer("smell", "smell_0")
    assert whole.finding.next_question == "the question" and whole.question == "the question"
    assert asked[0] == (interview.key, {"smell": ("smell_0",)}, photos, 7, "temperate", None)
    assert whole.see(("leaves",)).finding and asked[-1] == (*asked[0][:-1], ("leaves",))
    assert whole.visible is None and whole.see(("leaves",)).see(None) == whole
