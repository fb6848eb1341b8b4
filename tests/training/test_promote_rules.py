"""Every rule of the gate at its limits, on made-up probabilities that a reader can check by hand."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from model.errors import CollectionError
from training.data.manifest import LabelledPhoto
from training.evaluate.measure import wilson
from training.gate import HeldOut, Judged, Origin, Part, compare, load_rules
from training.gate.integrity import check_origin, check_sound, kept_species
from training.gate.paired import paired_difference
from training.gate.unknown import judge_unknown
from training.gate.verdict import KnownSpecies, NewSpecies, Rule, Verdict
from training.head.conformal import Cell, LacSets

Array = NDArray[np.float64]
RULES = load_rules()
FEWER = RULES.model_copy(update={"draws": RULES.draws.model_copy(update={"value": 40})})
SPECIES = ("a", "b", "c", "d")


def rows(truth: NDArray[np.int64], right: NDArray[np.bool_], columns: int = 5) -> Array:
    """Probabilities that name 0.6 for the right column, or for the next one where ``right`` is not."""
    p = np.full((len(truth), columns), 0.4 / (columns - 1))
    p[np.arange(len(truth)), np.where(right, truth, (truth + 1) % columns)] = 0.6
    return p


def wide_sets(species: tuple[str, ...] = SPECIES) -> LacSets:
    """Sets that hold every class of every photo, as promised by the rule for a cell of rank 0."""
    names = (*species, "other")
    return one_cell(0.0, 0, names)


def one_cell(threshold: float, rank: int, names: tuple[str, ...] = (*SPECIES, "other")) -> LacSets:
    """All classes share one threshold."""
    cell = Cell(columns=tuple(range(len(names))), threshold=threshold, photos=200, effective=200.0, rank=rank)
    return LacSets(classes=names, coverage=RULES.coverage.value, cells=(cell,))


def held_out(old: Array, new: Array, truth: NDArray[np.int64], groups: tuple[str, ...] | None = None) -> HeldOut:
    labels = tuple((*SPECIES, "other:x")[column] for column in truth)
    names = groups or tuple(f"g{i}" for i in range(len(truth)))
    learned, part = Part(("fit",), ("f0",)), Part(names, tuple(f"p{i}" for i in range(len(truth))))
    origin = Origin(learned, part, 0, SPECIES, SPECIES, "views", "views", 0.0)
    return HeldOut(labels, names, Judged("old", SPECIES, old), Judged("new", SPECIES, new), wide_sets(), origin)


def equal(n: int) -> HeldOut:
    """Two equal models that name every one of ``n`` photos right."""
    truth = np.arange(n) % 4
    p = rows(truth, np.ones(n, dtype=bool))
    return held_out(p, p.copy(), truth)


def rule(verdict: Verdict | list[Rule], name: str) -> Rule:
    found = [one for one in (verdict.rules if isinstance(verdict, Verdict) else verdict) if one.name == name]
    assert len(found) == 1, name
    return found[0]


# -- the verdict ------------------------------------------------------------------------------


def test_a_hundred_photos_are_enough_and_one_less_cannot_tell() -> None:
    enough, few = compare(equal(100), FEWER), compare(equal(99), FEWER)
    assert (enough.decision, enough.photos, enough.groups) == ("promote", 100, 100)
    assert (few.decision, few.photos) == ("cannot_tell", 99)
    assert [one.name for one in enough.rules] == [
        "probabilities", "label order", "preparation of photos", "features", "leak", "near duplicates", "species",
        "balanced accuracy", "single species", "first three", "likelihood", "unknown species",
        "coverage",
    ]  # fmt: skip
    assert [one.name for one in few.rules] == [
        *[one.name for one in enough.rules][:7], "known species, few photos", "known species, from statistics",
    ]  # fmt: skip
    assert all(one.always for one in few.rules[:7]) and not any(
        one.always for one in (*enough.rules[7:], *few.rules[7:])
    )


def test_photos_are_counted_apart_from_groups_and_without_those_of_new_species() -> None:
    whole = equal(120)
    grouped = replace(whole, groups=tuple(f"g{i // 3}" for i in range(120)))
    assert compare(grouped, FEWER).groups == 40
    without_d = replace(whole, old=Judged("old", SPECIES[:3], whole.old.probabilities[:, [0, 1, 2, 4]]))
    found = compare(without_d, FEWER)
    assert (found.photos, found.groups, found.old, found.new) == (90, 90, "old", "new")


def test_numbers_that_are_not_probabilities_are_looked_at_no_further() -> None:
    whole = equal(120)
    broken = whole.new.probabilities.copy()
    broken[7, 0] = np.inf
    found = compare(replace(whole, new=replace(whole.new, probabilities=broken)), FEWER)
    assert found.decision == "keep" and [one.name for one in found.failed] == ["probabilities"]
    assert len(found.rules) == 7 and found.new_species == ()


def test_the_verdict_tells_each_rule_with_its_sign() -> None:
    rules = (Rule("one", True, 1.0, "is fine"), Rule("two", False, -1.0, "is not"), Rule("three", None, None, "unseen"))
    verdict = Verdict("keep", "starter", "mine", 50, 20, rules, (NewSpecies("poa", 8, 0.75, 0.4, 0.93, 0.5),),
        (KnownSpecies("viola", 10, 0.9, 0.8),))  # fmt: skip
    assert str(verdict).splitlines() == [
        "mine against starter, 50 held-out photos of known plants in 20 groups",
        "  ok   one: is fine",
        "  FAIL two: is not",
        "  -    three: unseen",
        "  known  viola: 10 photos, starter 90% right, mine 80%",
        "  new    poa: 8 photos, starter 0% right (it said other for 50%), mine 75% (40% to 93%)",
        "Verdict: keep the old model.",
    ]
    assert verdict.failed == (rules[1],)
    assert str(replace(verdict, decision="promote")).endswith("Verdict: activate the new model.")
    assert str(replace(verdict, decision="cannot_tell")).endswith(
        "Verdict: cannot tell which is better; keep the old model."
    )


# -- whoever begins: most photos show species that only the new model knows --------------------


def beginners(n: int, right: int) -> HeldOut:
    """``n`` photos of d, which the old model does not know and takes for ``a`` on every other photo."""
    truth = np.full(n, 3)
    new = rows(truth, np.arange(n) < right)
    old = np.zeros((n, 4))
    old[np.arange(n), np.where(np.arange(n) % 2 == 0, 0, 3)] = 1.0
    whole = held_out(new, new, truth)
    return replace(whole, old=Judged("old", SPECIES[:3], old), new=Judged("new", SPECIES, new))


def test_a_model_that_names_new_species_is_promoted_unless_it_leaks() -> None:
    whole = beginners(100, 90)
    found = compare(whole, FEWER)
    assert found.decision == "promote" and found.photos == 0
    low, high = wilson(90, 100)
    named = rule(found, "new species")
    assert named.passed and named.value == pytest.approx(low) and not named.always
    assert named.says == "90% of 100 photos of 1 named right (83% to 94%); the low end must be above 30%"
    assert rule(found, "each new species").says == "none is clearly under 30%"
    assert rule(found, "coverage").passed
    assert found.new_species == (NewSpecies("d", 100, 0.9, pytest.approx(low), pytest.approx(high), 0.5),)
    leaky = replace(whole, origin=replace(whole.origin, learned=whole.origin.held_out))
    assert compare(leaky, FEWER).decision == "keep"


@pytest.mark.parametrize(
    ("photos", "right", "decision"),
    [(7, 5, "promote"), (7, 4, "cannot_tell"), (4, 4, "cannot_tell"), (5, 5, "promote"), (9, 0, "keep")],
)
def test_a_few_photos_of_a_new_species_decide_by_how_sure_they_make(photos: int, right: int, decision: str) -> None:
    assert compare(beginners(photos, right), FEWER).decision == decision


def test_photos_of_one_plant_count_once() -> None:
    whole = beginners(12, 12)
    assert compare(whole, FEWER).decision == "promote"
    alike = replace(whole, groups=("one plant",) * 12)
    found = compare(alike, FEWER)
    assert found.decision == "cannot_tell" and rule(found, "new species").passed is None


def test_a_model_that_names_no_new_species_is_turned_down() -> None:
    found = compare(beginners(100, 0), FEWER)
    assert found.decision == "keep" and [one.name for one in found.failed] == ["new species", "each new species"]
    assert rule(found, "each new species").says == "clearly named less often than 30%: d (0 of 100)"


def test_the_floor_is_never_under_chance() -> None:
    low = RULES.model_copy(update={"new_floor": RULES.new_floor.model_copy(update={"value": 0.0})})
    assert "must be above 20%" in rule(compare(beginners(20, 20), low), "new species").says


def newcomers_with(n_old: int, kept: int) -> HeldOut:
    """40 photos of d, named right by the new model, and some of a, all of which the old model names right."""
    truth = np.repeat([0, 3], [n_old, 40])
    new = rows(truth, (np.arange(len(truth)) < kept) | (truth == 3))
    old = np.zeros((len(truth), 4))
    old[np.arange(len(truth)), np.where(truth == 0, 0, 3)] = 1.0
    whole = held_out(new, new, truth)
    return replace(whole, old=Judged("old", SPECIES[:3], old), new=Judged("new", SPECIES, new))


@pytest.mark.parametrize(
    ("n_old", "kept", "decision"), [(8, 8, "promote"), (8, 6, "promote"), (8, 0, "keep"), (4, 0, "promote")]
)
def test_few_photos_of_known_species_count_where_they_clearly_show_a_loss(n_old: int, kept: int, decision: str) -> None:
    found = compare(newcomers_with(n_old, kept), RULES)
    assert found.decision == decision, str(found)
    assert found.photos == n_old and rule(found, "known species, few photos").passed is (
        False if decision == "keep" else None
    )
    assert found.known_species == (KnownSpecies("a", n_old, 1.0, kept / n_old),)


@pytest.mark.parametrize(("lost", "decision"), [(0, "promote"), (30, "keep")])
def test_known_species_without_photos_are_judged_by_what_the_starter_brings(lost: int, decision: str) -> None:
    whole, drawn = beginners(40, 40), equal(120)
    after = rows(np.arange(120) % 4, np.arange(120) >= lost)
    brought = replace(drawn, new=replace(drawn.new, probabilities=after))
    found = compare(replace(whole, simulated=brought), FEWER)
    assert found.decision == decision, str(found)
    told = rule(found, "known species, from statistics")
    assert told.passed is (decision == "promote") and told.says.startswith("4 species as the starter has them, 120")


def test_new_species_do_not_hide_a_loss_of_known_ones() -> None:
    """With photos enough of known species, these are judged as ever."""
    truth = np.repeat([0, 1, 2, 3], [40, 40, 40, 60])
    good = rows(truth, np.ones(180, dtype=bool))
    bad = rows(truth, np.arange(180) >= 20)
    old = Judged("old", SPECIES[:3], np.column_stack([good[:, :3], good[:, 3:].sum(axis=1)]))
    whole = replace(held_out(good, bad, truth), old=old)
    found = compare(whole, FEWER)
    assert found.decision == "keep" and rule(found, "new species").passed
    assert {"balanced accuracy", "single species"} <= {one.name for one in found.failed}
    assert compare(replace(whole, new=replace(whole.new, probabilities=good)), FEWER).decision == "promote"


def test_what_was_left_out_is_part_of_the_verdict() -> None:
    """All names right, and for photos of one's own class left out: how much goes to other."""

    def left_out(n: int, new: Array) -> HeldOut:
        whole = equal(n)
        old = replace(whole.old, other_left_out=np.full(n, 0.9))
        return replace(whole, old=old, new=replace(whole.new, other_left_out=new))

    found = compare(left_out(120, np.full(120, 0.9)), FEWER)
    assert rule(found, "unknown species").value == 0.0 and found.decision == "promote"
    assert found.rules[-2].name == "doubt of unknown species"
    worse = compare(left_out(120, np.full(120, 0.2)), FEWER)
    assert [one.name for one in worse.failed] == ["doubt of unknown species"]
    # Photos of species that only the new model knows are no part of that comparison.
    more = left_out(160, np.where(np.arange(160) % 4 == 3, 0.2, 0.9))
    old = replace(more.old, species=SPECIES[:3], probabilities=more.old.probabilities[:, [0, 1, 2, 4]])
    shared = compare(replace(more, old=old), FEWER)
    assert shared.photos == 120 and rule(shared, "doubt of unknown species").value == pytest.approx(0.0)


def test_a_new_species_without_held_out_photos_is_not_reported() -> None:
    whole = equal(120)
    more = np.insert(whole.new.probabilities, 4, 0.0, axis=1)
    names = (*SPECIES, "e")
    found = compare(replace(whole, new=Judged("new", names, more), sets=wide_sets(names)), FEWER)
    assert found.new_species == () and found.decision == "promote"


# -- the figures --------------------------------------------------------------------------------


def test_equal_models_lose_nothing_and_say_so() -> None:
    found = compare(equal(120), FEWER)
    assert rule(found, "balanced accuracy") == Rule(
        "balanced accuracy", True, 0.0, "+0.00 points (+0.00 to +0.00); the low end must be above -1"
    )
    assert rule(found, "single species") == Rule(
        "single species", True, 0.0, "a -0.0 points, the worst; none may lose over 15"
    )
    assert rule(found, "first three") == Rule("first three", True, 0.0, "100.0% to 100.0%; may lose 1 points")
    assert rule(found, "likelihood").says == "0.5108 to 0.5108 nats; may grow by 2% and 0.01"
    assert rule(found, "likelihood").value == 0.0
    assert rule(found, "coverage").says == (
        "sets that promise 90% hold 100.0%, 5.00 names each; chance explains 100.0% to 100.0%"
    )
    assert rule(found, "unknown species") == Rule("unknown species", None, None, "no species was left out")


def test_balanced_accuracy_counts_species_and_not_photos() -> None:
    """Half of the ten photos of d are lost: an eighth of the balanced accuracy, a twenty-fourth of all photos."""
    truth = np.repeat([0, 1, 2, 3], [40, 40, 30, 10])
    good = np.ones(120, dtype=bool)
    bad = good.copy()
    bad[-5:] = False
    found = compare(held_out(rows(truth, good), rows(truth, bad), truth), FEWER)
    balanced = rule(found, "balanced accuracy")
    assert balanced.says.startswith("-12.50 points") and balanced.passed is False
    assert balanced.value is not None and balanced.value < -0.125
    single = rule(found, "single species")
    assert (single.value, single.passed) == (0.5, False)
    assert single.says == "d -50.0 points, the worst; none may lose over 15"


def test_a_difference_of_nothing_is_no_proof_where_its_interval_is_wide() -> None:
    truth, order = np.arange(120) % 4, np.arange(120)
    whole = held_out(rows(truth, order >= 8), rows(truth, order < 112), truth)
    balanced = rule(compare(whole, FEWER), "balanced accuracy")
    assert balanced.says.startswith("+0.00 points (-") and balanced.passed is False
    assert balanced.value is not None and balanced.value < -0.01


@pytest.mark.parametrize(("photos", "name"), [(10, "d"), (9, "a")])
def test_a_species_of_few_photos_is_not_judged_alone(photos: int, name: str) -> None:
    truth = np.repeat([0, 1, 2, 3], [120 - 60 - photos, 30, 30, photos])
    bad = np.ones(120, dtype=bool)
    bad[-photos:] = False
    found = rule(compare(held_out(rows(truth, ~bad | bad), rows(truth, bad), truth), FEWER), "single species")
    assert found.says.startswith(name) and found.passed is (name == "a")


@pytest.mark.parametrize(("loss", "passes"), [(14, True), (16, False)])
def test_one_species_may_not_pay_for_the_others(loss: int, passes: bool) -> None:
    """Three species gain, one loses: balanced accuracy is fine, the species rule decides."""
    truth = np.arange(400) % 4
    old, new = (truth == 3) | (np.arange(400) >= 120), (truth != 3) | (np.arange(400) >= 4 * loss)
    found = compare(held_out(rows(truth, old), rows(truth, new), truth), FEWER)
    assert rule(found, "balanced accuracy").passed and rule(found, "single species").passed is passes


def test_no_species_of_enough_photos_says_so() -> None:
    truth = np.full(120, 4)
    p = rows(truth, np.ones(120, dtype=bool))
    found = rule(compare(held_out(p, p, truth), FEWER), "single species")
    assert found == Rule("single species", None, None, "none has 10 held-out photos")


def ranked(truth: NDArray[np.int64], fourth: int) -> Array:
    """The right species comes third, and on the first ``fourth`` photos fourth of five."""
    p = np.zeros((len(truth), 5))
    for i, column in enumerate(truth):
        others = [c for c in range(5) if c != column]
        order = [*others[:3], column, others[3]] if i < fourth else [*others[:2], column, *others[2:]]
        p[i, order] = [0.3, 0.25, 0.2, 0.15, 0.1]
    return p


@pytest.mark.parametrize(("fourth", "passes"), [(0, True), (2, True), (3, False)])
def test_the_first_three_may_lose_one_in_a_hundred(fourth: int, passes: bool) -> None:
    truth = np.arange(200) % 4
    found = rule(compare(held_out(ranked(truth, 0), ranked(truth, fourth), truth), FEWER), "first three")
    assert found.passed is passes and found.value == pytest.approx(-fourth / 200)
    assert found.says == f"100.0% to {1 - fourth / 200:.1%}; may lose 1 points"


@pytest.mark.parametrize(("after", "passes"), [(0.6, True), (0.5885, True), (0.586, False), (0.61, True)])
def test_likelihood_may_grow_by_a_fiftieth_and_a_hundredth_of_a_nat(after: float, passes: bool) -> None:
    truth = np.arange(120) % 4
    old = rows(truth, np.ones(120, dtype=bool))
    new = np.where(old == 0.6, after, (1 - after) / 4)
    found = rule(compare(held_out(old, new, truth), FEWER), "likelihood")
    assert found.passed is passes
    assert found.value == pytest.approx(np.log(0.6) - np.log(after))


def test_a_right_species_of_no_probability_costs_much_but_not_everything() -> None:
    truth = np.arange(120) % 4
    old = rows(truth, np.ones(120, dtype=bool))
    new = old.copy()
    new[0] = [0.0, 1.0, 0.0, 0.0, 0.0]
    found = rule(compare(held_out(old, new, truth), FEWER), "likelihood")
    assert found.value == pytest.approx((np.log(0.6) - np.log(1e-12)) / 120)


def test_sets_must_be_there_and_be_those_of_the_model() -> None:
    whole = equal(120)
    assert whole.sets is not None
    for sets, says in (
        (None, "the new model has no sets; conformalize it first"),
        (whole.sets.model_copy(update={"coverage": 0.8}), "the sets were made for other classes or another coverage"),
        (one_cell(0.0, 0, ("b", "a", "c", "d", "other")), "the sets were made for other classes or"),
    ):
        found = compare(replace(whole, sets=sets), FEWER)
        assert found.decision == "keep"
        assert rule(found, "coverage").passed is False and rule(found, "coverage").value is None
        assert rule(found, "coverage").says.startswith(says)


def test_sets_that_hold_less_or_more_than_chance_explains_are_turned_down() -> None:
    truth = np.arange(200) % 4
    for lost, passes in ((20, True), (60, False), (0, False)):
        right = np.arange(200) >= lost
        p = rows(truth, right)
        found = rule(compare(replace(held_out(p, p, truth), sets=one_cell(0.5, 20)), FEWER), "coverage")
        assert found.passed is passes and found.value == pytest.approx(1 - lost / 200)
        assert f"hold {1 - lost / 200:.1%}, 1.00 names each" in found.says


def test_probabilities_that_lie_on_the_threshold_are_no_fault() -> None:
    """All photos are as sure as the threshold: more are held than chance explains, but none is clear of it."""
    truth = np.arange(200) % 4
    p = rows(truth, np.ones(200, dtype=bool))
    found = rule(compare(replace(held_out(p, p, truth), sets=one_cell(0.6, 20)), FEWER), "coverage")
    assert found.passed and found.value == 1.0


def test_the_seed_decides_the_draws() -> None:
    truth = np.arange(120) % 4
    bad = np.arange(120) % 7 != 0
    whole = held_out(rows(truth, np.ones(120, dtype=bool)), rows(truth, bad), truth)
    one, same, other = (rule(compare(whole, FEWER, seed), "balanced accuracy") for seed in (1, 1, 2))
    assert one == same and one != other
    assert rule(compare(whole, FEWER), "balanced accuracy") == rule(compare(whole, FEWER, 0), "balanced accuracy")


# -- integrity ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("p", "sound"),
    [
        ([[0.25, 0.75]], True),
        ([[-1e-10, 1.0 + 1e-10]], True),
        ([[-1e-3, 1.001]], False),
        ([[0.25, 0.74]], False),
        ([[0.25, 0.7500005]], True),
        ([[np.nan, 1.0]], False),
        ([[0.2, 0.3, 0.5]], False),
        ([0.25, 0.75], False),
    ],
)
def test_probabilities_must_be_probabilities(p: list[list[float]], sound: bool) -> None:
    found = check_sound(Judged("m", ("a",), np.array(p)))
    says = "every photo gets probabilities that sum to 1" if sound else "gives numbers that are not probabilities"
    assert found == Rule("probabilities", sound, None, says, always=True)


def origin_rules(**changed: object) -> list[Rule]:
    return check_origin(replace(equal(4).origin, **changed), RULES)  # type: ignore[arg-type]


def test_an_origin_without_fault_passes_every_rule() -> None:
    assert origin_rules() == [
        Rule("label order", True, None, "as fitted", always=True),
        Rule("preparation of photos", True, None, "as in use", always=True),
        Rule("features", True, 0.0, "differ by at most 0 between training and use; 0.001 is allowed", always=True),
        Rule("leak", True, 0.0, "0 held-out photos and 0 held-out groups were learned from; none may be", always=True),
        Rule(
            "near duplicates", True, 0.0, "0.0% of the held-out photos look like one that was learned from; 2% may",
            always=True,
        ),
    ]  # fmt: skip


def test_each_fault_of_an_origin_breaks_its_own_rule() -> None:
    for changed, name, says in (
        ({"saved_classes": ("b", "a", "c", "d")}, "label order", "the saved names are not in the order in which the "),
        ({"views_served": "other views"}, "preparation of photos", "fitted with views, in use other views"),
        ({"skew": 0.0011}, "features", "differ by at most 0.0011 between training and use; 0.001 is allowed"),
        ({"learned": Part(("g1", "x"), ("f",))}, "leak", "0 held-out photos and 1 held-out groups were learned from;"),
        ({"learned": Part(("x",), ("p0", "p1"))}, "leak", "2 held-out photos and 0 held-out groups were learned from"),
        ({"near_duplicates": 1}, "near duplicates", "25.0% of the held-out photos look like one that was learned from"),
    ):
        broken = [one for one in origin_rules(**changed) if one.passed is False]
        assert [one.name for one in broken] == [name] and broken[0].always
        assert broken[0].says.startswith(says)
    both = rule(origin_rules(learned=Part(("g1",), ("p0", "p1"))), "leak")
    assert both.value == 3.0
    assert rule(origin_rules(skew=0.001), "features").passed


def test_near_duplicates_are_a_share_of_the_held_out_photos() -> None:
    def found(same: int) -> Rule:
        return rule(check_origin(replace(equal(100).origin, near_duplicates=same), RULES), "near duplicates")

    assert (found(2).passed, found(2).value) == (True, 0.02)
    assert (found(3).passed, found(3).value) == (False, 0.03)
    none = check_origin(replace(equal(4).origin, held_out=Part()), RULES)
    assert rule(none, "near duplicates").value == 0.0


def test_what_could_not_be_checked_is_told_as_such() -> None:
    assert rule(origin_rules(skew=None), "features") == Rule(
        "features", None, None, "not compared between training and use", always=True
    )
    assert rule(origin_rules(near_duplicates=None), "near duplicates") == Rule(
        "near duplicates", None, None, "not looked for", always=True
    )


def test_no_species_may_be_gone() -> None:
    whole = equal(4)
    assert kept_species(whole) == Rule("species", True, 0.0, "all that the old model knows are kept", always=True)
    less = replace(whole, new=Judged("new", ("a", "c"), whole.new.probabilities[:, [0, 2, 4]]))
    assert kept_species(less) == Rule("species", False, 2.0, "gone from the new model: b, d", always=True)


# -- evidence -----------------------------------------------------------------------------------


def test_parts_hold_groups_and_digests_and_add_up(tmp_path: Path) -> None:
    one = tmp_path / "one.jpg"
    one.write_bytes(b"abc")
    photo = LabelledPhoto(one, "one", "a", "lawn-1", True, "made up", "us", "ours")
    part = Part.of([photo])
    # The SHA-256 of "abc" is the first example of FIPS 180-2, appendix B.
    assert part == Part(("lawn-1",), ("ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad",))
    assert part + Part(("g",), ("s",)) == Part(("lawn-1", "g"), (*part.sha256, "s"))
    assert Part.of([]) == Part()
    gone = LabelledPhoto(tmp_path / "gone.jpg", "gone", "a", "lawn-1", True, "made up", "us", "ours")
    with pytest.raises(CollectionError) as told:
        Part.of([photo, gone])
    assert str(told.value) == f"{tmp_path / 'gone.jpg'}: cannot be read (No such file or directory); restore it"


@pytest.mark.parametrize(
    ("changed", "says"),
    [
        ({"groups": ("g",)}, "4 labels and 1 groups"),
        ({"old": Judged("o", SPECIES, np.zeros((3, 5)))}, "4 labels and 3 probabilities of o"),
        ({"new": Judged("n", SPECIES, np.zeros((5, 5)))}, "4 labels and 5 probabilities of n"),
    ],
)
def test_models_are_compared_on_the_same_photos_only(changed: dict[str, object], says: str) -> None:
    with pytest.raises(ValueError) as told:
        replace(equal(4), **changed)  # type: ignore[arg-type]
    assert str(told.value) == f"{says}; both models are compared on the same photos"


def test_species_that_are_not_among_the_columns_count_as_other() -> None:
    new = Judged("new", ("a", "x", "b"), np.array([[0.1, 0.2, 0.3, 0.4], [0.7, 0.1, 0.1, 0.1]]))
    assert np.allclose(new.in_columns(("b", "a")), [[0.3, 0.1, 0.6], [0.1, 0.7, 0.2]])
    assert equal(2).truth(("b", "a")).tolist() == [1, 0] and equal(2).truth(("b",)).tolist() == [1, 0]


# -- the paired difference --------------------------------------------------------------------------


@pytest.mark.parametrize(("photos", "many"), [(40, 12), (6, 4)])
def test_the_interval_is_that_of_whole_groups_drawn_with_replacement(photos: int, many: int) -> None:
    """Counted once more, group by group, from the same draws; in the smaller one, draws lack some classes."""
    random = np.random.default_rng(4)
    truth, groups = random.integers(0, 3, photos), [f"g{i}" for i in random.integers(0, many, photos)]
    old, new = random.random(photos) < 0.5, random.random(photos) < 0.7
    found = paired_difference(old, new, truth, groups, 700, 0.9, seed=6)
    names = sorted(set(groups))
    again = np.random.default_rng(6)
    picks = np.vstack([again.integers(len(names), size=(count, len(names))) for count in (500, 200)])
    differences = []
    for pick in picks:
        chosen = [i for g in pick for i in range(photos) if groups[i] == names[g]]
        means = [
            np.mean([float(new[i]) - float(old[i]) for i in chosen if truth[i] == c])
            for c in set(truth[chosen].tolist())
        ]
        differences.append(np.mean(means))
    low, high = np.quantile(differences, [0.05, 0.95])
    assert (found.low, found.high) == pytest.approx((low, high))
    whole = [np.mean(new[truth == c].astype(float) - old[truth == c]) for c in set(truth.tolist())]
    assert found.value == pytest.approx(np.mean(whole))
    assert found == paired_difference(old, new, truth, groups, 700, 0.9, 6)


# -- plants that were never learned ---------------------------------------------------------------


def left_out(known: list[float], old: list[float], new: list[float], labels: tuple[str, ...]) -> list[Rule]:
    n = len(labels)
    p = np.zeros((n, 3))
    p[:, -1] = known
    p[:, 0] = 1 - p[:, -1]
    species = ("a", "b")
    judged = [Judged(name, species, p, np.array(x)) for name, x in (("old", old), ("new", new))]
    part = Part(labels, labels)
    origin = Origin(Part(), part, 0, species, species, "v", "v", 0.0)
    return judge_unknown(HeldOut(labels, labels, judged[0], judged[1], None, origin), RULES)


def test_the_unknown_must_be_told_from_the_known_as_well_as_before() -> None:
    labels = ("a", "a", "b", "b")
    known = [0.1, 0.3, 0.1, 0.3]
    same = left_out(known, [0.9] * 4, [0.9] * 4, labels)
    doubt = -np.log(0.9)
    assert [one.passed for one in same] == [True, True] and [one.value for one in same] == [0.0, 0.0]
    assert same[0].says == "area under the curve against known ones 1.000 to 1.000; may lose 0.03"
    assert same[1].says == f"{doubt:.3f} to {doubt:.3f} nats short of certain that it is other; may grow by 10%"
    # At 0.2 a left-out photo beats one of the two known photos of the other species: half of the pairs.
    worse = left_out(known, [0.9] * 4, [0.2] * 4, labels)
    assert [one.name for one in worse] == ["unknown species", "doubt of unknown species"]
    assert worse[0].passed is False and worse[0].value == pytest.approx(-0.5)
    assert worse[1].passed is False and worse[1].value == pytest.approx(np.log(0.9) - np.log(0.2))


def test_classes_weigh_alike_and_other_is_no_known_species() -> None:
    labels = ("a", "a", "a", "b", "other:x")
    known = [0.1, 0.1, 0.1, 0.3, 0.95]
    found = left_out(known, [0.9, 0.9, 0.9, 0.9, 0.9], [0.9, 0.9, 0.9, 0.05, 0.9], labels)
    # b left out falls behind all three photos of a: one of the three classes is told not at all.
    assert found[0].value == pytest.approx(-1 / 3)
    assert found[1].value == pytest.approx((np.log(0.9) - np.log(0.05)) / 3)


def test_doubt_may_grow_by_a_tenth() -> None:
    labels = ("a", "b")
    for share, passes in ((1.1, True), (1.11, False)):
        new = [float(0.5**share)] * 2
        found = left_out([0.1, 0.1], [0.5, 0.5], new, labels)
        assert found[0].passed and found[1].passed is passes


def test_certainty_of_nothing_is_counted_as_very_sure() -> None:
    found = left_out([0.1, 0.1], [1.0, 1.0], [0.0, 1.0], ("a", "b"))
    assert found[1].value == pytest.approx(-np.log(1e-12) / 2)


@pytest.mark.parametrize(("turned", "passes"), [(6, True), (7, False)])
def test_the_rank_may_lose_three_hundredths(turned: int, passes: bool) -> None:
    """One photo of b falls behind some of the ten known photos of a: each is a hundredth of b's pairs."""
    labels = ("a",) * 10 + ("b",) * 10
    known = [0.6] * turned + [0.5] * (20 - turned)
    found = left_out(known, [0.9] * 20, [0.9] * 19 + [0.55], labels)
    assert found[0].value == pytest.approx(-turned / 200) and found[0].passed is passes


def test_without_two_species_left_out_nothing_is_said() -> None:
    none = Rule("unknown species", None, None, "fewer than two species to leave out")
    nan = float("nan")
    assert left_out([0.1] * 2, [0.9] * 2, [0.9] * 2, ("a", "a")) == [none]
    assert left_out([0.1] * 2, [0.9] * 2, [0.9] * 2, ("a", "other:x")) == [none]
    # Those count that both models learned.
    assert left_out([0.1] * 3, [0.9] * 3, [0.9, 0.9, nan], ("a", "a", "b")) == [none]
    assert len(left_out([0.1] * 3, [0.9, 0.9, nan], [0.9] * 3, ("a", "b", "b"))) == 2
    whole = equal(4)
    one = replace(whole.old, other_left_out=np.full(4, 0.9))
    unseen = [Rule("unknown species", None, None, "no species was left out")]
    assert judge_unknown(replace(whole, old=one), RULES) == unseen
    assert judge_unknown(replace(whole, new=one), RULES) == unseen
