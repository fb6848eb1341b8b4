"""What would decide: the best character of each part, how to come by it, and in which months."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from model.decide import LEAST, MOST, MOST_OF, SEPARATES_OUTSIDE, Decider, deciders
from model.flora import Character
from model.flora.character import PARTS
from model.identify import Key, identify
from model.traits import check_answers, out_of_sight
from model.traits.likelihood import Likelihoods
from model.traits.question import LEAST_APPLICABLE, expected_bits, separation_chance
from tests.model.test_question import EVEN, SAP, SMELL, character, tables

COIN = [[0.5, 0.5]] * 4
PARTLY = [[0.7, 0.3], [0.3, 0.7], [0.5, 0.5], [0.5, 0.5]]
SPRING, SUMMER, AUTUMN = [9, 10, 11], [11, 12, 1], [3, 4, 5]


def asked(*characters: tuple[Character, Any], seasons: Any = ((SPRING, SUMMER),) * 3, **more: Any) -> Likelihoods:
    """Three species, ``seasons`` months of flowers and of seed of each."""
    made = tables(*characters, **more)
    made.flora.species = {  # type: ignore[misc]
        name: SimpleNamespace(season=SimpleNamespace(flowers=flowers, seeds=seeds))
        for name, (flowers, seeds) in zip("abc", seasons, strict=True)
    }
    return made


def told(
    likelihoods: Likelihoods, p: Any = EVEN, answers: Any = None, hidden: Any = (), **more: Any
) -> tuple[Decider, ...]:
    return deciders(likelihoods, np.asarray(p), answers or {}, hidden, **more)


ALL = (
    (character("edge"), PARTLY), (character("hairs", "lens"), SMELL), (character("petal", part="flowers"), SAP),
    (character("spots", part="flowers"), PARTLY), (character("pod", part="seeds"), PARTLY),
    (character("bulb", "dig", part="roots"), SMELL),
)  # fmt: skip


def test_the_best_of_each_part_comes_in_order_of_information() -> None:
    made = asked(*ALL)
    bits = dict(zip(made.flora.characters, expected_bits(made, EVEN), strict=True))
    found = told(made)
    assert [(d.character, d.part) for d in found] == [("petal", "flowers"), ("hairs", "leaves"), ("bulb", "roots")]
    assert [d.worth for d in found] == pytest.approx([bits["petal"], bits["hairs"], bits["bulb"]])
    assert len(found) == MOST == 3, "the pod would be the fourth"
    turned = asked((character("edge"), PARTLY), (character("bulb", "dig", part="roots"), SAP), ALL[4])
    assert [d.part for d in told(turned)] == ["roots", "leaves", "seeds"]


def test_how_to_come_by_it_follows_from_part_effort_and_what_is_hidden() -> None:
    glance, lens = character("edge"), character("hairs", "lens")
    for one, how in ((glance, "photo"), (lens, "look"), (character("sap", "handle"), "look")):
        assert [d.how for d in told(asked((one, SAP)))] == [how]
        assert [d.how for d in told(asked((one, SAP)), hidden=(one.id,))] == [how], "leaves are not waited for"
    for part in ("flowers", "seeds"):
        for effort, how in (("glance", "photo"), ("lens", "look")):
            one = character("petal", effort, part=part)
            here, away = told(asked((one, SAP))), told(asked((one, SAP)), hidden={"petal"})
            assert [(d.how, d.months) for d in here] == [(how, ())]
            assert [(d.how, d.months) for d in away] == [("wait", (9, 10, 11) if part == "flowers" else (1, 11, 12))]
    for hidden in ((), ("bulb",)):
        assert [d.how for d in told(asked((character("bulb", "dig", part="roots"), SAP)), hidden=hidden)] == ["dig"]


def test_months_are_those_in_which_most_probable_plants_have_the_part() -> None:
    petal = (character("petal", part="flowers"), SAP)

    def months(p: Any, *flowers: Any) -> tuple[int, ...]:
        made = asked(petal, seasons=tuple((f, None) for f in flowers))
        return told(made, p, hidden=("petal",))[0].months

    assert MOST_OF == 0.5
    assert months([0.5, 0.25, 0.25, 0.0], SPRING, AUTUMN, AUTUMN) == (3, 4, 5, 9, 10, 11), "half is enough"
    assert months([0.51, 0.24, 0.25, 0.0], SPRING, AUTUMN, AUTUMN) == (9, 10, 11)
    assert months([0.3, 0.2, 0.1, 0.4], SPRING, AUTUMN, AUTUMN) == (3, 4, 5, 9, 10, 11), "of the listed"
    assert months([0.4, 0.3, 0.3, 0.0], [1], [2], [3]) == ()
    assert months([0.4, 0.3, 0.3, 0.0], *[list(range(1, 13))] * 3) == (), "in every month is not a month to wait for"
    assert months([0.4, 0.35, 0.25, 0.0], SPRING, None, AUTUMN) == (), "a moss never flowers"
    assert months([0.5, 0.35, 0.15, 0.0], SPRING, None, AUTUMN) == (9, 10, 11)
    pod = asked((character("pod", part="seeds"), SAP), seasons=((SPRING, None), (SPRING, [1]), (SPRING, [1])))
    assert told(pod, [0.4, 0.3, 0.3, 0.0], hidden=("pod",))[0].months == (1,)


def test_what_was_answered_is_left_out_and_what_was_unsure_is_not() -> None:
    made = asked(*ALL)
    assert "petal" not in [d.character for d in told(made, answers={"petal": ("petal_0",)})]
    assert "spots" in [d.character for d in told(made, answers={"petal": ("petal_0",)})]
    assert told(made, answers={"petal": ()})[0].character == "petal"
    month = Character(
        id="flowering", kind="month", effort="glance", part="flowers", question="?", look=".", otherwise="."
    )
    only = asked((character("sap"), COIN), (character("when", part="flowers"), SAP))
    only.flora.characters["when"] = month.model_copy(update={"id": "when"})
    assert told(only) == (), "a month is not looked for on a plant"


def test_too_little_information_is_not_worth_a_visit() -> None:
    made = asked((character("sap"), SAP))
    low, high = 0.0, 0.5
    for _ in range(50):  # the share of b at which the sap brings just so much
        middle = (low + high) / 2
        worth = expected_bits(made, np.array([1 - middle, middle, 0.0, 0.0]))[0]
        low, high = (middle, high) if worth < LEAST else (low, middle)
    assert told(made, [1 - low, low, 0.0, 0.0]) == ()
    assert [d.character for d in told(made, [1 - high, high, 0.0, 0.0])] == ["sap"]


def test_look_alikes_that_are_left_count_as_much_as_bits() -> None:
    made = asked((character("smell"), SMELL), (character("sap"), SAP))
    p = np.array([0.998, 0.001, 0.001, 0.0])
    assert told(made, p) == ()
    found = told(made, p, left=(1, 2))
    worth = expected_bits(made, p) + separation_chance(made, 0, (1, 2))
    assert [d.character for d in found] == ["sap"] and found[0].worth == pytest.approx(worth[1])
    last = np.array([0.001, 0.001, 0.998, 0.0])
    found = told(made, last, left=(0, 1))
    assert [d.character for d in found] == ["smell"], "of the plant that leads now"


def test_separating_a_plant_from_one_outside_the_flora_counts_beside_bits() -> None:
    made = asked((character("smell"), SMELL), (character("sap"), SAP))
    p = np.array([0.998, 0.001, 0.001, 0.0])
    found = told(made, p, separate_outside={"smell"})
    assert [d.character for d in found] == ["smell"]
    assert found[0].worth == pytest.approx(expected_bits(made, p)[0] + SEPARATES_OUTSIDE) and SEPARATES_OUTSIDE >= LEAST
    assert told(made, p, answers={"smell": ("smell_0",)}, separate_outside={"smell"}) == ()
    both = told(made, p, left=(1, 2), separate_outside={"smell"})
    worth = expected_bits(made, p) + separation_chance(made, 0, (1, 2)) + np.array([SEPARATES_OUTSIDE, 0.0])
    assert [d.worth for d in both] == pytest.approx([worth.max()]), "as look-alikes in the flora do"
    lacking = asked((character("smell"), SMELL), lacking={"smell": [0]})
    assert told(lacking, p, separate_outside={"smell"}) == (), "a part that it lacks is not waited for"


def test_a_part_that_hardly_any_candidate_has_is_not_asked_for() -> None:
    made = asked((character("sap"), SAP), lacking={"sap": [1]})
    for share, found in ((LEAST_APPLICABLE - 1e-9, []), (LEAST_APPLICABLE + 1e-9, ["sap"])):
        listed = np.array([0.75 * share, 1 - share, 0.25 * share])
        assert [d.character for d in told(made, [*(listed * 0.6), 0.4])] == found, "of what is listed"


# -- on the flora ------------------------------------------------------------------------------------


def test_for_a_winter_rosette_it_says_what_to_wait_for_and_what_to_dig(key: Key) -> None:
    answers: Any = check_answers(
        key.flora.characters,
        {"leaf_build": "simple", "growth_habit": "rosette", "leaf_hairs": "unsure", "leaf_edge": "unsure",
         "leaf_outline": "unsure", "leaf_stalk": "unsure"},
    )  # fmt: skip
    found = identify(key, answers, month=7, visible=("leaves",))
    hidden = out_of_sight(key.flora.characters, ("leaves",))
    assert found.stop == "too often unsure" and 1 <= len(found.would_decide) <= MOST
    for one in found.would_decide:
        assert one.part in PARTS and key.flora.characters[one.character].part == one.part
        assert (one.how == "dig") == (one.part == "roots")
        assert one.how != "wait" or one.part in ("flowers", "seeds")
        assert one.part == "leaves" or one.character in hidden
        assert one.character not in answers or answers[one.character] == ()
        assert one.worth >= LEAST and (one.months == () or one.how == "wait")
    assert [d.worth for d in found.would_decide] == sorted((d.worth for d in found.would_decide), reverse=True)
    told_in_json = found.as_json()["would_decide"]
    assert [(d["character"], d["part"], d["how"], tuple(d["months"])) for d in told_in_json] == [
        (d.character, d.part, d.how, d.months) for d in found.would_decide
    ]


def test_what_is_gone_is_not_asked_for_and_what_few_can_answer_counts_less() -> None:
    seedling = character("seed_leaf").model_copy(update={"until": "flowering"})
    made = asked((seedling, SAP), (character("petal", part="flowers"), SAP))
    assert [d.character for d in told(made, hidden={"seed_leaf"})] == ["petal"]
    assert {d.character for d in told(made)} == {"seed_leaf", "petal"}
    both = asked((character("span"), SAP), (character("edge"), SAP))
    both.observer = both.observer.model_copy(update={"seldom": {"span": 0.3}})
    assert [d.character for d in told(both)] == ["edge"]
