"""What is there to be seen: what it leaves to ask, what it says by itself, and how it is typed."""

from __future__ import annotations

import itertools
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from model.errors import AnswerError
from model.flora import Flora
from model.flora.character import PARTS
from model.identify import Key, Observation, identify
from model.interview import Interview
from model.prior import Region
from model.traits import age, check_answers, check_visible, in_sight, out_of_sight, visible_log_likelihood
from model.traits.observer import Found, load_observer
from model.traits.question import SEPARATES
from tests.model.test_question import character

COMBINATIONS = [some for n in range(1, 5) for some in itertools.combinations(PARTS, n)]
LEAVES: Any = ("leaves",)


# -- what is typed -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("given", "parts"),
    [
        ("leaves", ("leaves",)), ("roots,leaves", ("leaves", "roots")), (" seeds , flowers ", ("flowers", "seeds")),
        (["roots", "leaves", "roots"], ("leaves", "roots")), (("flowers",), ("flowers",)), (list(PARTS), PARTS),
    ],
)  # fmt: skip
def test_parts_are_taken_in_any_order_and_kept_in_one(given: object, parts: tuple[str, ...]) -> None:
    assert check_visible(given) == parts


@pytest.mark.parametrize("given", [None, [], (), 3, 0.5, True, {"leaves": 1}, {"leaves"}])
def test_what_is_not_a_list_of_parts_is_refused_with_the_choices(given: object) -> None:
    with pytest.raises(AnswerError) as error:
        check_visible(given)
    assert str(error.value) == "visible: name what can be seen, one or more of leaves, flowers, seeds, roots"


@pytest.mark.parametrize(
    ("given", "shown"),
    [
        ("leafs", "'leafs'"), ("", "''"), (["leaves", "root"], "'root'"), ([3], "'3'"), ([None], "'None'"),
        ([["leaves"]], "\"['leaves']\""), ([{}], "'{}'"), (["leaves,roots"], "'leaves,roots'"),
        ("x" * 500, f"'{'x' * 60}'"),
    ],
)  # fmt: skip
def test_what_is_not_a_part_is_named_with_the_nearest(given: object, shown: str) -> None:
    with pytest.raises(AnswerError) as error:
        check_visible(given)
    message = str(error.value)
    assert message.startswith(f"visible: {shown} is not a part that the key asks about; ") and "\n" not in message
    assert any(part in message.split("; ")[1] for part in PARTS) and len(message) < 200


def test_how_old_a_plant_is_follows_from_what_is_there() -> None:
    assert age(None) == "unknown"
    for visible in COMBINATIONS:
        oldest = next((part for part in ("seeds", "flowers") if part in visible), "leaves")
        assert age(visible) == oldest


# -- what is out of sight ----------------------------------------------------------------------------


@pytest.mark.parametrize("visible", COMBINATIONS)
def test_parts_that_are_not_there_are_hidden_with_all_that_depends_on_them(key: Key, visible: Any) -> None:
    characters = key.flora.characters
    hidden = out_of_sight(characters, visible)
    for c in characters.values():
        gates = hidden & set(c.applies_when)
        gone = c.until == "flowering" and ("flowers" in visible or "seeds" in visible)
        assert (c.id in hidden) == (c.part not in visible or gone or bool(gates)), c.id
    assert (hidden == {c.id for c in characters.values() if c.until is not None}) == (visible == PARTS)


def test_seed_leaves_are_asked_for_only_before_the_plant_flowers(key: Key) -> None:
    assert "cotyledons" not in out_of_sight(key.flora.characters, LEAVES)
    answered = check_answers(key.flora.characters, {"cotyledons": "heart"})
    in_leaf, in_flower = (identify(key, answered, visible=v) for v in (LEAVES, ("leaves", "flowers")))
    assert (in_leaf.set_aside, in_flower.set_aside) == ((), ("cotyledons",))
    assert identify(key, answered).set_aside == ()


def test_nothing_is_hidden_where_visible_is_not_given(key: Key) -> None:
    assert out_of_sight(key.flora.characters, None) == frozenset()


def test_what_depends_on_what_depends_on_a_hidden_part_is_hidden_in_any_order() -> None:
    chain = [
        character("petal", part="flowers"), character("spots", gated="petal"), character("dots", gated="spots"),
        character("edge"),
    ]  # fmt: skip
    for order in itertools.permutations(chain):
        shuffled = {c.id: c for c in order}
        assert out_of_sight(shuffled, LEAVES) == {"petal", "spots", "dots"}
        assert out_of_sight(shuffled, ("flowers",)) == {"spots", "dots", "edge"}


def test_answers_in_sight_keep_their_order() -> None:
    answers = {"sap": 1, "petal": 2, "edge": 3, "awn": 4}
    assert list(in_sight(answers, {"petal"}).items()) == [("sap", 1), ("edge", 3), ("awn", 4)]
    assert in_sight(answers, ()) == answers and in_sight(answers, ()) is not answers


def test_answers_of_hidden_parts_are_set_aside_and_come_back_with_the_part(key: Key) -> None:
    fits = {"leaf_build": "finely_cut", "seed_structure": "winged_spine_seed", "seed_wings": "broad"}
    answers = check_answers(key.flora.characters, fits)
    interview = Interview(key, month=11, answers=answers, visible=LEAVES)
    unseen = interview.finding
    assert unseen.set_aside == ("seed_structure", "seed_wings") and interview.answers == answers
    leaves_only = identify(key, {"leaf_build": answers["leaf_build"]}, month=11, visible=LEAVES)
    assert unseen.candidates == leaves_only.candidates
    back = interview.see(("leaves", "seeds")).finding
    assert back.set_aside == () and "seed_structure" in back.candidates[0].agrees
    assert back == identify(key, answers, month=11, visible=("leaves", "seeds"))
    assert interview.see(("leaves", "seeds")).see(LEAVES).finding == unseen


# -- what it says by itself --------------------------------------------------------------------------

SHARES = {
    "flowers": Found(in_season=0.6, out_of_season=0.1),
    "seeds": Found(in_season=0.4, out_of_season=0.2),
}


def weighed(*seasons: tuple[list[int], list[int] | None, list[int] | None], **told: Any) -> np.ndarray:
    """P(what is there | species) of plants that are seen, flower and seed in those months; with those of unlisted."""
    species = {
        str(i): SimpleNamespace(season=SimpleNamespace(seen=seen, flowers=flowers, seeds=seeds))
        for i, (seen, flowers, seeds) in enumerate(seasons)
    }
    flora: Any = SimpleNamespace(ids=tuple(species), species=species)
    flora.calendar = Flora.calendar.func(flora)
    observer = load_observer().model_copy(update={"found": SHARES})
    return np.asarray(np.exp(visible_log_likelihood(flora, observer, **told)))


SPRING = ([8, 9, 10], [9, 10], [10])
AUTUMN = ([3, 4, 5], [4], [5])


def test_missing_flowers_and_seed_count_by_their_months() -> None:
    for month, flowers, seeds in ((9, 0.6, 0.2), (10, 0.6, 0.4), (8, 0.1, 0.2), (1, 0.1, 0.2)):
        neither = weighed(SPRING, visible=LEAVES, month=month)
        assert neither[0] == pytest.approx((1 - flowers) * (1 - seeds))
        assert weighed(SPRING, visible=("leaves", "flowers"), month=month)[0] == pytest.approx(flowers * (1 - seeds))
        assert weighed(SPRING, visible=("seeds",), month=month)[0] == pytest.approx((1 - flowers) * seeds)
        assert weighed(SPRING, visible=PARTS, month=month)[0] == pytest.approx(flowers * seeds)


def test_without_a_month_it_counts_over_those_in_which_the_plant_is_seen() -> None:
    told = weighed(SPRING, AUTUMN, visible=LEAVES, month=None)
    spring = (1 - (0.1 + 0.6 + 0.6) / 3) * (1 - (0.2 + 0.2 + 0.4) / 3)
    autumn = (1 - (0.1 + 0.6 + 0.1) / 3) * (1 - (0.2 + 0.2 + 0.4) / 3)
    assert told[:2] == pytest.approx([spring, autumn])


def test_roots_and_leaves_are_no_evidence_and_without_input_there_is_none() -> None:
    assert weighed(SPRING, AUTUMN, visible=None, month=9) == pytest.approx([1.0, 1.0, 1.0])
    assert weighed(SPRING, AUTUMN, visible=("leaves", "roots"), month=9) == pytest.approx(
        weighed(SPRING, AUTUMN, visible=LEAVES, month=9)
    )


def test_what_is_not_known_of_a_plant_is_as_of_the_others() -> None:
    """Of the third no months of seed are known, and of `unlisted` none at all."""
    told = weighed(SPRING, AUTUMN, ([9], [9], None), visible=LEAVES, month=10)
    seeds = (1 - 0.4, 1 - 0.2, 1 - 0.3)
    flowers = (1 - 0.6, 1 - 0.1, 1 - 0.1)
    unlisted = (1 - (0.6 + 0.1 + 0.1) / 3) * (1 - 0.3)
    assert told == pytest.approx([*np.multiply(seeds, flowers), unlisted])
    none_known = weighed(([9], [9], None), visible=LEAVES, month=9)
    assert none_known == pytest.approx([0.4 * 0.6, 0.4 * 0.6]), "as in season where nothing is known of any"


def test_a_plant_without_months_of_flowers_has_none() -> None:
    """Not even in the months in which others flower, or as the middle of them."""
    for month in (9, None):
        told = weighed(SPRING, ([9], None, None), visible=("leaves", "flowers"), month=month)
        seed = weighed(SPRING, ([9], None, None), visible=("leaves", "flowers"), month=month, dated=True)
        assert told[1] / seed[1] == pytest.approx(0.1)
        none = weighed(SPRING, ([9], None, None), visible=LEAVES, month=month)
        seed = weighed(SPRING, ([9], None, None), visible=LEAVES, month=month, dated=True)
        assert none[1] / seed[1] == pytest.approx(1 - 0.1)
    # What it never has counts in the middle that is taken of plants that are not listed.
    both = weighed(SPRING, ([9], None, None), visible=("leaves", "flowers"), month=9)
    seed = weighed(SPRING, ([9], None, None), visible=("leaves", "flowers"), month=9, dated=True)
    assert both[2] / seed[2] == pytest.approx((0.6 + 0.1) / 2)


def test_an_answered_month_of_flowers_is_not_counted_twice() -> None:
    for visible in (LEAVES, ("leaves", "flowers")):
        dated = weighed(SPRING, AUTUMN, visible=visible, month=10, dated=True)
        assert dated == pytest.approx([0.6, 0.8, 0.7]), "only the seed still counts"


def test_the_month_of_flowers_takes_the_place_of_flowers_in_sight(key: Key) -> None:
    flowers: Any = ("leaves", "flowers")
    answered = check_answers(key.flora.characters, {"flowering_month": 9})

    def logs(answers: Any, visible: Any) -> np.ndarray:
        return key.logs(Observation(answers, month=9, visible=visible))

    share = key.at("flowers").tables["flowering_month"].likelihood(9.0)
    observer = key._observer
    by_seed = visible_log_likelihood(key.flora, observer, flowers, 9, dated=True)
    both = visible_log_likelihood(key.flora, observer, flowers, 9)
    assert not np.allclose(by_seed, both)
    assert logs(answered, flowers) - logs({}, flowers) == pytest.approx(np.log(share) + by_seed - both)
    unsure = check_answers(key.flora.characters, {"flowering_month": "unsure"})
    assert logs(unsure, flowers) == pytest.approx(logs({}, flowers)), "unsure leaves what is seen to count"
    # Flowers that cannot be seen have no month: the answer is set aside, and that they are missing counts.
    assert logs(answered, LEAVES) == pytest.approx(logs({}, LEAVES))


def test_it_is_soft_for_every_species_in_every_month(key: Key) -> None:
    """No two species are set further apart than by a plant in flower against one that is not, and the same of seed."""
    found = key._observer.found
    most = 0.0
    for visible, month in itertools.product((LEAVES, ("leaves", "flowers"), ("leaves", "seeds"), PARTS), range(1, 13)):
        logs = visible_log_likelihood(key.flora, key._observer, visible, month)
        assert np.isfinite(logs).all() and (logs < 0).all()
        limit = 0.0
        for part, share in found.items():
            limit += np.log(
                share.in_season / share.out_of_season
                if part in visible
                else (1 - share.out_of_season) / (1 - share.in_season)
            )
        assert logs.max() - logs.min() <= limit + 1e-9
        most = max(most, logs.max() - logs.min())
    assert most > 0, "it says something"
    for share in found.values():
        assert share.out_of_season < share.in_season
        # A lawn is mown: that nothing is there must not be worth what one good answer is.
        assert (1 - share.out_of_season) / (1 - share.in_season) < SEPARATES


def test_a_plant_without_flowers_is_rather_one_that_does_not_flower_then(key: Key) -> None:
    rows = {name: key.index[name] for name in ("soliva_sessilis", "oxalis_pes_caprae")}
    seasons = {name: key.flora.species[name].season for name in rows}
    assert 7 not in seasons["soliva_sessilis"].flowers and 7 in seasons["oxalis_pes_caprae"].flowers
    seen = (Observation(month=7, visible=v) for v in (None, LEAVES, ("leaves", "flowers")))
    unknown, leaves, flowers = map(key.posterior, seen)
    odds = [float(p[rows["soliva_sessilis"]] / p[rows["oxalis_pes_caprae"]]) for p in (flowers, unknown, leaves)]
    assert odds == sorted(odds) and len(set(odds)) == 3


def test_the_month_counts_as_the_region_has_it(key: Key) -> None:
    shifted = object.__new__(Key)
    shifted.__dict__.update(key.__dict__)
    regions = {**key.prior_config.regions, "upside_down": Region(weights={}, shift=6), "plain": Region(weights={})}
    shifted.prior_config = key.prior_config.model_copy(update={"regions": regions})
    for visible in (LEAVES, ("leaves", "flowers")):
        when = ((3, "upside_down"), (9, "plain"), (3, "plain"))
        moved, same, other = (shifted.posterior(Observation({}, None, *at, visible)) for at in when)
        assert moved == pytest.approx(same) and not np.allclose(moved, other)
