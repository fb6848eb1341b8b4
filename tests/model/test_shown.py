"""What plants of an age show: by the stage that a file names, and softened where a species varies."""

from __future__ import annotations

import math
from dataclasses import replace
from types import SimpleNamespace
from typing import Any, get_args

import numpy as np
import pytest
from numpy.typing import NDArray

from model.flora import Character, Score
from model.identify import Key, Observation
from model.traits import check_answers
from model.traits.likelihood import AGREES, DISAGREES, Likelihoods, Table
from model.traits.observer import Age, Observer, load_observer
from model.traits.question import SEPARATES
from model.traits.shown import LEAST_KNOWN, Shown, shown

Array = NDArray[np.float64]
AGES: tuple[Age, ...] = get_args(Age)
FREQUENCY = {"always": 1.0, "usually": 0.8, "sometimes": 0.2, "rarely": 0.05}
AGE = {
    "leaves": {"flowering": 0.1, "seeding": 0.05},
    "flowers": {"flowering": 0.9, "seeding": 0.3},
    "seeds": {"flowering": 0.95, "seeding": 0.9},
    "unknown": {"flowering": 0.7, "seeding": 0.6},
}
# How well an answer within a file fits, against the best of all species: less tells the two apart, or nearly. What is
# sometimes or rarely so may speak against a plant, a little; readings have no words of frequency.
LEAST_FIT = {
    **dict.fromkeys(("always", "usually", "month"), 1 / SEPARATES),
    "sometimes": 1 / 8,
    "number": 1 / 8,
    "rarely": 1 / 20,
}


def asked(kind: Any = "choice", unit: Any = "mm", count: int = 3) -> Character:
    states = {f"s{i}": "so" for i in range(count)} if kind == "choice" else {}
    of_number = {"unit": unit, "domain": (1, 20)} if kind == "number" else {}
    return Character(
        id="asked", kind=kind, effort="glance", part="leaves", question="?", look=".", otherwise=".", states=states,
        **of_number,
    )  # fmt: skip


def score(**told: Any) -> Score:
    return Score(source=["CP"], standing="common practice", **told)


def observer(**differs: Any) -> Observer:
    plain = {"frequency": FREQUENCY, "age": AGE, "varies": 1.0, "together": 1.0}
    return load_observer().model_copy(update={**plain, **differs})


def of(*scores: Score | None, age: Age = "unknown", of_whom: Observer | None = None) -> Shown:
    return shown(asked(), scores, ("s0", "s1", "s2"), of_whom or observer(), age)


# -- by age ------------------------------------------------------------------------------------------


def test_without_a_stage_every_age_shows_the_same() -> None:
    plain = score(states={"s0": "usually", "s1": "sometimes"})
    for age in AGES:
        found = of(plain, None, age=age)
        assert found.truth == pytest.approx(np.array([[0.8, 0.2, 0.0], [1 / 3] * 3]))
        assert found.known.tolist() == [True, False]
        assert found.in_file.tolist() == [[True, True, False], [False] * 3]


@pytest.mark.parametrize("age", AGES)
@pytest.mark.parametrize("stage", ["flowering", "seeding"])
def test_older_and_younger_plants_are_mixed_as_they_are_met(age: Age, stage: str) -> None:
    share = AGE[age][stage]
    found = of(score(states={"s0": "always"}, when=stage, before={"s1": "usually", "s2": "sometimes"}), age=age)
    assert found.truth[0] == pytest.approx([share, 0.8 * (1 - share), 0.2 * (1 - share)])
    assert found.known[0], "what the younger plant shows is told"
    assert found.in_file[0].tolist() == [True, True, True]


@pytest.mark.parametrize("age", AGES)
@pytest.mark.parametrize("stage", ["flowering", "seeding"])
def test_where_the_younger_plant_is_not_described_it_shows_anything(age: Age, stage: str) -> None:
    share = AGE[age][stage]
    found = of(score(states={"s0": "always"}, when=stage), age=age)
    assert found.known[0] == (share >= LEAST_KNOWN)
    even = (1 - share) / 3
    assert found.truth[0] == pytest.approx([share + even, even, even])
    if not found.known[0]:
        assert found.fits[0] == pytest.approx([1 / 3] * 3)
    assert found.in_file[0].tolist() == [True, False, False]


def test_half_of_the_plants_of_an_age_are_enough_to_speak_of() -> None:
    for share, known in ((LEAST_KNOWN, True), (LEAST_KNOWN - 1e-9, False)):
        ages = {**AGE, "leaves": {"flowering": share, "seeding": 0.01}}
        told = of(score(states={"s0": "always"}, when="flowering"), age="leaves", of_whom=observer(age=ages))
        assert told.known[0] == known


def test_numbers_have_a_younger_span_of_their_own() -> None:
    steps = tuple(float(n) for n in range(1, 21))
    tall = score(range=(12, 20), when="flowering", before=(1, 3))
    for age in AGES:
        share = AGE[age]["flowering"]
        found = shown(asked("number", "count"), [tall, score(range=(5, 5))], steps, observer(), age)
        assert found.truth.sum(axis=1) == pytest.approx([1.0, 1.0])
        young, old = found.truth[0, :3], found.truth[0, 11:]
        assert young == pytest.approx(np.full(3, young[0])) and old == pytest.approx(np.full(9, old[0]))
        older, younger = (
            shown(asked("number", "count"), [score(range=span)], steps, observer(), age).truth[0]
            for span in ((12, 20), (1, 3))
        )
        assert found.truth[0] == pytest.approx(share * older + (1 - share) * younger)
        assert found.known.all()


def test_months_are_a_ring() -> None:
    months = tuple(float(n) for n in range(1, 13))
    found = shown(
        asked("month"), [score(months=[12, 1]), score(months=[6])], months, observer(month_shoulder=1.0), "seeds"
    )
    december, june = found.truth
    near, far = math.exp(-0.5), math.exp(-0.5 * 4)
    assert december[[11, 0]] == pytest.approx([december[0]] * 2)
    assert december[[1, 10]] == pytest.approx([december[0] * near] * 2)
    assert december[[2, 9]] == pytest.approx([december[0] * far] * 2)
    alone = shown(asked("month"), [score(months=[12])], months, observer(month_shoulder=1.0), "seeds").truth[0]
    assert alone[[0, 10]] == pytest.approx([alone[11] * near] * 2), "January is next to December"
    assert june[[4, 6]] == pytest.approx([june[5] * near] * 2) and june[11] == june.min()
    assert found.truth.sum(axis=1) == pytest.approx([1.0, 1.0])


def test_beyond_a_range_a_reading_falls_off_by_its_unit() -> None:
    steps = tuple(float(n) for n in range(1, 21))
    whom = observer(shoulder={"mm": 0.5, "cm": 0.2, "count": 0.1})
    found = shown(asked("number", "mm"), [score(range=(4, 8))], steps, whom, "unknown").truth[0]
    assert found[3:8] == pytest.approx(np.full(5, found[3]))
    for reading, edge in ((10, 8), (16, 8), (2, 4), (1, 4)):
        away = abs(math.log(reading / edge)) / 0.5
        assert found[reading - 1] / found[3] == pytest.approx(math.exp(-0.5 * away**2))


# -- by how far a species varies ---------------------------------------------------------------------


def test_a_species_that_varies_pays_for_it_only_in_part() -> None:
    two = score(states={"s0": "usually", "s1": "usually"})
    for varies in (1.0, 0.5, 0.25):
        found = of(two, score(states={"s2": "always"}), None, of_whom=observer(varies=varies))
        assert found.truth[0] == pytest.approx([0.5, 0.5, 0.0])
        assert found.fits[0] == pytest.approx([0.5**varies, 0.5**varies, 0.0])
        assert found.fits[1] == pytest.approx([0.0, 0.0, 1.0]), "one that does not pays nothing"
        assert found.fits[2] == pytest.approx([1 / 3] * 3), "and of one of which nothing is known nothing is said"


def test_states_of_one_plant_are_paid_for_least() -> None:
    states = {"s0": "usually", "s1": "usually"}
    found = of(score(states=states), score(states=states, together=True), of_whom=observer(varies=0.5, together=0.1))
    assert found.fits[:, 0] == pytest.approx([0.5**0.5, 0.5**0.1])
    assert found.truth[0] == pytest.approx(found.truth[1]), "how often each is named is the same"


def test_wide_ranges_are_paid_for_in_part_against_a_middling_one() -> None:
    steps = tuple(float(n) for n in range(1, 21))
    spans = [score(range=(1, 2)), score(range=(1, 8)), score(range=(1, 20)), None, None]  # the last are not known
    for varies in (1.0, 0.5):
        found = shown(asked("number", "count"), spans, steps, observer(varies=varies), "unknown")
        width = 1 / found.truth[:3].max(axis=1)
        assert found.fits[:3].max(axis=1) == pytest.approx(1 / width * (width / width[1]) ** (1 - varies))
    assert found.fits[1] == pytest.approx(found.truth[1])
    ratio = found.fits[0, 0] / found.fits[2, 0]
    assert ratio == pytest.approx(math.sqrt(found.truth[0, 0] / found.truth[2, 0]))


# -- in the tables -----------------------------------------------------------------------------------


def table(*scores: Score | None, age: Age, **differs: Any) -> Table:
    ids = tuple("abc"[: len(scores)])
    plants = {
        i: SimpleNamespace(characters={} if s is None else {"asked": s}) for i, s in zip(ids, scores, strict=True)
    }
    flora: Any = SimpleNamespace(
        ids=ids, characters={"asked": asked()}, species=plants, is_applicable=lambda species, character: True
    )
    return Likelihoods(flora, observer(taken_for={}, seldom={}, **differs), age).tables["asked"]


def test_an_unknown_younger_plant_moves_nothing() -> None:
    """Of two species of which one pricks in seed only: on leaves alone no answer tells them apart."""
    pricks = score(states={"s0": "always"}, when="seeding")
    found = table(pricks, None, score(states={"s1": "always"}), age="leaves")
    for state in ("s0", "s1", "s2"):
        told = found.likelihood((state,))
        assert told[0] == told[1] == pytest.approx(1 / 3)
        assert found.verdict((state,), 0) is None
    assert not found.known[0]
    in_seed = table(pricks, None, score(states={"s1": "always"}), age="seeds")
    assert in_seed.likelihood(("s0",))[0] > 2 * in_seed.likelihood(("s0",))[1]
    assert (in_seed.verdict(("s0",), 0), in_seed.verdict(("s1",), 0)) == ("agrees", "disagrees")


def test_a_known_younger_plant_counts_at_its_age() -> None:
    pricks = score(states={"s0": "always"}, when="seeding", before={"s1": "always"})
    young, old = (table(pricks, None, age=age).likelihood(("s1",)) for age in ("leaves", "seeds"))
    assert young[0] > 2 * young[1] and old[0] < old[1]
    for age in AGES:
        assert table(pricks, None, age=age).verdict(("s1",), 0) == "agrees", "whichever age, it is within the file"


def test_a_verdict_on_every_species_is_that_on_each() -> None:
    """Agrees where any named state is in the file; nothing is said of what is not known; a missing part disagrees."""
    found = table(score(states={"s0": "usually", "s1": "rarely"}), None, score(states={"s2": "always"}), age="unknown")
    assert list(found.verdicts(("s1",))) == [1, 0, -1] and list(found.verdicts(("s1", "s2"))) == [1, 0, 1]
    assert [found.verdict(("s1",), row) for row in range(3)] == ["agrees", None, "disagrees"]
    assert not found.verdicts(()).any()
    lacking = replace(found, applicable=np.array([False, False, True]))
    assert list(lacking.verdicts(("s0",))) == [-1, -1, -1]
    steps = np.array([[AGREES, DISAGREES, DISAGREES * 0.99, 1.0]])
    number = Table(
        asked("number"), (1.0, 2.0, 4.0, 8.0), steps, np.vstack([steps, steps]), np.array([True]), np.array([True])
    )
    assert [number.verdict(step, 0) for step in (1.0, 2.0, 4.0, 8.0)] == ["agrees", None, "disagrees", "agrees"]


@pytest.mark.parametrize("kind", ["choice", "number", "month"])
def test_any_answer_on_a_part_that_a_plant_lacks_disagrees_and_unsure_does_not(kind: str) -> None:
    """Also where the file scores it, or nothing is known of it."""
    answers: Any = {"choice": ("s0", "s1", "s2"), "number": (1.0, 4.0, 16.0), "month": (1.0, 2.0, 3.0)}[kind]
    truth = np.array([[1.0, 0.0, 0.0]] * 4)
    known, applicable = np.array([True, False, True, False]), np.array([True, True, False, False])
    found = Table(asked(kind), answers, truth, np.vstack([truth, truth[:1]]), known, applicable)
    for place, scored in ((0, 1), (2, -1)):
        answer = (answers[place],) if kind == "choice" else answers[place]
        assert list(found.verdicts(answer)) == [scored, 0, -1, -1]
    assert not found.verdicts(()).any()


def test_what_answers_to_expect_is_not_softened() -> None:
    two = score(states={"s0": "usually", "s1": "usually"})
    found = table(two, age="unknown", varies=0.5, error=dict.fromkeys(("glance", "handle", "lens", "dig"), 1e-12))
    assert found.rows[0] == pytest.approx([0.5, 0.5, 0.0], abs=1e-9)
    assert found.likelihood(("s0",))[0] == pytest.approx(math.sqrt(0.5))
    assert found.likelihood(("s0", "s1"))[0] == pytest.approx(math.sqrt(0.5))


# -- the flora ---------------------------------------------------------------------------------------


def within(key: Key, age: Age) -> list[tuple[float, str, str, str, str]]:
    """Each answer within a file at an age at which it holds: how well it fits against the best, frequency, where."""
    found = []
    for name, one in key.at(age).tables.items():
        best = np.asarray(one.fits)[:-1].max(axis=0)
        for row, species in enumerate(key.flora.ids):
            told = key.flora.species[species].characters.get(name)
            if not isinstance(told, Score) or not one.applicable[row]:
                continue
            older = told.when is None or key._observer.age[age][told.when] >= LEAST_KNOWN
            value: Any = (told.states or told.range or told.months) if older else told.before
            if isinstance(value, dict):
                answers = list(value.items())
            elif one.character.kind == "number":
                answers = [] if value is None else [(float(v), "number") for v in np.geomspace(*value, 7)]
            else:
                answers = [] if value is None else [(float(month), "month") for month in value]
            for answer, often in answers:
                column = one.column(answer)
                fit = one.likelihood((answer,) if isinstance(answer, str) else answer)[row] / best[column]
                found.append((float(fit), often, species, name, str(answer)))
    return found


@pytest.mark.parametrize("age", AGES)
def test_no_answer_within_a_species_own_file_counts_strongly_against_it(key: Key, age: Age) -> None:
    """Every species, character and state, at each age at which the file holds it."""
    found = within(key, age)
    assert len(found) > 10_000 and {often for _, often, *_ in found} == set(LEAST_FIT)
    assert [one for one in found if one[0] < LEAST_FIT[one[1]]] == []


def test_bindii_pricks_only_once_it_has_set_seed(key: Key) -> None:
    """In leaf `nothing pricks` is no reason against it, in seed it is; and pricking seed speaks for it only in seed."""
    bindii, cotula = key.index["soliva_sessilis"], key.index["cotula_australis"]

    def odds(state: str, *visible: Any) -> float:
        p = key.posterior(Observation(check_answers(key.flora.characters, {"spines": state}), visible=visible))
        before = key.posterior(Observation({}, visible=visible))
        return float(p[bindii] / p[cotula] * before[cotula] / before[bindii])

    assert 0.8 < odds("none", "leaves") < 1.25
    assert odds("none", "leaves", "seeds") < 1 / 2
    assert odds("on_fruit", "leaves", "seeds") > 2 * odds("on_fruit", "leaves")
