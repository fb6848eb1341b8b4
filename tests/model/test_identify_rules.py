"""Each rule of naming at its limit, on a made-up flora whose probabilities are given or can be counted again."""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from model import identify as naming
from model.flora.character import Character
from model.flora.species import Score
from model.identify import Finding, Key, identify, photo_log_likelihood, unseparated, would_show
from model.prior import PriorConfig
from model.traits.question import Question
from tests.model.test_question import SAP, SMELL, character, information, tables

Array = NDArray[np.float64]
A_RELATIVE_IS_OUT = 1e-9


def score(**shown: Any) -> Score:
    return Score(source=["CP"], standing="common practice", **shown)


def plant(name: str, characters: dict[str, Any] | None = None) -> Any:
    shown = {"sap": score(states={"sap_0": "always"})} if characters is None else characters
    season = SimpleNamespace(seen=[1])
    return SimpleNamespace(
        id=name, scientific_name=f"{name.upper()} lat.", common_name=f"the {name}", characters=shown,
        in_lawns="common", season=season,
    )  # fmt: skip


def flora(ids: tuple[str, ...] = ("a", "b", "c"), alike: dict[str, tuple[str, ...]] | None = None) -> Any:
    asked = {c.id: c for c in (character("smell"), character("sap"))}
    return SimpleNamespace(
        ids=ids, characters=asked, species={name: plant(name) for name in ids},
        look_alikes={name: (alike or {}).get(name, ()) for name in ids},
        is_applicable=lambda species, character: (species, character) != ("b", "smell"),
    )  # fmt: skip


def a_key(
    p: list[float] | None = None,
    plain: list[float] | None = None,
    alike: dict[str, tuple[str, ...]] | None = None,
    relatives: float = A_RELATIVE_IS_OUT,
) -> Key:
    """A key over three species; its posterior is ``p``, and ``plain`` without a hint, where they are given."""
    key = object.__new__(Key)
    key.flora = flora(alike=alike)
    key.likelihoods = tables((character("smell"), SMELL), (character("sap"), SAP))
    key.prior_config = PriorConfig(
        unlisted=0.1, relatives=relatives, alike=0.5, in_lawns={"common": 1.0}, out_of_season=0.5, regions={},
        source=["CP"], standing="common practice",
    )  # fmt: skip
    if p is not None:
        told = (np.array(p), np.array(plain or p))
        key.posteriors = lambda *_: told  # type: ignore[method-assign]
    return key


class Photo:
    """Evidence of a photo that was compared with photos of ``probabilities``, and with drawings of ``hint``."""

    def __init__(self, probabilities: dict[str, float], hint: dict[str, float] | None = None) -> None:
        self.probabilities = probabilities
        self.log_likelihood = {name: float(np.log(p)) for name, p in probabilities.items()}
        self.log_likelihood_other = -2.0
        self.photos = ({"file": "a.jpg", "usable": True, "notes": []},)
        self.hint, self.hint_weight = hint or {}, 0.5


# -- the posterior ----------------------------------------------------------------------------------


def test_prior_answers_and_photo_are_multiplied() -> None:
    key = a_key()
    answers: Any = {"sap": ("sap_0",), "smell": ("smell_1",)}
    photo: Any = Photo({"a": 0.6, "c": 0.1})
    before = np.array([0.3, 0.3, 0.3, 0.1])
    told = before * np.array(SAP)[:, 0] * np.array(SMELL)[:, 1]
    assert key.posterior(answers) == pytest.approx(told / told.sum())
    seen = told * np.array([0.6, np.exp(-2.0), 0.1, np.exp(-2.0)])
    assert key.posterior(answers, photo) == pytest.approx(seen / seen.sum())
    assert photo_log_likelihood(key.flora, photo) == pytest.approx(np.log([0.6, np.exp(-2), 0.1, np.exp(-2)]))
    assert key.index == {"a": 0, "b": 1, "c": 2}


def test_a_hint_moves_the_posterior_and_is_left_out_beside_it() -> None:
    key = a_key()
    hinted: Any = Photo({"a": 0.6}, {"b": 0.0, "c": -5.0})
    whole, plain = key.posteriors({}, hinted)
    without = key.posterior({}, Photo({"a": 0.6}))  # type: ignore[arg-type]
    assert plain == pytest.approx(without) and whole[1] > plain[1] and whole[2] < plain[2]
    assert whole[[0, 3]] == pytest.approx(plain[[0, 3]])
    assert key.posterior({}, hinted) == pytest.approx(whole)


def test_month_and_region_go_into_the_prior(monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[tuple[Any, ...]] = []

    def prior(*told: Any) -> Array:
        asked.append(told)
        return np.array([0.2, 0.2, 0.2, 0.4])

    monkeypatch.setattr(naming, "prior", prior)
    key = a_key()
    assert key.posterior({}, None, 7, "north") == pytest.approx([0.2, 0.2, 0.2, 0.4])
    identify(key, {}, None, 8, "south")
    assert asked == [(key.flora, key.prior_config, 7, "north"), (key.flora, key.prior_config, 8, "south")]


def test_a_key_is_read_from_its_folder_with_the_users_own_species(monkeypatch: pytest.MonkeyPatch) -> None:
    read: Any = object()
    monkeypatch.setattr(naming, "load_flora", lambda *told: ("flora", *told))
    monkeypatch.setattr(naming, "with_own", lambda *told: ("with own", *told))
    monkeypatch.setattr(naming, "load_observer", lambda folder: ("observer", folder))
    monkeypatch.setattr(naming, "load_prior", lambda folder: ("prior", folder))
    monkeypatch.setattr(naming, "Likelihoods", lambda *told: ("likelihoods", *told))
    folder, own = Path("configs"), Path("own")
    plain: Any = Key(folder, read)
    assert plain.flora == ("flora", folder, read) and plain.prior_config == ("prior", folder)
    assert plain.likelihoods == ("likelihoods", plain.flora, ("observer", folder))
    species: Any = {"x": plant("x")}
    more: Any = Key(folder, None, species, own)
    assert more.flora == ("with own", ("flora", folder, None), species, own)
    assert more.likelihoods[1] == more.flora


# -- the status -------------------------------------------------------------------------------------

SAP_TELLS: Any = {"sap": ("sap_0",)}  # a from b and c by 49 to 1


@pytest.mark.parametrize(
    ("p", "status"),
    [
        ([0.95, 0.03, 0.01, 0.01], "confirmed"),
        ([0.9499, 0.0301, 0.01, 0.01], "likely"),
        ([0.70, 0.20, 0.05, 0.05], "likely"),
        ([0.6999, 0.2001, 0.05, 0.05], "undecided"),
        ([0.2, 0.2, 0.1, 0.5], "unlisted"),
        ([0.2, 0.2, 0.1001, 0.4999], "undecided"),
    ],
)
def test_the_status_follows_the_probability(p: list[float], status: str) -> None:
    found = identify(a_key(p), SAP_TELLS)
    assert found.status == status
    named = status in ("confirmed", "likely")
    assert (found.species, found.probability) == (("a", p[0]) if named else (None, None))
    assert found.unlisted_probability == p[-1] and found.species_count == 3


def test_a_name_is_proven_only_by_answers_that_tell_every_look_alike() -> None:
    p = [0.97, 0.01, 0.01, 0.01]
    alike = {"a": ("b", "c")}
    assert identify(a_key(p, alike=alike), SAP_TELLS).status == "confirmed"
    only_smell = identify(a_key(p, alike=alike), {"smell": ("smell_0",)})
    assert only_smell.status == "likely" and only_smell.still_to_exclude == ("b",)
    nothing = identify(a_key(p), {})
    assert nothing.status == "likely", "without any answer nothing is proven"
    unsure = identify(a_key(p, alike=alike), {"sap": (), "smell": ()})
    assert unsure.status == "likely" and unsure.still_to_exclude == ("b", "c")
    undecided = identify(a_key([0.5, 0.3, 0.1, 0.1], alike=alike), {"smell": ("smell_0",)})
    assert undecided.still_to_exclude == ()
    by_name_only = a_key(p)
    by_name_only.flora.species["a"] = plant("a", {})  # type: ignore[index]
    assert identify(by_name_only, SAP_TELLS).status == "likely"


def test_an_answer_four_times_as_likely_tells_a_look_alike() -> None:
    key = a_key(alike={"a": ("b", "c"), "c": ("a",)})
    key.likelihoods = tables((character("smell"), [[0.8, 0.2], [0.2, 0.8], [0.201, 0.799], [0.5, 0.5]]))
    assert unseparated(key, {"smell": ("smell_0",)}, 0) == [2]
    assert unseparated(key, {"smell": ("smell_1",)}, 0) == [1, 2]
    assert unseparated(key, {"smell": ()}, 0) == [1, 2] and unseparated(key, {}, 2) == [0]
    assert unseparated(key, {"smell": ("smell_0",)}, 1) == []


@pytest.mark.parametrize(
    ("relatives", "status"),
    [(0.01, "confirmed"), (0.06, "confirmed"), (0.07, "likely"), (0.56, "likely"), (0.58, "undecided")],
)
def test_a_relative_that_is_not_listed_must_be_improbable(relatives: float, status: str) -> None:
    """The sap is as in `a`; of a relative it is so with 0.5 + 0.5 x 0.5 / 0.98, by which its odds fall."""
    found = identify(a_key([0.97, 0.01, 0.01, 0.01], relatives=relatives), SAP_TELLS)
    odds = relatives / (1 - relatives) * (0.5 + 0.5 * 0.5 / 0.98)
    assert found.relative_probability == pytest.approx(odds / (1 + odds)) and found.status == status


def test_a_photo_of_the_lead_speaks_against_a_relative_and_one_of_others_says_nothing() -> None:
    p, answers = [0.97, 0.01, 0.01, 0.01], SAP_TELLS
    key = a_key(p, relatives=0.3)
    none = identify(key, answers).relative_probability
    seen = identify(key, answers, Photo({"a": 0.9})).relative_probability  # type: ignore[arg-type]
    other = identify(key, answers, Photo({"b": 0.9})).relative_probability  # type: ignore[arg-type]
    assert none is not None and seen is not None and other == pytest.approx(none)
    before = 0.3 / 0.7 * (0.5 + 0.5 * 0.5 / 0.98)
    odds = before * (0.5 + 0.5 * np.exp(-2.0) / 0.9)
    assert none == pytest.approx(before / (1 + before)) and seen == pytest.approx(odds / (1 + odds))


def test_the_relative_is_told_only_where_there_is_a_lead() -> None:
    assert identify(a_key([0.70, 0.2, 0.05, 0.05]), {}).relative_probability is not None
    assert identify(a_key([0.69, 0.21, 0.05, 0.05]), {}).relative_probability is None


def test_a_hint_names_nothing_that_would_not_be_named_without_it() -> None:
    hinted, plain = [0.97, 0.01, 0.01, 0.01], [0.6, 0.2, 0.1, 0.1]
    found = identify(a_key(hinted, plain), SAP_TELLS)
    assert found.status == "undecided" and found.species is None and found.relative_probability is None
    assert found.candidates[0].probability == 0.97, "it still orders the candidates"
    lower = identify(a_key([0.96, 0.02, 0.01, 0.01], [0.8, 0.1, 0.05, 0.05]), SAP_TELLS)
    assert (lower.status, lower.probability) == ("likely", 0.8)
    other = identify(a_key([0.8, 0.1, 0.05, 0.05], [0.96, 0.02, 0.01, 0.01]), SAP_TELLS)
    assert (other.status, other.probability) == ("likely", 0.8)
    for p, without in (([0.2, 0.1, 0.1, 0.6], [0.3, 0.2, 0.1, 0.4]), ([0.3, 0.2, 0.1, 0.4], [0.2, 0.1, 0.1, 0.6])):
        assert identify(a_key(p, without), {}).status == "undecided"


def test_the_lead_may_be_any_listed_species_and_the_photo_counts() -> None:
    last = identify(a_key([0.01, 0.01, 0.97, 0.01]), {"sap": ("sap_1",)})
    assert (last.species, last.candidates[0].species) == ("c", "c")
    photo: Any = Photo({"b": 0.8})
    found = identify(a_key(), {}, photo)
    assert found.candidates[0].probability == pytest.approx(a_key().posterior({}, photo)[1])
    assert found.candidates[0].species == "b" and found.candidates[0].probability > 0.6


# -- the next question ------------------------------------------------------------------------------


def asked_with(monkeypatch: pytest.MonkeyPatch, key: Key, answers: Any) -> tuple[Any, ...] | None:
    told: list[tuple[Any, ...]] = []

    def choose(*given: Any) -> Question:
        told.append(given)
        return Question(character("sap"), 0.5)

    monkeypatch.setattr(naming, "next_question", choose)
    found = identify(key, answers)
    assert (found.next_question is None) == (told == [])
    return told[0] if told else None


def test_a_proven_name_needs_no_question(monkeypatch: pytest.MonkeyPatch) -> None:
    assert asked_with(monkeypatch, a_key([0.97, 0.01, 0.01, 0.01]), SAP_TELLS) is None


def test_look_alikes_are_asked_about_once_the_lead_is_settled(monkeypatch: pytest.MonkeyPatch) -> None:
    key = a_key([0.95, 0.03, 0.01, 0.01], alike={"a": ("b",)})
    settled = asked_with(monkeypatch, key, {"smell": ("smell_0",)})
    assert settled is not None and settled[0] is key.likelihoods and settled[3:] == ([1], None)
    assert settled[1] == pytest.approx([0.95, 0.03, 0.01, 0.01]) and settled[2] == {"smell": ("smell_0",)}
    open_yet = asked_with(monkeypatch, a_key([0.94, 0.04, 0.01, 0.01], alike={"a": ("b",)}), {"smell": ("smell_0",)})
    assert open_yet is not None and len(open_yet) == 3


def test_then_about_what_tells_a_relative(monkeypatch: pytest.MonkeyPatch) -> None:
    key = a_key([0.95, 0.03, 0.01, 0.01], relatives=0.3)
    told = asked_with(monkeypatch, key, SAP_TELLS)
    assert told is not None and told[3] == []
    own, large = np.array(SAP)[0], np.array(SAP)[-1]
    assert told[4][1] == pytest.approx(-(own * np.log(0.5 + 0.5 * large / own)).sum())


def test_what_only_a_hint_makes_probable_is_asked_about_as_if_there_were_none(monkeypatch: pytest.MonkeyPatch) -> None:
    plain = [0.6, 0.2, 0.1, 0.1]
    for p, expected in (
        ([0.7, 0.1, 0.1, 0.1], plain),
        ([0.69, 0.11, 0.1, 0.1], [0.69, 0.11, 0.1, 0.1]),
    ):
        told = asked_with(monkeypatch, a_key(p, plain), {})
        assert told is not None and told[1] == pytest.approx(expected)
    named = asked_with(monkeypatch, a_key([0.8, 0.1, 0.05, 0.05], [0.75, 0.1, 0.1, 0.05]), {})
    assert named is not None and named[1] == pytest.approx([0.8, 0.1, 0.05, 0.05])


def test_the_question_is_the_one_of_most_bits() -> None:
    found = identify(a_key(), {}).next_question
    assert found is not None and found.character.id == "sap"
    assert found.bits == pytest.approx(information(np.array([0.3, 0.3, 0.3, 0.1]), np.array(SAP)))


# -- candidates ---------------------------------------------------------------------------------------


def test_candidates_come_best_first_with_what_speaks_for_and_against_them() -> None:
    photo: Any = Photo({"a": 0.2, "b": 0.5}, {"c": 0.0})
    key = a_key([0.2, 0.5, 0.2, 0.1])
    found = identify(key, {"sap": ("sap_1",), "smell": ("smell_0",)}, photo).candidates
    assert [(c.species, c.probability) for c in found] == [("b", 0.5), ("a", 0.2), ("c", 0.2)]
    assert (found[1].scientific_name, found[1].common_name) == ("A lat.", "the a")
    assert [c.photo_probability for c in found] == [0.5, 0.2, None]
    assert [c.evidence for c in found] == ["photographed", "photographed", "drawn"]
    # Every state of these tables has some share, so that nothing disagrees; one that lacks the part does.
    assert found[0].agrees == ("sap", "smell") and found[0].disagrees == ()
    key.likelihoods = tables((character("smell"), SMELL), (character("sap"), SAP), lacking={"sap": [0]})
    lacking = identify(key, {"sap": ("sap_1",), "smell": ()}).candidates[1]
    assert (lacking.species, lacking.agrees, lacking.disagrees) == ("a", (), ("sap",))
    assert lacking.evidence is None and lacking.photo_probability is None
    without: Any = SimpleNamespace(
        probabilities={"a": 0.5}, log_likelihood={}, log_likelihood_other=0.0, photos=[{"file": "x"}]
    )
    assert [c.evidence for c in identify(key, {}, without).candidates] == [None, "photographed", None]


def test_ten_are_listed_and_all_others_of_a_thousandth() -> None:
    ids = tuple(f"s{i:02}" for i in range(14))
    key = a_key()
    key.flora = flora(ids)
    key.likelihoods = SimpleNamespace(tables={})  # type: ignore[assignment]
    for eleventh, count in ((0.001, 11), (0.0009, 10)):
        p = np.array([0.5] + [0.05] * 9 + [eleventh] + [0.0001] * 3 + [0.04])
        key.posteriors = lambda *_, p=p: (p, p)  # type: ignore[method-assign]
        naming_only = naming._shown(p)
        assert naming_only == list(range(count))
    even = np.array([0.1, 0.3, 0.3, 0.3])
    assert naming._shown(even) == [1, 2, 0], "the order of the flora where they are alike"


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
    key.likelihoods = tables((character("smell"), SAP), (character("sap"), SMELL))
    photo: Any = Photo({"c": 0.6})
    found = identify(key, {"sap": ("sap_0",), "smell": ("smell_0",)}, photo).override
    assert found is not None and [r["character"] for r in found.reasons] == ["smell", "sap"]
    one = identify(key, {"smell": "smell_0"}, photo).override  # type: ignore[dict-item]
    assert one is not None and one.reasons[0]["answered"] == "smell_0", "what is no list of states is told as it is"


def test_a_ratio_of_two_counts_as_a_reason() -> None:
    for low, many in ((0.4, 1), (0.401, 0)):
        key = a_key([0.9, 0.05, 0.03, 0.02])
        key.likelihoods = tables((character("sap"), [[0.8, 0.2], [low, 1 - low], [0.5, 0.5], [0.5, 0.5]]))
        found = identify(key, SAP_TELLS, Photo({"b": 0.6})).override  # type: ignore[arg-type]
        assert found is not None and len(found.reasons) == many
    key.likelihoods = tables((character("sap"), [[0.8, 0.2], [0.0647, 0.9353], [0.5, 0.5], [0.5, 0.5]]))
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


def test_what_a_species_shows_is_told_in_words() -> None:
    told = flora()
    width = Character(
        id="width", kind="number", effort="glance", question="?", look="l", otherwise="o", unit="mm", domain=(1, 90)
    )
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
        "states": {"sap_0": "so", "sap_1": "so"}, "bits": round(question.bits, 3),
    }  # fmt: skip
    assert (data["status"], data["species"], data["species_count"]) == ("likely", "a", 3)
    assert set(data) == set(Finding.__dataclass_fields__)
    done = identify(a_key([0.97, 0.01, 0.01, 0.01]), SAP_TELLS)
    assert done.as_json()["next_question"] is None and done.photos == ()
