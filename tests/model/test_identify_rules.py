"""Each rule of naming at its limit, on a made-up flora whose probabilities are given or can be counted again."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any, get_args

import numpy as np
import pytest
from numpy.typing import NDArray

from model import identify as naming
from model.flora import Flora
from model.flora.character import PARTS, Character
from model.flora.species import LookAlike, Score
from model.identify import (
    MOST_ASKED,
    MOST_UNSURE,
    Finding,
    Key,
    Observation,
    identify,
    photo_log_likelihood,
    would_show,
)
from model.prior import PriorConfig
from model.proof import CONFIRMED, KEPT, LEADS, LIKELY
from model.traits.likelihood import Likelihoods
from model.traits.observer import Age, load_observer
from model.traits.question import Question
from model.traits.relative import expected_evidence
from tests.model.test_proof import taken_for
from tests.model.test_question import SAP, SMELL, character, information, tables

Array = NDArray[np.float64]
A_RELATIVE_IS_OUT = 1e-9
HAIR = 1e-9  # what a probability may lose when it is taken to logarithms and back


def score(**shown: Any) -> Score:
    return Score(source=["CP"], standing="common practice", **shown)


def plant(name: str, characters: dict[str, Any] | None = None) -> Any:
    shown = {"sap": score(states={"sap_0": "always"})} if characters is None else characters
    season = SimpleNamespace(seen=[1], flowers=[1], seeds=[1])
    return SimpleNamespace(
        id=name, scientific_name=f"{name.upper()} lat.", common_name=f"the {name}", characters=shown,
        in_lawns="common", season=season, look_alikes=[],
    )  # fmt: skip


def flora(ids: tuple[str, ...] = ("a", "b", "c"), alike: dict[str, tuple[str, ...]] | None = None) -> Any:
    asked = {c.id: c for c in (character("smell"), character("sap"))}
    made = SimpleNamespace(
        ids=ids, characters=asked, species={name: plant(name) for name in ids},
        look_alikes={name: (alike or {}).get(name, ()) for name in ids},
        is_applicable=lambda species, character: (species, character) != ("b", "smell"),
    )  # fmt: skip
    made.calendar = Flora.calendar.func(made)
    return made


def a_key(
    p: list[float] | None = None,
    alike: dict[str, tuple[str, ...]] | None = None,
    relatives: float = A_RELATIVE_IS_OUT,
    outside: tuple[LookAlike, ...] = (),
) -> Key:
    """A key over three species; its posterior is ``p`` where that is given.

    ``outside``: what `a` is taken for that is not in the flora.
    """
    key = object.__new__(Key)
    key.flora = flora(alike=alike)
    key.flora.species["a"].look_alikes.extend(outside)
    key._observer = load_observer()
    at_every_age(key, tables((character("smell"), SMELL), (character("sap"), SAP)))
    key.prior_config = PriorConfig(
        unlisted=0.1, relatives=relatives, alike=0.5, looks=1, in_lawns={"common": 1.0}, out_of_season=0.5, regions={},
        usual_region="north", source=["CP"], standing="common practice",
    )  # fmt: skip
    if p is not None:
        key.logs = lambda *_: np.log(p)  # type: ignore[method-assign]
    return key


def at_every_age(key: Key, likelihoods: Likelihoods) -> None:
    likelihoods.flora.species = key.flora.species  # type: ignore[misc]
    likelihoods.flora.is_applicable = key.flora.is_applicable  # type: ignore[method-assign]
    key._aged = dict.fromkeys(get_args(Age), likelihoods)


@pytest.fixture
def hangs_on_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    """Every name keeps what it has with any answer taken away."""
    monkeypatch.setattr(naming, "least_kept", lambda *_: (1.0, "sap"))


class Photo:
    """Evidence of a photo that was compared with photos of ``probabilities``."""

    def __init__(self, probabilities: dict[str, float]) -> None:
        self.probabilities = probabilities
        self.log_likelihood = {name: float(np.log(p)) for name, p in probabilities.items()}
        self.log_likelihood_other = -2.0
        self.photos = ({"file": "a.jpg", "usable": True, "notes": []},)


# -- the posterior ----------------------------------------------------------------------------------


def test_prior_answers_and_photo_are_multiplied() -> None:
    key = a_key()
    answers: Any = {"sap": ("sap_0",), "smell": ("smell_1",)}
    photo: Any = Photo({"a": 0.6, "c": 0.1})
    before = np.array([0.3, 0.3, 0.3, 0.1])
    told = before * np.array(SAP)[:, 0] * np.array(SMELL)[:, 1]
    assert key.posterior(Observation(answers)) == pytest.approx(told / told.sum())
    seen = told * np.array([0.6, np.exp(-2.0), 0.1, np.exp(-2.0)])
    assert key.posterior(Observation(answers, photo)) == pytest.approx(seen / seen.sum())
    assert photo_log_likelihood(key.flora, photo) == pytest.approx(np.log([0.6, np.exp(-2), 0.1, np.exp(-2)]))
    assert key.index == {"a": 0, "b": 1, "c": 2}


def test_everything_that_is_given_is_observed() -> None:
    key, seen = a_key(), []
    key.logs = lambda observation: seen.append(observation) or np.log([0.3, 0.3, 0.3, 0.1])  # type: ignore[method-assign]
    photo: Any = Photo({"a": 0.5})
    identify(key, SAP_TELLS, photo, 8, "south", ("leaves",))
    assert seen == [Observation(SAP_TELLS, photo, 8, "south", ("leaves",))]
    assert key.at("seeds") is key.at("seeds"), "the tables are made once"


# -- the status -------------------------------------------------------------------------------------

SAP_TELLS: Any = {"sap": ("sap_0",)}  # a from b and c by 49 to 1


def leading(sure: float) -> list[float]:
    return [sure, 1 - sure - 0.03, 0.02, 0.01]


@pytest.mark.usefixtures("hangs_on_nothing")
@pytest.mark.parametrize(
    ("p", "status"),
    [
        (leading(CONFIRMED + HAIR), "confirmed"),
        (leading(CONFIRMED - HAIR), "likely"),
        (leading(LIKELY + HAIR), "likely"),
        (leading(LIKELY - HAIR), "undecided"),
        ([0.2, 0.2, 0.6 - LEADS - HAIR, LEADS + HAIR], "unlisted"),
        ([0.2, 0.2, 0.6 - LEADS + HAIR, LEADS - HAIR], "undecided"),
    ],
)
def test_the_status_follows_the_probability(p: list[float], status: str) -> None:
    found = identify(a_key(p), SAP_TELLS)
    assert found.status == status
    named = status in ("confirmed", "likely")
    assert found.species == ("a" if named else None)
    assert found.probability == (pytest.approx(p[0]) if named else None)
    assert found.unlisted_probability == pytest.approx(p[-1]) and found.species_count == 3


@pytest.mark.usefixtures("hangs_on_nothing")
def test_a_name_is_proven_only_by_answers_that_exclude_every_look_alike() -> None:
    p = [0.97, 0.01, 0.01, 0.01]
    alike = {"a": ("b", "c")}
    assert identify(a_key(p, alike=alike), SAP_TELLS).status == "confirmed"
    only_smell = identify(a_key(p, alike=alike), {"smell": ("smell_0",)})
    assert only_smell.status == "likely" and only_smell.still_to_exclude == ("b", "c")
    nothing = identify(a_key(p), {})
    assert nothing.status == "likely", "without any answer nothing is proven"
    unsure = identify(a_key(p, alike=alike), {"sap": (), "smell": ()})
    assert unsure.status == "likely" and unsure.still_to_exclude == ("b", "c")
    undecided = identify(a_key([0.5, 0.3, 0.1, 0.1], alike=alike), {"smell": ("smell_0",)})
    assert undecided.still_to_exclude == ()
    by_name_only = a_key(p)
    by_name_only.flora.species["a"] = plant("a", {})  # type: ignore[index]
    assert identify(by_name_only, SAP_TELLS).status == "likely"


def left_to_a(kept: float) -> list[float]:
    return [kept, 1 - kept - 0.002, 0.001, 0.001]


def kept_without_sap(kept: float) -> list[float]:
    """What is believed with an answer on the sap, where without it this much were left to `a`."""
    without = np.array(left_to_a(kept))
    whole = without * np.array(SAP)[:, 0]
    return list(whole / whole.sum())


def test_a_name_must_not_hang_on_one_answer() -> None:
    stands, hangs = (identify(a_key(kept_without_sap(kept)), SAP_TELLS) for kept in (KEPT + HAIR, KEPT - HAIR))
    assert stands.probability is not None and hangs.probability is not None
    assert min(stands.probability, hangs.probability) >= CONFIRMED
    assert (stands.status, stands.hangs_on) == ("confirmed", None)
    assert (hangs.status, hangs.hangs_on) == ("likely", "sap")
    # Two answers that say the same: neither is missed.
    both = np.array(kept_without_sap(0.6)) * np.array(SMELL)[:, 0]
    answers: Any = {"sap": ("sap_0",), "smell": ("smell_0",)}
    found = identify(a_key(list(both / both.sum())), answers)
    assert found.hangs_on == "sap", "the one that is missed more is named"
    unnamed = identify(a_key(kept_without_sap(0.01)), SAP_TELLS)
    assert (unnamed.species, unnamed.hangs_on) == (None, None)


def test_a_photo_of_the_lead_is_evidence_against_a_relative_and_one_of_others_is_none() -> None:
    p, answers = [0.97, 0.01, 0.01, 0.01], SAP_TELLS
    key = a_key(p, relatives=0.3)
    none = identify(key, answers).relative_probability
    seen = identify(key, answers, Photo({"a": 0.9})).relative_probability  # type: ignore[arg-type]
    other = identify(key, answers, Photo({"b": 0.9})).relative_probability  # type: ignore[arg-type]
    assert none is not None and seen is not None and other == pytest.approx(none)
    before = 0.3 / 0.7 * (0.5 + 0.5 * 0.5 / 0.98)
    odds = before * (0.5 + 0.5 * np.exp(-2.0) / 0.9)
    assert none == pytest.approx(before / (1 + before)) and seen == pytest.approx(odds / (1 + odds))
    key.prior_config = key.prior_config.model_copy(update={"looks": 3})
    more = identify(key, answers, Photo({"a": 0.9})).relative_probability  # type: ignore[arg-type]
    odds = before * (0.5 + 0.5 * np.exp(-2.0) / 0.9) ** 3
    assert more == pytest.approx(odds / (1 + odds)), "photos count for as many answers as the configuration says"
    still = identify(key, answers, Photo({"b": 0.9})).relative_probability  # type: ignore[arg-type]
    assert still == pytest.approx(none)


def test_the_lead_may_be_any_listed_species_and_the_photo_counts() -> None:
    last = identify(a_key([0.01, 0.01, 0.97, 0.01]), {"sap": ("sap_1",)})
    assert (last.species, last.candidates[0].species) == ("c", "c")
    photo: Any = Photo({"b": 0.8})
    found = identify(a_key(), {}, photo)
    assert found.candidates[0].probability == pytest.approx(a_key().posterior(Observation({}, photo))[1])
    assert found.candidates[0].species == "b" and found.candidates[0].probability > 0.6


# -- the next question ------------------------------------------------------------------------------


def all_asked(monkeypatch: pytest.MonkeyPatch, key: Key, answers: Any, after: int = 0, **more: Any) -> list[Any]:
    """With what next_question is asked, each time, where it finds something only ``after`` so many times."""
    told: list[Any] = []

    def choose(
        tables: Any, p: Any, answers: Any, left: Any = (), evidence: Any = None, barred: Any = (), settled: bool = False
    ) -> Question | None:
        told.append(
            SimpleNamespace(
                tables=tables, p=p, answers=answers, left=left, evidence=evidence, barred=barred, settled=settled
            )
        )
        return Question(character("sap"), 0.5) if len(told) > after else None

    monkeypatch.setattr(naming, "next_question", choose)
    found = identify(key, answers, **more)
    assert (found.next_question is None) == (len(told) <= after)
    assert (found.stop is None) == (len(told) > after)
    return told


def asked_with(monkeypatch: pytest.MonkeyPatch, key: Key, answers: Any, **more: Any) -> Any:
    """What next_question is asked with first; None where it is not asked."""
    told = all_asked(monkeypatch, key, answers, **more)
    return told[0] if told else None


@pytest.mark.usefixtures("hangs_on_nothing")
def test_a_proven_name_needs_no_question(monkeypatch: pytest.MonkeyPatch) -> None:
    assert asked_with(monkeypatch, a_key([0.97, 0.01, 0.01, 0.01]), SAP_TELLS) is None
    found = identify(a_key([0.97, 0.01, 0.01, 0.01]), SAP_TELLS)
    assert (found.stop, found.would_decide) == ("proven", ())


@pytest.mark.usefixtures("hangs_on_nothing")
def test_look_alikes_are_asked_about_once_the_lead_is_settled(monkeypatch: pytest.MonkeyPatch) -> None:
    answers: Any = {"smell": ("smell_0",)}
    p, less = leading(CONFIRMED + HAIR), leading(CONFIRMED - HAIR)
    key = a_key(p, alike={"a": ("b",)})
    settled = asked_with(monkeypatch, key, answers)
    assert settled.tables is key.likelihoods and settled.left == (1,) and settled.evidence is None
    assert settled.p == pytest.approx(p) and settled.answers == answers
    open_yet = asked_with(monkeypatch, a_key(less, alike={"a": ("b",)}), answers)
    assert open_yet.left == () and open_yet.evidence is None and open_yet.p == pytest.approx(less)


@pytest.mark.usefixtures("hangs_on_nothing")
def test_then_about_evidence_against_a_relative(monkeypatch: pytest.MonkeyPatch) -> None:
    key = a_key(leading(CONFIRMED + HAIR), relatives=0.3)
    told = all_asked(monkeypatch, key, SAP_TELLS, after=2)[-1]
    assert told.left == () and told.settled
    own, large = np.array(SAP)[0], np.array(SAP)[-1]
    assert told.evidence[1] == pytest.approx(-(own * np.log(0.5 + 0.5 * large / own)).sum())


OUTSIDE = taken_for("x", "smell", "edge")
COIN = [[0.5, 0.5]] * 4


def a_key_with_outside(relatives: float = A_RELATIVE_IS_OUT, part: Any = "leaves") -> Key:
    """`a` leads; the smell and the edge of its leaf part it from a plant outside the flora, and the sap does not."""
    key = a_key(leading(CONFIRMED + HAIR), alike={"a": ("b",)}, relatives=relatives, outside=(OUTSIDE,))
    asked = [
        (character("spots"), SAP), (character("sap"), SAP), (character("smell", part=part), SMELL),
        (character("edge", part=part), COIN),
    ]  # fmt: skip
    key.flora.characters = {c.id: c for c, _ in asked}  # type: ignore[misc]
    at_every_age(key, tables(*asked))
    return key


@pytest.mark.usefixtures("hangs_on_nothing")
def test_look_alikes_outside_the_flora_are_asked_about_once_those_in_it_are_excluded(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    key = a_key_with_outside(relatives=0.3)
    against = expected_evidence(key.likelihoods, 0, 0.5)
    inside, outside, relative = all_asked(monkeypatch, key, {"sap": ()}, after=2)
    assert inside.left == (1,) and inside.evidence is None
    assert outside.left == () and outside.evidence == pytest.approx(against * [0, 0, 1, 1]), "only what parts the two"
    assert relative.left == () and relative.evidence == pytest.approx(against) and against[0] > against[2] > 0
    for one in (inside, outside, relative):
        assert one.settled and one.p == pytest.approx(leading(CONFIRMED + HAIR)) and one.answers == {"sap": ()}
    told, _, _ = all_asked(monkeypatch, key, SAP_TELLS, after=2)
    assert told.left == ()
    told = all_asked(monkeypatch, a_key(leading(CONFIRMED + HAIR), relatives=0.3), SAP_TELLS, after=2)[1]
    assert told.evidence == pytest.approx([0, 0]), "where nothing is named outside the flora"


@pytest.mark.usefixtures("hangs_on_nothing")
def test_a_relative_is_asked_about_only_while_it_is_too_probable_to_prove_the_name(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    for relative, asked in ((1 - CONFIRMED + HAIR, True), (1 - CONFIRMED - HAIR, False)):
        odds = relative / (1 - relative) / (0.5 + 0.5 * 0.5 / 0.98)
        key = a_key_with_outside(relatives=odds / (1 + odds))
        assert all_asked(monkeypatch, key, SAP_TELLS, after=2)[2].evidence.any() == asked


def next_of(key: Key, answers: Any, **more: Any) -> str | None:
    found = identify(key, answers, **more)
    assert (found.next_question is None) == (found.stop is not None)
    return found.next_question and found.next_question.character.id


@pytest.mark.usefixtures("hangs_on_nothing")
def test_separating_a_plant_from_one_outside_comes_before_more_information() -> None:
    """The spots tell most, the smell parts the two; it is asked until one answer on it, or on the edge, agrees."""
    for relatives in (A_RELATIVE_IS_OUT, 0.3):
        key = a_key_with_outside(relatives)
        assert next_of(key, {"sap": ()}) == "spots", "not before what it is taken for in the flora"
        assert next_of(key, SAP_TELLS) == "smell"
        several = a_key_with_outside(relatives)
        several.flora.species["a"].look_alikes.append(taken_for("y", "spots"))
        assert next_of(several, SAP_TELLS) == "spots", "what parts the plant from any that is left"
    unsettled = a_key_with_outside()
    unsettled.logs = lambda *_: np.log(leading(CONFIRMED - 0.1))  # type: ignore[method-assign]
    assert next_of(unsettled, SAP_TELLS) == "spots", "not before the name is settled"
    assert identify(a_key_with_outside(), {**SAP_TELLS, "smell": ("smell_0",)}).status == "confirmed"


@pytest.mark.usefixtures("hangs_on_nothing")
def test_what_is_left_outside_the_flora_is_named_beside_the_plant() -> None:
    key = a_key_with_outside()
    key.flora.species["a"].look_alikes.append(taken_for("y", "sap"))
    found = identify(key, SAP_TELLS)
    assert (found.species, found.still_to_exclude, found.outside_to_exclude) == ("a", (), ("x",))
    assert found.as_json()["outside_to_exclude"] == ("x",)
    assert identify(key, {"sap": ()}).outside_to_exclude == ("x", "y")
    assert identify(key, {**SAP_TELLS, "smell": ("smell_0",)}).outside_to_exclude == ()
    key.logs = lambda *_: np.log(leading(LIKELY - HAIR))  # type: ignore[method-assign]
    unnamed = identify(key, SAP_TELLS)
    assert (unnamed.species, unnamed.outside_to_exclude) == (None, ())


def test_a_name_that_hangs_on_one_answer_comes_before_what_is_outside(monkeypatch: pytest.MonkeyPatch) -> None:
    told = asked_with(monkeypatch, a_key(kept_without_sap(0.6), outside=(OUTSIDE,)), SAP_TELLS)
    assert told.p == pytest.approx(left_to_a(0.6)) and told.evidence is None and not told.settled


def test_a_name_that_hangs_on_one_answer_is_asked_about_as_if_that_had_not_been_given(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    told = asked_with(monkeypatch, a_key(kept_without_sap(0.6)), SAP_TELLS)
    assert told.p == pytest.approx(left_to_a(0.6)) and told.left == () and told.evidence is None
    # Look-alikes come after, as does what makes a relative improbable.
    alike = asked_with(monkeypatch, a_key(kept_without_sap(0.6), alike={"a": ("b",)}), {"sap": ("sap_0",), "smell": ()})
    assert alike.p == pytest.approx(left_to_a(0.6)), "the sap tells b, so that it is no look-alike to be told"
    without = np.array([KEPT - 0.02, 0.001, 1.018 - KEPT, 0.001])
    whole = without * np.array(SMELL)[:, 0]
    p = list(whole / whole.sum())
    left = asked_with(monkeypatch, a_key(p, alike={"a": ("b",)}), {"smell": ("smell_0",)})
    assert p[0] >= CONFIRMED and left.left == () and left.p == pytest.approx(without)


def test_the_question_is_the_one_of_most_bits() -> None:
    found = identify(a_key(), {}).next_question
    assert found is not None and found.character.id == "sap"
    assert found.bits == pytest.approx(information(np.array([0.3, 0.3, 0.3, 0.1]), np.array(SAP)))


# -- when no more is asked ---------------------------------------------------------------------------


def wide_key(count: int, p: list[float] | None = None) -> Key:
    """A key that has more to ask than anybody is asked; each answer is a coin that tells a little of `a`."""
    key = a_key(p or [0.4, 0.3, 0.2, 0.1])
    coins = [(character(f"coin_{i}"), [[0.9, 0.1], [0.2, 0.8], [0.5, 0.5], [0.5, 0.5]]) for i in range(count)]
    key.flora.characters = {c.id: c for c, _ in coins}  # type: ignore[misc]
    at_every_age(key, tables(*coins))
    return key


def told(count: int, unsure: int = 0) -> Any:
    return {f"coin_{i}": () if i < unsure else ("coin_" + str(i) + "_0",) for i in range(count)}


def test_after_so_many_answers_no_more_is_asked() -> None:
    key = wide_key(MOST_ASKED + 2)
    before, at = (identify(key, told(count)) for count in (MOST_ASKED - 1, MOST_ASKED))
    assert before.stop is None and before.next_question is not None and before.would_decide == ()
    assert (at.stop, at.next_question) == ("asked enough", None) and at.would_decide != ()
    assert MOST_ASKED == 12 and MOST_UNSURE == 4
    # Unsure counts as an answer that was asked for.
    assert identify(key, told(MOST_ASKED, MOST_UNSURE - 1)).stop == "asked enough"


def test_after_so_many_unsure_no_more_is_asked() -> None:
    key = wide_key(MOST_ASKED + 2)
    before, at = (identify(key, told(7, unsure)) for unsure in (MOST_UNSURE - 1, MOST_UNSURE))
    assert before.stop is None and before.next_question is not None
    assert (at.stop, at.next_question) == ("too often unsure", None) and at.would_decide != ()
    later = {**told(6, MOST_UNSURE - 1), "coin_9": ("coin_9_0",), "coin_10": ()}
    assert identify(key, later).stop == "too often unsure", "they need not follow one another"


def test_where_no_question_is_left_it_says_so() -> None:
    found = identify(wide_key(2), told(2))
    assert (found.stop, found.next_question, found.would_decide) == ("nothing left", None, ())
    unsure = identify(wide_key(2), told(2, 2))
    assert unsure.stop == "nothing left" and [d.character for d in unsure.would_decide] == ["coin_0"]


@pytest.mark.usefixtures("hangs_on_nothing")
def test_what_would_decide_is_sought_among_all_ages_and_what_still_counts(monkeypatch: pytest.MonkeyPatch) -> None:
    """What a later visit may show is what plants of any age show; what is set aside is not known yet."""
    asked: list[Any] = []
    monkeypatch.setattr(naming, "deciders", lambda *given: asked.append(given) or ())
    p = leading(CONFIRMED + HAIR)
    key = wide_key(MOST_UNSURE, p)
    key._aged["leaves"] = tables(*[(c, [[0.5, 0.5]] * 4) for c in key.flora.characters.values()])
    key.flora.look_alikes["a"] = ("c",)
    key.flora.species["a"].look_alikes += [taken_for("x", "petal"), taken_for("y", "petal", "edge")]
    key.flora.characters["petal"] = character("petal", part="flowers")
    answers: Any = {"petal": ("petal_0",), **told(MOST_UNSURE, MOST_UNSURE)}
    found = identify(key, answers, None, 7, None, ("leaves",))
    assert (found.status, found.stop, found.set_aside) == ("likely", "too often unsure", ("petal",))
    (tables_, chances, counted, hidden, left, parting) = asked[0]
    assert tables_ is key.likelihoods is not key.at("leaves") and chances == pytest.approx(p)
    assert counted == told(MOST_UNSURE, MOST_UNSURE) and hidden == {"petal"} and left == (2,)
    assert parting == {"petal", "edge"}, "and what parts it from plants outside the flora"
    key.logs = lambda *_: np.log(leading(LIKELY - HAIR))  # type: ignore[method-assign]
    assert identify(key, answers, None, 7, None, ("leaves",)).species is None
    assert asked[1][5] == set(), "which is no matter where nothing is named"


@pytest.mark.usefixtures("hangs_on_nothing")
def test_a_proven_name_is_proven_however_much_was_asked() -> None:
    sure = [0.97, 0.01, 0.01, 0.01]
    for answers in (told(MOST_ASKED + 1), told(7, MOST_UNSURE)):
        found = identify(wide_key(MOST_ASKED + 2, sure), answers)
        assert (found.stop, found.would_decide, found.status) == ("proven", (), "confirmed")


# -- what can be seen --------------------------------------------------------------------------------


def a_key_with_flowers(p: list[float] | None = None) -> Key:
    """The sap can only be told from the flowers, and the spots only where there is sap."""
    key = a_key(p)
    asked = [
        (character("smell"), SMELL),
        (character("sap", part="flowers"), SAP),
        (character("spots", gated="sap"), SAP),
    ]
    key.flora.characters = {c.id: c for c, _ in asked}  # type: ignore[misc]
    at_every_age(key, tables(*asked))
    return key


def test_what_is_out_of_sight_is_not_asked_nor_what_hangs_on_it() -> None:
    key = a_key_with_flowers()
    assert identify(key, {}).next_question.character.id == "sap"  # type: ignore[union-attr]
    seen = identify(key, {}, visible=("leaves", "flowers"))
    assert seen.next_question is not None and seen.next_question.character.id == "sap"
    unseen = identify(key, {}, visible=("leaves",))
    assert unseen.next_question is not None and unseen.next_question.character.id == "smell"
    done = identify(key, {"smell": ("smell_0",)}, visible=("leaves",))
    assert (done.next_question, done.stop) == (None, "nothing left")
    assert (done.visible, seen.visible, identify(key, {}).visible) == (("leaves",), ("leaves", "flowers"), PARTS)


def test_answers_out_of_sight_are_set_aside_and_come_back() -> None:
    key = a_key_with_flowers()
    answers: Any = {"spots": ("spots_0",), "smell": ("smell_0",), "sap": ("sap_0",)}
    unseen, smell_only = (identify(key, a, visible=("leaves",)) for a in (answers, {"smell": ("smell_0",)}))
    assert unseen.set_aside == ("spots", "sap"), "in the order in which they were given"
    assert unseen.candidates == smell_only.candidates and unseen.status == smell_only.status
    assert key.posterior(Observation(answers, visible=("leaves",))) == pytest.approx(
        key.posterior(Observation({"smell": ("smell_0",)}, visible=("leaves",)))
    )
    back = identify(key, answers, visible=("leaves", "flowers"))
    assert back.set_aside == () and back.candidates[0].agrees == ("spots", "smell", "sap")
    assert identify(key, answers).set_aside == ()
    told = key.posterior(Observation(answers, visible=PARTS))
    likely = np.log(told) - np.log(key.posterior(Observation({}, visible=PARTS)))
    rows = np.log(np.array(SAP)[:, 0] ** 2 * np.array(SMELL)[:, 0])
    assert likely - likely[0] == pytest.approx(rows - rows[0])


def test_what_is_set_aside_counts_for_no_stop_and_for_no_proof() -> None:
    key = a_key_with_flowers([0.97, 0.01, 0.01, 0.01])
    found = identify(key, {"sap": ("sap_0",)}, visible=("leaves",))
    assert (found.status, found.hangs_on) == ("likely", None)
    asked = wide_key(MOST_ASKED + 2)
    hidden = {f"hidden_{i}": character(f"hidden_{i}", part="seeds") for i in range(MOST_ASKED)}
    asked.flora.characters |= hidden
    answers: Any = {**dict.fromkeys(hidden, ()), **told(3)}
    assert identify(asked, answers, visible=("leaves",)).stop is None


@pytest.mark.parametrize(
    ("visible", "age"),
    [
        (None, "unknown"), (("leaves",), "leaves"), (("leaves", "roots"), "leaves"), (("leaves", "flowers"), "flowers"),
        (("leaves", "flowers", "seeds"), "seeds"), (("seeds",), "seeds"), (("roots",), "leaves"),
    ],
)  # fmt: skip
def test_answers_are_weighed_by_what_plants_of_that_age_show(visible: Any, age: Age) -> None:
    key = a_key(alike={"a": ("b",)})
    turned = {name: [[0.5, 0.5]] * 4 for name in get_args(Age)} | {age: [*SAP[:3], SAP[2]]}
    for name, rows in turned.items():
        key._aged[name] = tables((character("sap"), rows))
        key._aged[name].flora.species = key.flora.species  # type: ignore[misc]
    key.flora.characters = {"sap": character("sap", part=(visible or PARTS)[0])}  # type: ignore[misc]
    before, after = (key.posterior(Observation(answers, visible=visible)) for answers in ({}, SAP_TELLS))
    assert after[0] / after[1] == pytest.approx(49 * before[0] / before[1])
    found = identify(key, SAP_TELLS, visible=visible)
    assert found.candidates[0].species == "a" and found.candidates[0].probability == pytest.approx(after[0])
    assert found.species == "a" and found.still_to_exclude == (), "what the answer tells apart goes by age too"


def test_the_month_of_flowers_in_sight_is_not_asked(monkeypatch: pytest.MonkeyPatch) -> None:
    flowers = ("leaves", "flowers")
    for month, visible, barred in ((7, flowers, True), (None, flowers, False), (7, None, False), (7, PARTS[:1], False)):
        key = a_key([0.4, 0.3, 0.2, 0.1])
        told = asked_with(monkeypatch, key, {}, month=month, visible=visible)
        assert ("flowering_month" in told.barred) is barred


# -- candidates ---------------------------------------------------------------------------------------


def test_candidates_come_best_first_with_evidence_for_and_against_them() -> None:
    photo: Any = Photo({"a": 0.2, "b": 0.5})
    key = a_key([0.2, 0.5, 0.2, 0.1])
    found = identify(key, {"sap": ("sap_1",), "smell": ("smell_0",)}, photo).candidates
    assert [c.species for c in found] == ["b", "a", "c"]
    assert [c.probability for c in found] == pytest.approx([0.5, 0.2, 0.2])
    assert (found[1].scientific_name, found[1].common_name) == ("A lat.", "the a")
    assert [c.photo_probability for c in found] == [0.5, 0.2, None]
    assert [c.evidence for c in found] == ["photographed", "photographed", None]
    # Every state of these tables has some share, so that nothing disagrees; one that lacks the part does.
    assert found[0].agrees == ("sap", "smell") and found[0].disagrees == ()
    at_every_age(key, tables((character("smell"), SMELL), (character("sap"), SAP), lacking={"sap": [0]}))
    lacking = identify(key, {"sap": ("sap_1",), "smell": ()}).candidates[1]
    assert (lacking.species, lacking.agrees, lacking.disagrees) == ("a", (), ("sap",))
    assert lacking.evidence is None and lacking.photo_probability is None
    without: Any = SimpleNamespace(
        probabilities={"a": 0.5}, log_likelihood={}, log_likelihood_other=0.0, photos=[{"file": "x"}]
    )
    assert [c.evidence for c in identify(key, {}, without).candidates] == [None, "photographed", None]


def test_ten_are_listed_and_all_others_of_a_thousandth() -> None:
    for eleventh, count in ((0.001, 11), (0.0009, 10)):
        p = np.array([0.5] + [0.05] * 9 + [eleventh] + [0.0001] * 3 + [0.04])
        assert naming._listed(p) == list(range(count))
    even = np.array([0.1, 0.3, 0.3, 0.3])
    assert naming._listed(even) == [1, 2, 0], "the order of the flora where they are alike"


# -- answers against the photo ------------------------------------------------------------------------


def override(p: list[float], photo: Photo | None, answers: Any = None) -> Any:
    return identify(a_key(p), SAP_TELLS if answers is None else answers, photo).override  # type: ignore[arg-type]


def test_answers_that_overturn_the_photo_are_named_strongest_first() -> None:
    photo = Photo({"a": 0.1, "b": 0.6})
    found = override([0.9, 0.05, 0.03, 0.02], photo, {"smell": ("smell_0",), "sap": ("sap_0",)})
    assert (found.photo_said, found.answers_say) == ("b", "a")
    assert found.reasons == (
        {"character": "sap", "answered": ["sap_0"], "would_have_shown": "so (always)", "ratio": 49.0},
    )
    found = override([0.9, 0.03, 0.05, 0.02], Photo({"c": 0.6}), {"smell": ("smell_0",), "sap": ("sap_0",)})
    assert [(r["character"], r["ratio"]) for r in found.reasons] == [("sap", 49.0), ("smell", 9.0)]
    assert found.reasons[1]["would_have_shown"] == "not known"


def test_reasons_are_sorted_by_their_weight_and_not_by_their_names() -> None:
    key = a_key([0.9, 0.03, 0.05, 0.02])
    at_every_age(key, tables((character("smell"), SAP), (character("sap"), SMELL)))
    photo: Any = Photo({"c": 0.6})
    found = identify(key, {"sap": ("sap_0",), "smell": ("smell_0",)}, photo).override
    assert found is not None and [r["character"] for r in found.reasons] == ["smell", "sap"]
    one = identify(key, {"smell": "smell_0"}, photo).override  # type: ignore[dict-item]
    assert one is not None and one.reasons[0]["answered"] == "smell_0", "what is no list of states is told as it is"


def test_a_ratio_of_two_counts_as_a_reason() -> None:
    for low, many in ((0.4, 1), (0.401, 0)):
        key = a_key([0.9, 0.05, 0.03, 0.02])
        at_every_age(key, tables((character("sap"), [[0.8, 0.2], [low, 1 - low], [0.5, 0.5], [0.5, 0.5]])))
        found = identify(key, SAP_TELLS, Photo({"b": 0.6})).override  # type: ignore[arg-type]
        assert found is not None and len(found.reasons) == many
    at_every_age(key, tables((character("sap"), [[0.8, 0.2], [0.0647, 0.9353], [0.5, 0.5], [0.5, 0.5]])))
    found = identify(key, SAP_TELLS, Photo({"b": 0.6})).override  # type: ignore[arg-type]
    assert found is not None and found.reasons[0]["ratio"] == 12.4


def test_unlisted_may_overturn_the_photo() -> None:
    found = override([0.2, 0.2, 0.1, 0.5], Photo({"b": 0.6}), {"sap": ("sap_0",)})
    assert found.answers_say == "unlisted" and found.reasons[0]["ratio"] == 25.0
    assert override([0.2, 0.21, 0.1, 0.49], Photo({"b": 0.6})) is None, "the lead is what the photo said"
    same = override([0.1, 0.3, 0.1, 0.5], Photo({"b": 0.6}))
    assert same is not None and same.answers_say == "unlisted"


def test_nothing_is_overturned_without_a_photo_of_a_listed_species_and_answers() -> None:
    p = [0.9, 0.05, 0.03, 0.02]
    assert override(p, None) is None
    assert override(p, Photo({"b": 0.6}), {}) is None
    assert override(p, Photo({})) is None
    assert override(p, Photo({"a": 0.6, "b": 0.1})) is None
    assert override(p, Photo({"zz": 0.9})) is None, "a species that the key does not have"
    # What is missing to 1 is `other`: it must not outweigh the photo's first choice.
    assert override(p, Photo({"b": 0.5})) is not None
    assert override(p, Photo({"b": 0.4, "c": 0.15})) is None
    assert override(p, Photo({"b": 0.4, "c": 0.3})) is not None


def test_what_a_species_shows_in_words() -> None:
    told = flora()
    width = Character(
        id="width", kind="number", effort="glance", part="leaves", question="?", look="l", otherwise="o", unit="mm",
        domain=(1, 90),
    )  # fmt: skip
    told.characters |= {"width": width, "flowers": character("flowers")}
    told.species["a"] = plant(
        "a",
        {
            "sap": score(states={"sap_0": "usually", "sap_1": "rarely"}),
            "width": score(range=(2.0, 10.5)),
            "flowers": score(months=[9, 10]),
            "smell": "unknown",
        },
    )
    assert would_show(told, "a", "sap") == "so (usually); so (rarely)"
    assert would_show(told, "a", "width") == "2 to 10.5 mm" and would_show(told, "a", "flowers") == "months 9, 10"
    assert would_show(told, "a", "smell") == "not known" and would_show(told, "c", "width") == "not known"
    assert would_show(told, "b", "smell") == "has no such part"


# -- as data -------------------------------------------------------------------------------------------


def test_a_finding_is_plain_data() -> None:
    photo: Any = Photo({"a": 0.6})
    found = identify(a_key([0.8, 0.1, 0.05, 0.05]), {"smell": ("smell_0",)}, photo)
    data = found.as_json()
    assert (
        data["photos"] == ({"file": "a.jpg", "usable": True, "notes": []},) and found.photos[0] is not photo.photos[0]
    )
    question = found.next_question
    assert question is not None and data["next_question"] == {
        "character": "sap", "text": "sap?", "look": "look", "otherwise": "no", "kind": "choice", "unit": None,
        "part": "leaves", "states": {"sap_0": "so", "sap_1": "so"}, "groups": {}, "bits": round(question.bits, 3),
    }  # fmt: skip
    assert (data["status"], data["species"], data["species_count"]) == ("likely", "a", 3)
    assert set(data) == set(Finding.__dataclass_fields__)
    done = identify(a_key([0.999997, *[1e-6] * 3]), SAP_TELLS)
    assert done.as_json()["next_question"] is None and done.photos == ()
    assert tuple(data["visible"]) == PARTS and data["stop"] is None and not data["would_decide"]
