"""The printed key: whoever says what is usual for a plant gets to it; nothing is left out unsaid."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
import pytest

from model.flora import Score
from model.identify import Key
from model.printed_key import Couplet, Lead, PrintedKey, make_key
from model.printed_key.choose_character import (
    MISREAD,
    best_division,
    easy_limits,
    part_of,
    range_of,
    splits,
    states_of,
    usable,
)
from model.traits.answers import Answer


@pytest.fixture(scope="module")
def whole(key: Key) -> PrintedKey:
    return make_key(key.likelihoods)


def usual_answers(key: Key, species: str, couplet: Couplet) -> list[Answer]:
    """All that an observer of an ordinary plant may answer; for lengths also what is misread a little."""
    score = key.flora.species[species].characters.get(couplet.character.id)
    if not isinstance(score, Score):
        return []
    if score.states is not None:
        ages = (score.states, score.before if isinstance(score.before, dict) else {})
        shown = [(state, often) for states in ages for state, often in states.items()]
        usual = [state for state, often in shown if often in ("always", "usually")]
        some = [] if couplet.mostly else [state for state, often in shown if often == "sometimes"]
        return [(state,) for state in usual + some]
    low, high = range_of(score)
    if couplet.mostly:
        return [math.sqrt(low * high)] if couplet.character.unit != "count" else [low + 0.5, high]
    wider = 1.0 if couplet.character.unit == "count" else MISREAD - 1e-6
    return [low / wider, math.sqrt(low * high), high * wider]


def ends_reached(key: Key, printed: PrintedKey, species: str) -> Iterator[Lead]:
    """Every end that an observer of the species may get to, whose answers keep to one state of a character."""

    def on(couplet: Couplet, said: dict[str, Answer]) -> Iterator[Lead]:
        name = couplet.character.id
        answers = [said[name]] if name in said else usual_answers(key, species, couplet)
        assert answers, f"{species} is asked for {name}, which its file does not score"
        for answer in answers:
            taken = [lead for lead in couplet.leads if lead.takes(answer)]
            assert len(taken) == 1, f"{species}: {answer} of couplet {couplet.number} takes {len(taken)} leads"
            if taken[0].couplet is None:
                yield taken[0]
            else:
                yield from on(printed.couplets[taken[0].couplet - 1], {**said, name: answer})

    yield from on(printed.couplets[0], {})


def test_each_species_is_reached_by_whoever_says_what_is_usual_for_it(key: Key, whole: PrintedKey) -> None:
    missed = {s for s in whole.species for lead in ends_reached(key, whole, s) if s not in lead.species}
    assert missed == set()
    assert set(whole.species) == set(key.flora.ids)


@pytest.mark.parametrize("month", [1, 6])
def test_the_key_of_a_month_holds_what_is_seen_then_and_names_the_others(key: Key, month: int) -> None:
    printed = make_key(key.likelihoods, month)
    seen = {s for s, plant in key.flora.species.items() if month in plant.season.seen}
    assert set(printed.species) == seen
    assert set(printed.out_of_season) == set(key.flora.ids) - seen and printed.out_of_season
    assert {s for lead in (le for c in printed.couplets for le in c.leads) for s in lead.species} == seen
    assert {s for s in seen for lead in ends_reached(key, printed, s) if s not in lead.species} == set()


def test_couplets_are_numbered_without_a_gap_and_lead_back_to_where_they_came_from(whole: PrintedKey) -> None:
    assert [c.number for c in whole.couplets] == list(range(1, len(whole.couplets) + 1))
    for couplet in whole.couplets:
        assert len(couplet.leads) == 2
        for lead in couplet.leads:
            assert (lead.couplet is None) == bool(lead.species)
            if lead.couplet is not None:
                assert whole.couplets[lead.couplet - 1].before == couplet.number


def test_only_parts_that_all_the_plants_left_have_and_are_scored_for_are_asked(key: Key, whole: PrintedKey) -> None:
    def below(lead: Lead) -> set[str]:
        if lead.couplet is None:
            return set(lead.species)
        return set().union(*map(below, whole.couplets[lead.couplet - 1].leads))

    for couplet in whole.couplets:
        for species in set().union(*map(below, couplet.leads)):
            assert key.flora.is_applicable(species, couplet.character.id)
            assert isinstance(key.flora.species[species].characters[couplet.character.id], Score)
        assert couplet.character.id not in ("flowering_month", "life_span", "cotyledons")


def rows_below(key: Key, printed: PrintedKey, lead: Lead) -> set[int]:
    if lead.couplet is None:
        return {key.index[s] for s in lead.species}
    return set().union(*(rows_below(key, printed, further) for further in printed.couplets[lead.couplet - 1].leads))


def test_no_hard_character_is_asked_where_an_easy_one_makes_the_same_two_groups(key: Key, whole: PrintedKey) -> None:
    cost = key.likelihoods.observer.cost
    hard = [c for c in whole.couplets if c.character.effort in ("lens", "dig")]
    assert hard
    for couplet in hard:
        heaps = {frozenset(rows_below(key, whole, lead)) for lead in couplet.leads}
        rows = tuple(sorted(set().union(*heaps)))
        needs = part_of(key.likelihoods, couplet.character)
        for table in key.likelihoods.tables.values():
            easier = cost[table.character.effort] < cost[couplet.character.effort]
            at_hand = part_of(key.likelihoods, table.character) in ("leaves", needs)
            if easier and at_hand and usable(key.likelihoods, table, rows, {}):
                tried = splits(key.likelihoods, table, rows, {}, couplet.mostly)
                for first, second in zip(tried.to_first, tried.to_second, strict=True) if tried else ():
                    made = {frozenset(np.array(rows)[side].tolist()) for side in (first, second)}
                    assert made != heaps, (couplet, table.character.id)


def test_no_plant_is_lost_at_any_way_to_part(key: Key) -> None:
    rows = tuple(range(len(key.flora.ids)))
    tried = 0
    for table in key.likelihoods.tables.values():
        known = tuple(r for r in rows if table.known[r] and table.applicable[r])
        if known and table.character.kind != "month":
            for mostly in (False, True):
                ways = splits(key.likelihoods, table, known, {}, mostly)
                assert ways is None or (ways.to_first | ways.to_second).all(), table.character.id
                tried += ways is not None
    assert tried > 50


def test_what_a_character_needs_is_the_scarcest_part_of_it_and_of_what_it_depends_on(key: Key) -> None:
    for character in key.flora.characters.values():
        needs = part_of(key.likelihoods, character)
        order = ("leaves", "roots", "flowers", "seeds")
        gates = [part_of(key.likelihoods, key.flora.characters[gate]) for gate in character.applies_when]
        assert order.index(needs) >= max(order.index(part) for part in (character.part, *gates))
        assert needs in (character.part, *gates)
    assert part_of(key.likelihoods, key.flora.characters["flower_colour"]) == "flowers"
    assert part_of(key.likelihoods, key.flora.characters["seed_structure"]) == "seeds"
    assert part_of(key.likelihoods, key.flora.characters["leaf_build"]) == "leaves"


def test_what_is_counted_is_divided_at_whole_numbers(key: Key) -> None:
    counted = [character for character in key.flora.characters.values() if character.unit == "count"]
    assert counted and all(limit == int(limit) for character in counted for limit in easy_limits(character))


def test_a_score_that_depends_on_age_counts_for_plants_of_any_age() -> None:
    told = {"source": ["MEM"], "standing": "from memory"}
    aged = Score(states={"on_fruit": "always", "none": "rarely"}, when="seeding", before={"none": "always"}, **told)
    assert states_of(aged) == {"on_fruit": "always", "none": "always"}
    grown = Score(range=(10.0, 40.0), when="flowering", before=(2.0, 12.0), **told)
    assert range_of(grown) == (2.0, 40.0)
    assert range_of(Score(range=(3.0, 5.0), **told)) == (3.0, 5.0)


def test_the_figures_are_what_is_counted(key: Key, whole: PrintedKey) -> None:
    found = whole.figures
    assert found["species"] == found["reached"] == len(key.flora.ids)
    assert found["couplets"] == len(whole.couplets) < 2 * found["species"]
    assert found["worst_depth"] >= found["mean_depth"] >= math.log2(found["species"])
    assert found["worst_depth"] <= 13 and found["mean_depth"] <= 8.5, "longer than was measured"


def test_plants_that_nothing_separates_end_together_with_what_to_look_at(key: Key) -> None:
    from model.printed_key.grow import how_to_separate

    notes = how_to_separate(key.flora, ("soliva_sessilis", "soliva_stolonifera"))
    assert len(notes) == 1 and notes[0]
    assert how_to_separate(key.flora, ("soliva_sessilis",)) == ()
    rows = tuple(key.index[s] for s in ("soliva_sessilis", "soliva_sessilis"))
    assert best_division(key.likelihoods, rows, {}, None) is None


def test_a_plant_known_by_name_only_is_listed_as_left_out(key: Key) -> None:
    from model.flora.load import CONFIGS, placeholder_species, with_own
    from model.traits import Likelihoods

    own = {"novus_horti": placeholder_species("novus_horti", "Novus horti", ["new one"])}
    flora = with_own(key.flora, own, CONFIGS / "species")
    printed = make_key(Likelihoods(flora, key.likelihoods.observer), 1)
    assert printed.names_only == ("novus_horti",)
    assert "novus_horti" not in printed.species and "novus_horti" not in printed.out_of_season
