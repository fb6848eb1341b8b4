"""Every weed x lawn x month x stage x place x state: what can never be in a plan, and what must always be.

A case is judged by rules that look at one matter each, and the worst of them decides. So each rule is asked about all
that it looks at, and the answers are laid over one another: some 16 million judgements in seconds. That the overlay
is what ``plan`` says is checked on cases drawn at random.
"""

from __future__ import annotations

import itertools
import random
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any, get_args

import numpy as np
import pytest

from model.control import Case, Control, Use, judge_spraying, judge_use, plan, suited_of
from model.control.facts import Option, Place, Stage
from model.control.judge import HOW, Matter, _place, _time, is_the_lawn, shows
from model.control.use import WORST, Reason
from model.control.year import timing_of
from model.spray import Occasion, Weather, load_rules

STAGES: tuple[Stage | None, ...] = (None, *get_args(Stage))
PLACES: tuple[Place, ...] = get_args(Place)
MONTHS = tuple(range(1, 13))
YES, WAIT, NO = 0, 1, 2


def worst(reasons: Iterator[Reason] | tuple[Reason, ...]) -> int:
    return WORST[suited_of(reasons)]


@dataclass(frozen=True)
class Overlay:
    """The judgement of every option of every species, in arrays by lawn, month, stage, place and state."""

    control: Control
    lawns: tuple[str, ...]
    states: tuple[str | None, ...]
    judged: dict[str, list[tuple[Option, np.ndarray[Any, Any]]]]


@pytest.fixture(scope="module")
def overlay(control: Control) -> Overlay:
    lawns, states = tuple(control.lawns), (None, *control.states)
    uses = Uses(control, lawns, states)
    judged: dict[str, list[tuple[Option, np.ndarray[Any, Any]]]] = {}
    for species in control.flora.ids:
        judged[species] = [
            (option, np.maximum(uses.of(option), by_option(control, species, option, lawns)))
            for option in control.options(species)
        ]
    return Overlay(control, lawns, states, judged)


class Uses:
    """What model.control.use makes of each mix, by lawn and place, and by month and state."""

    def __init__(self, control: Control, lawns: tuple[str, ...], states: tuple[str | None, ...]) -> None:
        self.control, self.lawns, self.states = control, lawns, states
        self.known: dict[tuple[tuple[str, ...], str], np.ndarray[Any, Any]] = {}

    def of(self, option: Option) -> np.ndarray[Any, Any]:
        key = (tuple(option.actives), HOW.get(option.method, "spray"))
        if key not in self.known:
            self.known[key] = self._of(*key)
        return self.known[key]

    def _of(self, actives: tuple[str, ...], how: Any) -> np.ndarray[Any, Any]:
        use = Use(actives, how)
        lawn = [
            [worst(judge_use(self.control, replace(use, lawn=one, place=place))) for place in PLACES]
            for one in self.lawns
        ]
        law = [
            [
                worst(judge_use(self.control, replace(use, place="paving", month=month, state=state)))
                for state in self.states
            ]
            for month in MONTHS
        ]
        return np.maximum(np.array(lawn)[:, None, None, :, None], np.array(law)[None, :, None, None, :])


def by_option(control: Control, species: str, option: Option, lawns: tuple[str, ...]) -> np.ndarray[Any, Any]:
    """What place and time make of an option; neither looks at the state."""
    place = [
        [worst(_place(Matter(control, Case((species,), 1, lawn, where), species, option))) for where in PLACES]
        for lawn in lawns
    ]

    def time(lawn: str, where: Place) -> list[list[int]]:
        return [
            [worst(_time(Matter(control, Case((species,), m, lawn, where, stage=s), species, option))) for s in STAGES]
            for m in MONTHS
        ]

    if option.when == "lawn_grows":
        elsewhere = time("unknown", "bed")
        times = np.array([[time(lawn, "lawn"), elsewhere, elsewhere] for lawn in lawns]).transpose(0, 2, 3, 1)
    else:
        times = np.array(time("unknown", "lawn"))[None, :, :, None]
    return np.maximum(np.array(place)[:, None, None, :], times)[..., None]


def test_the_overlay_is_what_the_plan_says(overlay: Overlay) -> None:
    control, draw = overlay.control, random.Random(15)
    for _ in range(500):
        species = draw.choice(control.flora.ids)
        at = [draw.randrange(n) for n in (len(overlay.lawns), 12, len(STAGES), len(PLACES), len(overlay.states))]
        case = Case(
            (species,), MONTHS[at[1]], overlay.lawns[at[0]], PLACES[at[3]], stage=STAGES[at[2]],
            state=overlay.states[at[4]],
        )  # fmt: skip
        if is_the_lawn(control, case, species):
            continue
        said = sorted((o.method, o.mix, o.do[0].text, WORST[o.suited]) for o in plan(control, case).options)
        laid = sorted(
            (
                option.method,
                " + ".join(option.actives),
                option.do,
                int(np.broadcast_to(levels, full(overlay))[tuple(at)]),
            )
            for option, levels in overlay.judged[species]
        )
        # What is ruled out for its place alone is no choice, and is left out of the plan.
        assert [one for one in said if one[3] != NO] == [one for one in laid if one[3] != NO], case
        assert {one for one in said if one[3] == NO} <= set(laid), case


def test_there_is_always_something_useful_to_do_or_a_reason_for_doing_nothing(overlay: Overlay) -> None:
    control = overlay.control
    for species, judged in overlay.judged.items():
        some = np.logical_or.reduce([np.broadcast_to(levels, full(overlay)) == YES for _, levels in judged])
        season = control.flora.species[species].season
        for month, stage in itertools.product(range(12), range(len(STAGES))):
            case = Case((species,), MONTHS[month], stage=STAGES[stage])
            showing = shows(Matter(control, case, species, judged[0][0]))
            for lawn, name in enumerate(overlay.lawns):
                for place in range(len(PLACES)):
                    if control.lawns[name].species == species and PLACES[place] == "lawn":
                        continue  # the lawn itself: the plan says so and stops
                    if some[lawn, month, stage, place].all():
                        continue
                    assert not showing, (species, name, MONTHS[month], STAGES[stage], PLACES[place])
                    assert MONTHS[month] not in season.seen


def full(overlay: Overlay) -> tuple[int, ...]:
    return len(overlay.lawns), 12, len(STAGES), len(PLACES), len(overlay.states)


def test_doing_nothing_has_a_reason(control: Control) -> None:
    tried = 0
    for species in control.flora.ids:
        months = MONTHS[::3] if len(species) % 2 else MONTHS[1::3]
        for lawn, month in itertools.product(("couch", "tall_fescue"), months):
            made = plan(control, Case((species,), month, lawn))
            assert 1 <= len(made.summary) <= 2 and made.summary[0].endswith("."), (species, lawn, month)
            if not made.itself and not made.by("yes") and not made.first:
                tried += 1
                assert made.summary[0].startswith("Nothing to do now: nothing shows above ground in"), made.summary
            assert "wait." not in made.summary[0]
    assert tried > 20


def test_nothing_is_suited_that_injures_is_banned_or_is_cancelled(overlay: Overlay) -> None:
    """The facts themselves are asked here, not the rules that read them."""
    control, tried = overlay.control, 0
    for species, judged in overlay.judged.items():
        for option, levels in judged:
            every = np.broadcast_to(levels, full(overlay))
            for name in option.actives:
                active = control.actives[name]
                if active.registration.status == "cancelled":
                    assert (every == NO).all(), (species, name)
                for lawn, grass in enumerate(overlay.lawns):
                    rating = control.tolerance.get(name, {}).get(grass)
                    on_lawn = every[lawn, :, :, PLACES.index("lawn")]
                    injures = active.use == "non_selective" or (rating is not None and rating.rating == "injures")
                    if option.method != "wipe" and injures:
                        tried += 1
                        assert (on_lawn == NO).all(), (species, name, grass)
                    elif option.method != "wipe" and (rating is None or rating.standing == "from memory"):
                        assert (on_lawn >= WAIT).all(), (species, name, grass)
                for state, key in enumerate(overlay.states):
                    for ban in control.states[key].bans if key else ():
                        if ban.active == name:
                            months = [month - 1 for month in ban.whole_months]
                            assert (every[:, months, :, :, state] == NO).all(), (species, name, key)
                            assert (every[:, [m - 1 for m in ban.part_months], :, :, state] >= WAIT).all()
    assert tried > 1000


def test_the_spray_window_is_never_milder_than_the_plan(control: Control) -> None:
    rules, fine = load_rules(), Weather(20, 60, 8, rain_in=48, hour=12)
    # The months differ where a state bans one; pond and bees stand for what is near.
    when = [("NSW", 6, ()), ("NSW", 6, ("pond", "bees")), ("TAS", 9, ()), ("TAS", 12, ())]
    options = {
        (tuple(o.actives), HOW.get(o.method, "spray"))
        for s in control.flora.ids
        for o in control.options(s)
        if o.actives
    }
    least = {"yes": 0, "wait": 1, "no": 2}
    words = {"go": 0, "caution": 1, "stop": 2}
    tried = 0
    for (actives, how), lawn, place, (state, month, near) in itertools.product(
        sorted(options), control.lawns, ("lawn", "bed"), when
    ):
        use = Use(actives, how, lawn=lawn, place=place, month=month, state=state, near=near, blooming=True)  # type: ignore[arg-type]
        verdict = judge_spraying(control, rules, use, fine, Occasion(state, month, sunrise=6, sunset=18))
        assert words[verdict.word] >= least[suited_of(judge_use(control, use))], (actives, lawn, place, state, month)
        tried += 1
    assert tried > 2000


def test_a_mix_is_as_strict_as_its_strictest_part(control: Control) -> None:
    names = sorted({name for s in control.flora.ids for o in control.options(s) for name in o.actives})
    for one, other in itertools.combinations(names, 2):
        for lawn, month, state in (("buffalo", 6, None), ("kikuyu", 12, "TAS"), ("couch", 9, "TAS")):
            use = Use((one, other), lawn=lawn, month=month, state=state)
            alone = [worst(judge_use(control, replace(use, actives=(name,)))) for name in (one, other)]
            assert worst(judge_use(control, use)) == max(alone)


def test_no_month_lies_outside_the_plants_life_and_none_claims_more_than_its_source(control: Control) -> None:
    for species in control.flora.ids:
        season = control.flora.species[species].season
        for option in control.options(species):
            timing = timing_of(control, option, species, "couch")
            if option.method in ("mow", "hand", "selective", "wipe", "non_selective") and option.when != "any":
                assert timing.months, (species, option.method)
                assert set(timing.months) <= set(season.seen), (species, option.method, timing.months)
            if option.when == "before_flowers" and len(season.flowers or ()) < 12:
                assert not set(timing.months) & (set(season.flowers or ()) - {first_of(season.flowers)}), species
            if timing.computed and option.when != "lawn_grows":
                assert timing.standing != "published", (species, option.method)
            if timing.standing == "published":
                sources = [control.flora.sources[key] for key in timing.source]
                assert option.months_from is not None or option.when == "lawn_grows"
                assert any(source.standing == "published" for source in sources)


def first_of(months: Any) -> int:
    from model.control.year import in_order

    return in_order(months)[0] if months else 0


def test_no_line_is_said_twice(control: Control) -> None:
    for number, species in enumerate(control.flora.ids):
        for lawn, month, place in (("couch", number % 12 + 1, "lawn"), ("kikuyu", (number + 5) % 12 + 1, "bed")):
            made = plan(control, Case((species,), month, lawn, place))  # type: ignore[arg-type]
            lines = [reason.text for option in made.options for reason in option.do]
            lines += [statement.text for statement in (*made.first, *made.cautions, *made.traps, *made.law)]
            lines += [text.text for _, text in made.about]
            lines += [option.ruled_out for option in made.options if option.ruled_out]
            twice = {line for line in lines if lines.count(line) > 1}
            assert not twice, (species, lawn, month, twice)
            for option in made.options:
                told = [reason.whole for reason in option.reasons]
                assert len(told) == len(set(told)), (species, option.name)


def test_every_reason_that_makes_an_option_wait_is_named_as_such(control: Control) -> None:
    """A plant said to be in flower in June was told to wait, with "June is a good time" as the reason."""
    for species in control.flora.ids:
        for stage in STAGES:
            for option in plan(control, Case((species,), 6, "couch", stage=stage)).options:
                if option.suited == "wait":
                    assert option.against, (species, option.name)
                    assert not any("is a good time" in reason.text for reason in option.against)
